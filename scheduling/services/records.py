"""Ticking steps off. A step that is done stays where it is in every later plan."""

from datetime import datetime, timedelta

from django.core.exceptions import PermissionDenied
from django.db import transaction

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.models import Booking, PlannedStep, SeasonEntry, StepRecord
from scheduling.services.catalogue import step_words


class RecordError(ValueError):
    """A record that cannot be made; the text says why."""


def record_step(*, member: Member, entry: SeasonEntry, step: str, at: datetime, now: datetime) -> None:
    """Record the chute trip of `step` as carried out, starting at `at`; later plans keep it there."""
    _require(member, entry)
    if at > now + timedelta(minutes=5):
        raise RecordError("The time lies in the future; a step is ticked off when it has been done.")
    if at < now - timedelta(days=60):
        raise RecordError("The time lies more than 60 days back; check the date.")
    planned = PlannedStep.objects.filter(entry=entry, key=step).exclude(status="cancelled")
    if not planned.exists():
        raise RecordError("This step is not in the published plan.")
    keys = step_words(entry.protocol, step).keys
    with transaction.atomic():
        for key in keys:
            StepRecord.objects.update_or_create(entry=entry, step=key, defaults={"at": at, "by": member.user})
        PlannedStep.objects.filter(entry=entry, key__in=keys, status="planned").update(status="done")


def undo_record(*, member: Member, entry: SeasonEntry, step: str) -> None:
    """Take a tick back."""
    _require(member, entry)
    keys = step_words(entry.protocol, step).keys
    with transaction.atomic():
        entry.records.filter(step__in=keys).delete()
        PlannedStep.objects.filter(entry=entry, key__in=keys, status="done").update(status="planned")


def _require(member: Member, entry: SeasonEntry) -> None:
    """The ranch's people, a technician booked there, or whoever may for the whole co-op."""
    reach = member.reach(Permission.STEP_DONE)
    mine = entry.group.herd.ranch.people.filter(pk=member.user.pk).exists()
    booked = Booking.objects.filter(entry=entry, technician__user=member.user).exclude(status="cancelled").exists()
    if reach is Reach.COOP or (reach is Reach.OWN and (mine or booked)):
        return
    raise PermissionDenied(f"Your role in {member.cooperative} does not let you tick off steps of {entry.group}.")
