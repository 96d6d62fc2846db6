"""Publishing: a plan becomes steps and bookings. What did not change keeps its row, its sequence and its time."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import DatabaseError, IntegrityError, transaction
from django.db.models import F

from accounts.models import Cooperative
from accounts.tenancy import Member
from scheduling.kernel.checker import check
from scheduling.kernel.days import drive, road_km
from scheduling.kernel.plan import Plan, Visit, load_plan
from scheduling.kernel.season import Season as Problem
from scheduling.models import Booking, PlannedStep, PlanVersion, Season, StepRecord
from scheduling.services.plans import broken_rows, problem_of
from scheduling.services.problem import differences
from scheduling.services.release import left_after_first, released
from scheduling.services.seasons import require_planner


class PlanBroken(ValueError):
    """The plan breaks rules: `broken` lists them as the checker says them."""

    def __init__(self, broken: list[dict[str, Any]]) -> None:
        super().__init__("This plan has clashes; solve them first: " + " ".join(item["text"] for item in broken[:3]))
        self.broken = broken


class StalePlan(ValueError):
    """The season has changed since it was planned; `changed` names what: groups, ranches, technicians, the season."""

    def __init__(self, changed: list[str]) -> None:
        names = "; ".join(changed[:5]) + (f"; and {len(changed) - 5} more" if len(changed) > 5 else "")
        super().__init__(f"This has changed since the plan was made: {names}. Plan the season again, then publish.")
        self.changed = changed


class DoubleBooked(ValueError):
    """A technician is booked elsewhere at that time."""


@dataclass(frozen=True, slots=True)
class Change:
    """A step or booking that publishing added, moved or cancelled."""

    what: str
    kind: str
    row: PlannedStep | Booking


def published_words(changes: Sequence[Change]) -> str:
    """What publishing changed, counted: "12 steps and 2 visits are new, 1 step has moved", or that nothing has."""
    counts = Counter((change.what, change.kind) for change in changes)
    said = []
    for what, one, many in (
        ("added", "is new", "are new"),
        ("moved", "has moved", "have moved"),
        ("cancelled", "is off", "are off"),
    ):
        found = [
            (counts[what, kind], noun) for kind, noun in (("step", "step"), ("booking", "visit")) if counts[what, kind]
        ]
        if found:
            nouns = " and ".join(f"{count} {noun}{'' if count == 1 else 's'}" for count, noun in found)
            said.append(f"{nouns} {one if sum(count for count, _ in found) == 1 else many}")
    return ", ".join(said) or "nothing has changed"


def publish(*, member: Member, season: Season, plan: PlanVersion, now: datetime) -> list[Change]:
    """Write the plan's steps and bookings, all or nothing; returns what changed (nothing, the second time).

    Raises PlanBroken, StalePlan or DoubleBooked.
    """
    require_planner(member, season)
    if plan.season_id != season.pk:
        raise StalePlan([f"plan {plan.number} is of another season"])
    broken = plan.broken or _broken_now(season, plan)
    if broken:
        raise PlanBroken(broken)
    try:
        with transaction.atomic():
            # Every booking of a technician comes from the technician's co-op: one publishing at a time cannot deadlock.
            Cooperative.objects.select_for_update(no_key=True).get(pk=season.cooperative_id)
            season.refresh_from_db()
            changed = differences(season, plan.problem)
            if changed:
                raise StalePlan(changed)
            changes = [*_write_steps(season, plan, now), *_write_bookings(season, plan, now)]
            season.published_plan, season.plan = plan, plan
            season.published_at, season.state = now.replace(microsecond=0), Season.State.PUBLISHED
            season.save(update_fields=["published_plan", "plan", "published_at", "state"])
            if changes:
                bump_calendar(season)
    except (IntegrityError, DatabaseError) as fault:
        if not _is_double_booking(fault):
            raise
        raise DoubleBooked(_who(plan)) from fault
    return changes


def bump_calendar(season: Season) -> None:
    """Tell calendar feeds that a step or booking of the season has changed. Call it in the transaction of the change."""
    Season.objects.filter(pk=season.pk).update(calendar_version=F("calendar_version") + 1)


def _broken_now(season: Season, plan: PlanVersion) -> list[dict[str, Any]]:
    """What the plan breaks by the hours in force today, which the co-op may have adjusted since it was made."""
    value = load_plan(plan.document)
    report = check(problem_of(plan.problem, season.cooperative), value)
    return broken_rows(report, season, plan.problem, value)


def _is_double_booking(fault: Exception) -> bool:
    text = str(fault)
    return "technician_in_one_place" in text or "already booked" in text


def _who(plan: PlanVersion) -> str:
    """Which booking of another season is in the way."""
    problem, value = problem_of(plan.problem, plan.season.cooperative), load_plan(plan.document)
    for row in _booking_rows(problem, value):
        other = (
            Booking.objects.filter(technician_id=row["technician_id"], status__in=("held", "confirmed"))
            .filter(busy_starts__lt=row["busy_ends"], busy_ends__gt=row["busy_starts"])
            .exclude(entry__season=plan.season)
            .select_related("technician", "entry__group__herd__ranch", "entry__season")
            .first()
        )
        if other is not None:
            ranch = other.entry.group.herd.ranch
            when = other.starts.astimezone(ZoneInfo(ranch.zone))
            return (
                f"{other.technician} is booked already at {ranch} on {when:%a %d %b, %H:%M} ({other.entry.season}). "
                "Give the technician that day off in this season, plan again, then publish."
            )
    return "A technician was booked elsewhere at the same moment. Plan again, then publish."


def _write_steps(season: Season, plan: PlanVersion, now: datetime) -> Iterator[Change]:
    wanted = {(row["entry_id"], row["lot"], row["key"]): row for row in _step_rows(season, load_plan(plan.document))}
    found = {
        (str(step.entry_id), step.lot, step.key): step for step in PlannedStep.objects.filter(entry__season=season)
    }
    records = StepRecord.objects.filter(entry__season=season).values_list("entry", "step")
    done = {(str(entry), step) for entry, step in records}
    for key, row in wanted.items():
        step = found.get(key)
        if step is None:
            status = "done" if (key[0], key[2]) in done else "planned"
            made = PlannedStep.objects.create(**row, status=status, changed_at=now.replace(microsecond=0))
            yield Change("added", "step", made)
        elif _update(step, row, "planned", now):
            yield Change("moved", "step", step)
    for key, step in found.items():
        if key not in wanted and step.status == "planned":
            _cancel(step, now)
            yield Change("cancelled", "step", step)


def _step_rows(season: Season, plan: Plan) -> Iterator[dict[str, Any]]:
    ranch_of = dict(season.entries.values_list("pk", "group__herd__ranch"))
    left = left_after_first(season)
    heads = {(visit.group, visit.lot, visit.step): 0 for visit in plan.visits}
    for visit in plan.visits:
        heads[visit.group, visit.lot, visit.step] += visit.head
    ranches = {str(key): value for key, value in ranch_of.items()}
    for group in plan.groups:
        for number, lot in enumerate(group.lots):
            for step in lot.steps:
                head = heads.get((group.id, number, step.key), lot.head)
                row = {
                    "entry_id": group.id,
                    "ranch_id": ranches[group.id],
                    "lot": number,
                    "key": step.key,
                    "starts": step.start,
                    "ends": step.end,
                    "head": head,
                    "by": step.by,
                }
                held = released(row, step.key, left, lot.head, head)
                if held is not None:
                    yield held


def _write_bookings(season: Season, plan: PlanVersion, now: datetime) -> Iterator[Change]:
    """Cancelled and moved bookings first step out of the way, then all take their places: swaps never collide."""
    problem, value = problem_of(plan.problem, plan.season.cooperative), load_plan(plan.document)
    wanted = {_booking_key(row): row for row in _held_bookings(season, problem, value)}
    found = {
        (str(row.entry_id), row.lot, row.step, str(row.technician_id)): row
        for row in Booking.objects.filter(entry__season=season).select_related("technician")
    }
    sessions = {key[:3] for key in wanted}
    gone = [
        row
        for key, row in found.items()
        if key not in wanted
        and row.status != "cancelled"
        # A visit that is over, and that nobody repeats, is not taken back, unless its technician was elsewhere then.
        and (row.ends > now or key[:3] in sessions or any(_meets(row, other) for other in wanted.values()))
    ]
    moved = [row for key, row in found.items() if key in wanted and _differs(row, wanted[key], "confirmed")]
    for row in gone:
        _cancel(row, now)
        yield Change("cancelled", "booking", row)
    Booking.objects.filter(pk__in=[row.pk for row in moved]).update(status="cancelled")
    for row in moved:
        _update(row, wanted[str(row.entry_id), row.lot, row.step, str(row.technician_id)], "confirmed", now)
        yield Change("moved", "booking", row)
    for key, values in wanted.items():
        if key not in found:
            made = Booking.objects.create(**values, status="confirmed", changed_at=now.replace(microsecond=0))
            yield Change("added", "booking", made)


def _held_bookings(season: Season, problem: Problem, plan: Plan) -> Iterator[dict[str, Any]]:
    """The plan's bookings, second sessions of split-time AI as far as females are left for them."""
    left = left_after_first(season)
    lots = {(group.id, number): lot.head for group in plan.groups for number, lot in enumerate(group.lots)}
    reserved = Counter[tuple[str, int, str]]()
    for visit in plan.visits:
        reserved[visit.group, visit.lot, visit.step] += visit.head
    for row in _booking_rows(problem, plan):
        place = row["entry_id"], row["lot"]
        held = released(row, row["step"], left, lots.get(place, row["head"]), reserved[*place, row["step"]])
        if held is not None:
            yield held


def hold_what_is_left(season: Season, now: datetime) -> list[Change]:
    """Bring steps and bookings of the published plan to what is left to do after a first session was counted, or not."""
    plan = season.published_plan
    if plan is None:
        return []
    with transaction.atomic():
        Cooperative.objects.select_for_update(no_key=True).get(pk=season.cooperative_id)
        changes = [*_write_steps(season, plan, now), *_write_bookings(season, plan, now)]
        if changes:
            bump_calendar(season)
    return changes


def _meets(row: Booking, other: dict[str, Any]) -> bool:
    """Whether a booking and one that is wanted of the same technician overlap."""
    same = str(row.technician_id) == other["technician_id"]
    return bool(same and row.busy_starts < other["busy_ends"] and other["busy_starts"] < row.busy_ends)


def _booking_key(row: dict[str, Any]) -> tuple[str, int, str, str]:
    return row["entry_id"], row["lot"], row["step"], row["technician_id"]


def _booking_rows(problem: Problem, plan: Plan) -> Iterator[dict[str, Any]]:
    """A row for each visit; busy from leaving the stop before (or base) until leaving, or home after the last."""
    ranch_of = {group.id: problem.ranches[group.ranch] for group in problem.groups}
    days: dict[tuple[str, Any], list[Visit]] = {}
    for visit in sorted(plan.visits, key=lambda item: (item.start, item.end)):
        days.setdefault((visit.technician, visit.start.astimezone(problem.zone).date()), []).append(visit)
    for (name, _), visits in days.items():
        person = problem.technicians[name]
        base = here = (person.lat, person.lon)
        for i, visit in enumerate(visits):
            ranch = ranch_of[visit.group]
            there = (ranch.lat, ranch.lon)
            home = drive(problem, there, base) if i == len(visits) - 1 else timedelta()
            leaves = visit.start - drive(problem, here, there)
            if i:
                leaves = max(leaves, visits[i - 1].end)
            yield {
                "entry_id": visit.group,
                "technician_id": name,
                "barn_id": visit.barn,
                "lot": visit.lot,
                "step": visit.step,
                "starts": visit.start,
                "ends": visit.end,
                "busy_starts": leaves,
                "busy_ends": visit.end + home,
                "km_before": round(road_km(problem, here, there), 1),
                "head": visit.head,
            }
            here = there


def _differs(row: PlannedStep | Booking, values: dict[str, Any], status: str) -> bool:
    if row.status == "done":
        return False
    return row.status != status or any(_plain(getattr(row, name)) != _plain(value) for name, value in values.items())


def _plain(value: Any) -> Any:
    """Ids as text, so that rows and documents compare."""
    return str(value) if hasattr(value, "hex") and not isinstance(value, (int, float, bytes)) else value


def _update(row: PlannedStep | Booking, values: dict[str, Any], status: str, now: datetime) -> bool:
    """Bring a row to its new values with the next sequence; False where nothing differs."""
    if not _differs(row, values, status):
        return False
    for name, value in values.items():
        setattr(row, name, value)
    if isinstance(row, Booking):  # whoever answered, answered to the times before
        row.answer, row.answered_at = "", None
    row.status = status
    row.sequence += 1
    row.changed_at = now.replace(microsecond=0)
    row.save()
    return True


def _cancel(row: PlannedStep | Booking, now: datetime) -> None:
    row.status = "cancelled"
    row.sequence += 1
    row.changed_at = now.replace(microsecond=0)
    row.save(update_fields=["status", "sequence", "changed_at"])
