"""What goes out to people, what could not be sent, and whom to call."""

import uuid
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.reminders import queries
from herdplan.reminders.forms import SeenMinutesForm
from herdplan.reminders.services import CallError, note_call, send_again, set_seen_minutes, settings_of


@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def outbox(request: HttpRequest, member: Member) -> HttpResponse:
    """The latest messages; those that could not be sent first."""
    rows, failed = queries.messages_for(member), ("dead", "uncertain")
    context = {
        "dead": rows.filter(state__in=failed)[:100],
        "rows": rows.exclude(state__in=failed)[:100],
        "calls": queries.calls_for(member, timezone.now()).count(),
        "zone": ZoneInfo(member.cooperative.zone),
    }
    return render(request, "reminders/outbox.html", context)


@require_POST
@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def again(request: HttpRequest, member: Member, message: uuid.UUID) -> HttpResponse:
    """Send a message that could not be sent again."""
    row = queries.message_for(member, message)
    send_again(member=member, message=row, now=timezone.now())
    messages.success(request, f"The message to {row.user or row.address} is queued again.")
    return redirect("reminders:outbox", coop=member.cooperative.slug)


@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def calls(request: HttpRequest, member: Member) -> HttpResponse:
    """Whom to call, who still has time, what was noted."""
    minutes = settings_of(member.cooperative).seen_minutes
    form = SeenMinutesForm(request.POST or None, initial={"minutes": minutes})
    if request.method == "POST" and form.is_valid():
        set_seen_minutes(member=member, minutes=form.cleaned_data["minutes"])
        messages.success(request, "Saved. It holds for changes from now on.")
        return redirect("reminders:calls", coop=member.cooperative.slug)
    now = timezone.now()
    context = {
        "calls": queries.calls_for(member, now),
        "waiting": queries.waiting_for(member, now),
        "log": queries.calls_log(member)[:50],
        "form": form,
        "zone": ZoneInfo(member.cooperative.zone),
    }
    return render(request, "reminders/calls.html", context)


@require_POST
@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def called(request: HttpRequest, member: Member, notice: uuid.UUID) -> HttpResponse:
    """Note a call."""
    row = queries.call_for(member, notice)
    try:
        note_call(member=member, notice=row, note=request.POST.get("note", ""), now=timezone.now())
        messages.success(request, f"Noted: {row.user} was called.")
    except CallError as fault:
        messages.warning(request, str(fault))
    return redirect("reminders:calls", coop=member.cooperative.slug)
