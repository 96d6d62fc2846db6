"""Published steps and bookings."""

import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlannedStep


def steps_for(member: Member) -> QuerySet[PlannedStep]:
    """Published steps that the caller may see."""
    steps = PlannedStep.objects.filter(ranch__cooperative=member.cooperative)
    steps = steps.select_related("ranch", "entry__group__herd")
    reach = member.reach(Permission.SEASON_VIEW)
    if reach is Reach.COOP:
        return steps
    return steps.filter(ranch__people=member.user) if reach is Reach.OWN else steps.none()


def next_steps(member: Member, now: datetime, most: int = 60) -> QuerySet[PlannedStep]:
    """Steps that are not over yet on the ranches that the caller belongs to, the next first."""
    steps = steps_for(member).filter(ends__gte=now, ranch__people=member.user).exclude(status="cancelled")
    return steps.order_by("starts", "key")[:most]


def steps_to_tick(member: Member, now: datetime, days: int = 14, most: int = 40) -> list[PlannedStep]:
    """Steps whose planned hours are over and that nobody ticked off, of the last days, the latest first; for a day more
    those that were, so that a tick can be taken back. Of the caller's ranches, or of all for whoever ticks for all."""
    rows = steps_for(member).filter(ends__lt=now, ends__gte=now - timedelta(days=days))
    if member.reach(Permission.STEP_DONE) is not Reach.COOP:
        rows = rows.filter(ranch__people=member.user)
    open_or_fresh = Q(status="planned") | Q(status="done", ends__gte=now - timedelta(days=1))
    return list(rows.filter(open_or_fresh).order_by("-starts", "key")[:most])


def steps_of(bookings: Sequence[Booking]) -> dict[tuple[uuid.UUID, int, str], PlannedStep]:
    """The published steps that bookings are for, by (entry, lot, step). One query."""
    rows = PlannedStep.objects.filter(entry__in={row.entry_id for row in bookings}).exclude(status="cancelled")
    return {(row.entry_id, row.lot, row.key): row for row in rows}


def visits_after_heat(member: Member, now: datetime, most: int = 30) -> list[PlannedStep]:
    """Technicians' visits for AI after seen heat that are not over, as unsaved steps: they are booked, and no step of the lot.
    Of the ranches that the caller belongs to."""
    steps = PlannedStep.objects.filter(entry=OuterRef("entry"), key=OuterRef("step"))
    rows = (
        Booking.objects.filter(~Exists(steps), ends__gte=now)
        .exclude(status="cancelled")
        .filter(entry__group__herd__ranch__people=member.user, technician__cooperative=member.cooperative)
    )
    found = rows.select_related("entry__group__herd__ranch").order_by("starts")[:most]
    return [
        PlannedStep(
            entry=row.entry, ranch=row.entry.group.herd.ranch, lot=row.lot, key=row.step, starts=row.starts, ends=row.ends,
            head=row.head, by="technician",
        )
        for row in found
    ]  # fmt: skip


def coming_steps(member: Member, now: datetime, days: int = 7, most: int = 80) -> list[PlannedStep]:
    """Steps of the whole reach of the caller on the days from the next work on, the next first."""
    rows = steps_for(member).filter(ends__gte=now).exclude(status__in=("cancelled", "done")).order_by("starts", "key")
    first = rows.values_list("starts", flat=True).first()
    return list(rows.filter(starts__lt=max(first, now) + timedelta(days=days))[:most]) if first else []


def hands_at(steps: Sequence[PlannedStep]) -> dict[tuple[uuid.UUID, int, str], tuple[str, ...]]:
    """Names of the technicians that are booked for steps, by (entry, lot, step). One query."""
    rows = Booking.objects.filter(entry__in={step.entry_id for step in steps}).exclude(status="cancelled")
    names: dict[tuple[uuid.UUID, int, str], tuple[str, ...]] = {}
    for entry, lot, step, name in rows.values_list("entry_id", "lot", "step", "technician__name"):
        names[entry, lot, step] = (*names.get((entry, lot, step), ()), name)
    return names


def bookings_for(member: Member) -> QuerySet[Booking]:
    """Published bookings that the caller may see."""
    bookings = Booking.objects.filter(technician__cooperative=member.cooperative)
    bookings = bookings.select_related("technician", "barn", "entry__group__herd__ranch", "entry__season")
    reach = member.reach(Permission.SEASON_VIEW)
    if reach is Reach.COOP:
        return bookings
    if reach is Reach.NONE:
        return bookings.none()
    mine = Q(entry__group__herd__ranch__people=member.user) | Q(technician__user=member.user)
    return bookings.filter(mine).distinct()


def stops_for(technician: Technician, start: datetime, end: datetime) -> QuerySet[Booking]:
    """A technician's live bookings between two moments, in order."""
    stops = Booking.objects.filter(technician=technician, starts__gte=start, starts__lt=end).exclude(status="cancelled")
    return stops.select_related("entry__group__herd__ranch", "barn").order_by("starts", "lot")


def first_live_booking_after(technician: Technician, now: datetime) -> Booking | None:
    """The technician's next live booking."""
    return Booking.objects.filter(technician=technician, ends__gte=now).exclude(status="cancelled").first()
