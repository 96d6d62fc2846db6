"""What goes out to people, and what could not be sent."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.reminders import queries
from herdplan.reminders.services import send_again


@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def outbox(request: HttpRequest, member: Member) -> HttpResponse:
    """The latest messages; those that could not be sent first."""
    rows = queries.messages_for(member)
    context = {"dead": rows.filter(state="dead")[:100], "rows": rows.exclude(state="dead")[:100]}
    return render(request, "reminders/outbox.html", context)


@require_POST
@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def again(request: HttpRequest, member: Member, message: uuid.UUID) -> HttpResponse:
    """Send a dead message again."""
    row = queries.message_for(member, message)
    send_again(member=member, message=row, now=timezone.now())
    messages.success(request, f"The message to {row.address} is queued again.")
    return redirect("reminders:outbox", coop=member.cooperative.slug)
