"""Ticking steps off. A step that is done stays where it is in every later plan."""

from datetime import datetime, timedelta

from django.core.exceptions import PermissionDenied
from django.db import transaction

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.models import Booking, PlannedStep, SeasonEntry, StepRecord
from scheduling.services.catalogue import step_words
from scheduling.services.publishing import bump_calendar, hold_what_is_left
from scheduling.services.release import first_of_two
from scheduling.services.waiting import counts_from


class RecordError(ValueError):
    """A record that cannot be made; the text says why."""


def record_step(
    *,
    member: Member,
    entry: SeasonEntry,
    step: str,
    at: datetime,
    now: datetime,
    lot: int = 0,
    head: int | None = None,
) -> bool:
    """Record the chute trip of `step` as carried out, `lot` (0-based) starting at `at`; later plans keep it there.

    Returns whether that says anything new: a phone with a weak signal sends a tick again.

    The lots of a group go through one after the other: one record, of the first lot's hour, speaks for all.
    `head`: how many of the group were inseminated at the first of two AI sessions; what is held for the second shrinks.
    """
    _require(member, entry)
    if at > now + timedelta(minutes=5):
        raise RecordError("The time lies in the future; a step is ticked off when it has been done.")
    if at < now - timedelta(days=60):
        raise RecordError("The time lies more than 60 days back; check the date.")
    rows = PlannedStep.objects.filter(entry=entry, key=step).exclude(status="cancelled")
    planned = dict(rows.values_list("lot", "starts"))
    if lot not in planned:
        raise RecordError("This step is not in the published plan.")
    at -= planned[lot] - planned.get(0, planned[lot])
    keys = step_words(entry.protocol, step).keys
    if head is not None and not (first_of_two(entry, step) and 0 <= head <= entry.head):
        raise RecordError(f"Only a first of two AI sessions is counted, 0 to {entry.head} head.")
    with transaction.atomic():
        told = {key: (at, head if key == step else None) for key in keys}
        SeasonEntry.objects.select_for_update(of=("self",)).get(pk=entry.pk)
        known = entry.records.filter(step__in=keys).values_list("step", "at", "head")
        if {key: (when, count) for key, when, count in known} == told:
            return False
        for key in keys:
            values = {"at": at, "by": member.user, "head": head if key == step else None}
            StepRecord.objects.update_or_create(entry=entry, step=key, defaults=values)
        PlannedStep.objects.filter(entry=entry, key__in=keys, status="planned").update(status="done")
        if counts_from(entry.protocol, keys):
            bump_calendar(entry.season)
        if first_of_two(entry, step):
            hold_what_is_left(entry.season, now)
    return True


def undo_record(*, member: Member, entry: SeasonEntry, step: str, now: datetime) -> None:
    """Take a tick back, and with it what was counted."""
    _require(member, entry)
    keys = step_words(entry.protocol, step).keys
    with transaction.atomic():
        entry.records.filter(step__in=keys).delete()
        PlannedStep.objects.filter(entry=entry, key__in=keys, status="done").update(status="planned")
        if counts_from(entry.protocol, keys):
            bump_calendar(entry.season)
        if first_of_two(entry, step):
            hold_what_is_left(entry.season, now)


def _require(member: Member, entry: SeasonEntry) -> None:
    """The ranch's people, a technician booked there, or whoever may for the whole co-op."""
    reach = member.reach(Permission.STEP_DONE)
    mine = entry.group.herd.ranch.people.filter(pk=member.user.pk).exists()
    booked = Booking.objects.filter(entry=entry, technician__user=member.user).exclude(status="cancelled").exists()
    if reach is Reach.COOP or (reach is Reach.OWN and (mine or booked)):
        return
    raise PermissionDenied(f"Your role in {member.cooperative} does not let you tick off steps of {entry.group}.")
