"""The published rows that reminders look at. A fixed number of queries; writes nothing."""

import uuid
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet

from accounts.models import Cooperative, User
from herdplan.herds.models import Ranch
from herdplan.reminders.rules import BOOKING, LONGEST_AFTER_DAYS, LONGEST_LEAD_DAYS, MOVE
from herdplan.reminders.services.moves import checked, entry_of
from herdplan.reminders.services.people import Profile, profiles_of
from scheduling.models import Booking, PlannedMove, PlannedStep
from scheduling.queries import lots_at
from scheduling.services.planned_moves import Checked
from scheduling.services.season_basis import EARLIEST, LATEST, Basis, published
from scheduling.services.waiting import Waits, session_at, session_of, waits_at

_DAY = timedelta(days=1)


@dataclass
class Plan:
    """The published rows that reminders look at, with who belongs to them."""

    coop: Cooperative
    steps: list[PlannedStep]
    bookings: list[Booking]
    by_key: dict[tuple[Any, int, str], PlannedStep] = field(default_factory=dict)
    booked: dict[tuple[Any, int, str], list[User]] = field(default_factory=lambda: defaultdict(list))
    lots: dict[Any, int] = field(default_factory=dict)
    waits: Waits = field(default_factory=dict)
    profiles: dict[Any, Profile] = field(default_factory=dict)
    bases: list[Basis] = field(default_factory=list)
    ranchers: dict[Any, list[User]] = field(default_factory=dict)
    planned: list[PlannedMove] = field(default_factory=list)
    moves: list[Checked] = field(default_factory=list)


def load_plan(coop: Cooperative, now: datetime) -> Plan:
    """The co-op's rows whose reminders may fall due now or in the weeks to come. A fixed number of queries."""
    first = now - timedelta(days=LONGEST_AFTER_DAYS + 3)
    last = now + timedelta(days=LONGEST_LEAD_DAYS + 4)
    steps = PlannedStep.objects.filter(ranch__cooperative=coop, starts__gt=first, starts__lt=last)
    bookings = Booking.objects.filter(technician__cooperative=coop, starts__gt=first, starts__lt=last)
    # Items lie months around AI, and people may move them further.
    moves = PlannedMove.objects.filter(entry__season__cooperative=coop, withdrawn=False)
    moves = moves.filter(day__gte=now.date() - _DAY, day__lte=last.date())
    near = Q(starts__gt=now - LATEST, starts__lt=last + EARLIEST) | Q(entry__in=[move.entry_id for move in moves])
    bases = published(PlannedStep.objects.filter(near, ranch__cooperative=coop).exclude(status="cancelled"))
    return _arranged(Plan(coop, _steps(steps), _bookings(bookings), bases=bases, planned=list(moves)))


def load_entry(coop: Cooperative, kind: str, about: uuid.UUID) -> Plan:
    """The rows of the one entry that a row belongs to, for a look just before sending."""
    if kind == MOVE:
        row = entry_of(about)
    else:
        rows = (Booking if kind == BOOKING else PlannedStep).objects.filter(pk=about)
        row = rows.values_list("entry", flat=True).first()
    steps = PlannedStep.objects.filter(entry=row, ranch__cooperative=coop)
    bookings = Booking.objects.filter(entry=row, technician__cooperative=coop)
    bases = published(steps.exclude(status="cancelled"))
    planned = list(PlannedMove.objects.filter(pk=about, withdrawn=False)) if kind == MOVE else []
    return _arranged(Plan(coop, _steps(steps), _bookings(bookings), bases=bases, planned=planned))


def _steps(steps: QuerySet[PlannedStep]) -> list[PlannedStep]:
    """Those that stand, with all that reminders say of them."""
    steps = steps.exclude(status="cancelled").select_related("ranch", "entry__group")
    return list(steps.prefetch_related("ranch__people", "entry__records"))


def _bookings(bookings: QuerySet[Booking]) -> list[Booking]:
    """Those that stand, with all that reminders say of them."""
    bookings = bookings.exclude(status="cancelled")
    return list(bookings.select_related("entry__group__herd__ranch", "technician__user"))


def _arranged(plan: Plan) -> Plan:
    users: dict[Any, User] = {}
    plan.lots = lots_at({*(step.entry_id for step in plan.steps), *(booking.entry_id for booking in plan.bookings)})
    plan.waits = waits_at([*map(session_of, plan.steps), *map(session_at, plan.bookings)])
    for step in plan.steps:
        plan.by_key[step.entry_id, step.lot, step.key] = step
        users.update((user.pk, user) for user in step.ranch.people.all())
    for booking in plan.bookings:
        user = booking.technician.user
        if user is not None:
            users[user.pk] = user
            plan.booked[booking.entry_id, booking.lot, booking.step].append(user)
    ranches = Ranch.objects.filter(pk__in={basis.ranch_pk for basis in plan.bases}).prefetch_related("people")
    plan.ranchers = {ranch.pk: list(ranch.people.all()) for ranch in ranches} if plan.bases else {}
    users.update((user.pk, user) for people in plan.ranchers.values() for user in people)
    plan.moves = checked(plan.planned, plan.bases, (user for people in plan.ranchers.values() for user in people))
    plan.profiles = profiles_of(user for user in users.values() if user.is_active)
    return plan
