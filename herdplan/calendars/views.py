"""The page of calendar feeds."""

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

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from herdplan.calendars import queries
from herdplan.calendars.forms import FeedForm
from herdplan.calendars.services import make_feed, revoke


@member_page(Permission.FEED_MAKE)
def feeds(request: HttpRequest, member: Member) -> HttpResponse:
    """My feeds, and a form for another; a new address is shown once."""
    form = FeedForm(request.POST or None, member=member)
    if request.method == "POST" and form.is_valid():
        made, token = make_feed(member=member, now=timezone.now(), **form.values())
        link = f"{settings.BASE_URL}{reverse('feed', args=[token])}"
        # The picture is drawn from our own address by a library; nothing in it comes from a person.
        picture = mark_safe(segno.make(link, error="m").svg_inline(scale=5, svgclass="qr"))  # noqa: S308
        webcal = "webcal://" + link.split("://", 1)[1]
        return render(
            request, "calendars/made.html", {"feed": made, "link": link, "webcal": webcal, "picture": picture}
        )
    return render(request, "calendars/feeds.html", {"feeds": queries.feeds_for(member), "form": form})


@require_POST
@member_page(Permission.FEED_MAKE)
def feed_revoke(request: HttpRequest, member: Member, feed: uuid.UUID) -> HttpResponse:
    """Close a feed."""
    row = queries.feed_for(member, feed)
    revoke(member=member, feed=row, now=timezone.now())
    messages.success(request, f"{row.name} is closed. Phones that still ask for it are told so for two weeks.")
    return redirect("calendars:feeds", coop=member.cooperative.slug)
