"""Messages and notices, for the coordinator; a person's own browsers, services, notices."""

import uuid
from datetime import datetime

from django.db.models import QuerySet
from django.http import Http404

from accounts.permissions import Permission
from accounts.tenancy import Member
from herdplan.reminders.models import ChangeNotice, OutboxMessage, PushSubscription, ServiceAddress


def messages_for(member: Member) -> QuerySet[OutboxMessage]:
    """The co-op's messages, newest first."""
    if not member.may(Permission.MEMBERS_MANAGE):
        return OutboxMessage.objects.none()
    return OutboxMessage.objects.filter(cooperative=member.cooperative).select_related("user").order_by("-due")


def message_for(member: Member, identity: uuid.UUID) -> OutboxMessage:
    """One message, or 404."""
    found = messages_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such message.")
    return found


def notices_for(member: Member) -> QuerySet[ChangeNotice]:
    """The caller's own notices in this co-op."""
    return ChangeNotice.objects.filter(cooperative=member.cooperative, user=member.user, withdrawn_at=None)


def notice_for(member: Member, identity: uuid.UUID) -> ChangeNotice:
    """One of them, or 404."""
    found = notices_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such change.")
    return found


def calls_for(member: Member, now: datetime) -> QuerySet[ChangeNotice]:
    """The co-op's urgent notices that nobody has seen in time: the call list."""
    rows = _coop_notices(member).filter(seen_at=None, seen_by__lte=now)
    return rows.order_by("seen_by")


def call_for(member: Member, identity: uuid.UUID) -> ChangeNotice:
    """One urgent notice of the co-op, or 404."""
    found = _coop_notices(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such change.")
    return found


def calls_log(member: Member) -> QuerySet[ChangeNotice]:
    """Urgent notices that were seen or called about, the latest first."""
    return _coop_notices(member).exclude(seen_at=None).order_by("-seen_at")


def waiting_for(member: Member, now: datetime) -> QuerySet[ChangeNotice]:
    """Urgent notices whose time has not come yet."""
    return _coop_notices(member).filter(seen_at=None, seen_by__gt=now).order_by("seen_by")


def _coop_notices(member: Member) -> QuerySet[ChangeNotice]:
    if not member.may(Permission.MEMBERS_MANAGE):
        return ChangeNotice.objects.none()
    rows = ChangeNotice.objects.filter(cooperative=member.cooperative, urgent=True, withdrawn_at=None)
    return rows.select_related("user", "called_by")


def pushes_for(member: Member) -> QuerySet[PushSubscription]:
    """The caller's own browsers."""
    return PushSubscription.objects.filter(user=member.user)


def services_for(member: Member) -> QuerySet[ServiceAddress]:
    """The caller's own service addresses."""
    return ServiceAddress.objects.filter(user=member.user)


def push_for(member: Member, identity: uuid.UUID) -> PushSubscription:
    """One browser, or 404."""
    found = pushes_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such browser.")
    return found


def service_for(member: Member, identity: uuid.UUID) -> ServiceAddress:
    """One service address, or 404."""
    found = services_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such service.")
    return found


def trials_for(member: Member) -> QuerySet[OutboxMessage]:
    """The caller's latest test messages."""
    return OutboxMessage.objects.filter(user=member.user, purpose="test").order_by("-created_at")[:5]
