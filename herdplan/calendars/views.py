"""The page of a person's calendar: the channel, the feeds; and who has answered."""

import uuid

import segno
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.calendars import queries
from herdplan.calendars.caldav_door import CalendarAway, CalendarRefused
from herdplan.calendars.forms import ChannelForm, FeedForm, OwnCollectionForm
from herdplan.calendars.models import CalendarChoice
from herdplan.calendars.push import connect, disconnect
from herdplan.calendars.services import ChannelClash, channel_of, choose_channel, make_feed, revoke


@member_page(Permission.FEED_MAKE)
def feeds(request: HttpRequest, member: Member) -> HttpResponse:
    """My feeds, and a form for another; a new address is shown once."""
    form = FeedForm(request.POST or None, member=member)
    if request.method == "POST" and form.is_valid():
        invited = channel_of(member.user) == CalendarChoice.Channel.INVITATIONS
        try:
            made, token = make_feed(member=member, now=timezone.now(), **form.values())
        except ChannelClash as fault:
            form.add_error("shows", str(fault))
            return _page(request, member, form)
        switched = invited and channel_of(member.user) == CalendarChoice.Channel.FEED
        link = f"{settings.BASE_URL}{reverse('feed', args=[token])}"
        # The picture is drawn from our own address by a library; nothing in it comes from a person.
        picture = mark_safe(segno.make(link, error="m").svg_inline(scale=5, svgclass="qr"))  # noqa: S308
        webcal = "webcal://" + link.split("://", 1)[1]
        return render(
            request,
            "calendars/made.html",
            {
                "feed": made,
                "link": link,
                "webcal": webcal,
                "picture": picture,
                "caldav": f"{settings.BASE_URL}/caldav/",
                "switched": switched,
            },
        )
    return _page(request, member, form)


def _page(request: HttpRequest, member: Member, form: FeedForm) -> HttpResponse:
    chosen = channel_of(member.user)
    context = {
        "feeds": queries.feeds_for(member),
        "form": form,
        "chosen": chosen,
        "channel_form": ChannelForm(
            initial={"channel": chosen}, prefix="way", has_own=queries.own_collection(member.user) is not None
        ),
        "sees_answers": member.may(Permission.SEASON_EDIT, Reach.COOP),
    }
    return render(request, "calendars/feeds.html", context)


@require_POST
@member_page(Permission.FEED_MAKE)
def channel(request: HttpRequest, member: Member) -> HttpResponse:
    """Choose by which channel dates reach my calendar."""
    form = ChannelForm(request.POST, prefix="way", has_own=queries.own_collection(member.user) is not None)
    if not form.is_valid():
        messages.error(request, "Choose one of the ways. Nothing was changed.")
        return redirect("calendars:feeds", coop=member.cooperative.slug)
    closed = choose_channel(user=member.user, channel=form.cleaned_data["channel"], now=timezone.now())
    text = (
        f" {closed} of your feeds showed the same dates and {'is' if closed == 1 else 'are'} closed." if closed else ""
    )
    messages.success(request, f"Your choice is saved.{text}")
    return redirect("calendars:feeds", coop=member.cooperative.slug)


@member_page(Permission.SEASON_EDIT, Reach.COOP)
def answers(request: HttpRequest, member: Member) -> HttpResponse:
    """Who was asked to what, what they answered, and when their calendars last looked."""
    now = timezone.now()
    context = {
        "rows": queries.askings_for(member, now)[:500],
        "feeds": queries.all_feeds_for(member)[:500],
        "unreachable": queries.unreachable_for(member, now),
    }
    return render(request, "calendars/answers.html", context)


@require_POST
@member_page(Permission.FEED_MAKE)
def feed_revoke(request: HttpRequest, member: Member, feed: uuid.UUID) -> HttpResponse:
    """Close a feed."""
    row = queries.feed_for(member, feed)
    revoke(member=member, feed=row, now=timezone.now())
    messages.success(request, f"{row.name} is closed. Phones that still ask for it are told so for two weeks.")
    return redirect("calendars:feeds", coop=member.cooperative.slug)


@member_page(Permission.FEED_MAKE)
def own(request: HttpRequest, member: Member) -> HttpResponse:
    """A calendar of one's own that the plan is written into."""
    row = queries.own_collection(member.user)
    initial = {"address": row.address, "username": row.username} if row else None
    form = OwnCollectionForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            connect(user=member.user, now=timezone.now(), **form.cleaned_data)
        except (CalendarRefused, CalendarAway) as fault:
            form.add_error("address", f"{fault} Nothing was saved.")
        else:
            messages.success(request, "Your calendar is connected. Your dates are written into it within a minute.")
            return redirect("calendars:feeds", coop=member.cooperative.slug)
    return render(request, "calendars/own.html", {"form": form, "row": row})


@require_POST
@member_page(Permission.FEED_MAKE)
def own_stop(request: HttpRequest, member: Member) -> HttpResponse:
    """Stop writing into it."""
    disconnect(user=member.user, now=timezone.now())
    messages.success(
        request, "We stop writing. Our events are taken out of your calendar, then its password is deleted."
    )
    return redirect("calendars:feeds", coop=member.cooperative.slug)
