"""Messages of a co-op, for its coordinator."""

import uuid

from django.db.models import QuerySet
from django.http import Http404

from accounts.permissions import Permission
from accounts.tenancy import Member
from herdplan.reminders.models import OutboxMessage


def messages_for(member: Member) -> QuerySet[OutboxMessage]:
    """The co-op's messages, newest first."""
    if not member.may(Permission.MEMBERS_MANAGE):
        return OutboxMessage.objects.none()
    return OutboxMessage.objects.filter(cooperative=member.cooperative).order_by("-due")


def message_for(member: Member, identity: uuid.UUID) -> OutboxMessage:
    """One message, or 404."""
    found = messages_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such message.")
    return found
