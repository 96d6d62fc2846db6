"""The coordinator's call list: who has not seen a change for the next 24 hours, and what came of calling."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import translation

from accounts.models import Cooperative, User
from accounts.permissions import Permission, Reach, Role
from accounts.tenancy import Member
from herdplan.reminders.models import ChangeNotice, CoopReminders
from herdplan.reminders.rules import BY_CODE
from herdplan.reminders.services.changes import settings_of
from herdplan.reminders.services.outbox import enqueue
from herdplan.reminders.services.people import profiles_of
from herdplan.reminders.texts import call_text


class CallError(ValueError):
    """A call that cannot be noted; the text says why."""


def overdue(coop: Cooperative, now: datetime) -> list[ChangeNotice]:
    """Urgent notices that were not seen in time and about which nobody has been called, the oldest first."""
    rows = ChangeNotice.objects.filter(cooperative=coop, urgent=True, seen_at=None, withdrawn_at=None, seen_by__lte=now)
    return list(rows.select_related("user").order_by("seen_by"))


def tell_coordinators(coop: Cooperative, *, now: datetime) -> None:
    """Queue a message to every coordinator for each call that is due; once for each notice."""
    notices = [notice for notice in overdue(coop, now) if notice.escalated_at is None]
    if not notices:
        return
    people = User.objects.filter(memberships__cooperative=coop, memberships__role=Role.COORDINATOR, is_active=True)
    page = f"{settings.BASE_URL}{reverse('reminders:calls', args=[coop.slug])}"
    for profile in profiles_of(people).values():
        for notice in notices:
            with translation.override(profile.language):
                subject, body = call_text(str(notice.user), notice.user.phone, notice.text, page)
            for door in profile.doors(BY_CODE["call_list"]):
                enqueue(
                    cooperative=coop, user=profile.user, channel=door.channel, address=door.address,
                    purpose=BY_CODE["call_list"].purpose, subject=subject, body=body,
                    dedup=f"call|{notice.pk}|{profile.user.pk}|{door.channel}|{door.address}", due=now,
                    expires=now + timedelta(days=1), now=now, urgent=True, link=page,
                )  # fmt: skip
    ChangeNotice.objects.filter(pk__in=[notice.pk for notice in notices]).update(escalated_at=now)


def note_call(*, member: Member, notice: ChangeNotice, note: str, now: datetime) -> None:
    """The coordinator has called: the person knows. CallError where it was seen in the meantime."""
    member.require(Permission.MEMBERS_MANAGE, Reach.COOP)
    with transaction.atomic():
        mine = ChangeNotice.objects.filter(pk=notice.pk, cooperative=member.cooperative, seen_at=None)
        if not mine.update(
            seen_at=now, seen_how=ChangeNotice.How.CALL, called_by=member.user, call_note=note.strip()[:300]
        ):
            raise CallError(f"{notice.user} has seen it in the meantime; nothing was noted.")


def set_seen_minutes(*, member: Member, minutes: int) -> None:
    """How long the co-op waits for the tap."""
    member.require(Permission.MEMBERS_MANAGE, Reach.COOP)
    settings_of(member.cooperative)
    CoopReminders.objects.filter(cooperative=member.cooperative).update(seen_minutes=minutes)
