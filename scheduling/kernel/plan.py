"""A plan as a value: what the optimizer returns, the checker reads and the site publishes.

Times are aware datetimes; they are written with the offset of the ranch's zone. Hours are elapsed hours, distances km.
"""

import json
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from scheduling.kernel.reader import Reader, ReadError

FORMAT = "herdplan-plan/1"


@dataclass(frozen=True, slots=True)
class PlacedStep:
    """One step of a lot; `by` is "ranch" or "technician". Steps of one chute trip share start and end."""

    key: str
    start: datetime
    end: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Lot:
    """Part of a group. `interval_min_h`/`interval_max_h`: shortest and longest hours that an animal waits for AI."""

    head: int
    steps: tuple[PlacedStep, ...]
    interval_min_h: float | None
    interval_max_h: float | None


@dataclass(frozen=True, slots=True)
class GroupPlan:
    """A group's place: its AI day in the ranch's calendar, and its lots."""

    id: str
    ai_day: date
    lots: tuple[Lot, ...]


@dataclass(frozen=True, slots=True)
class Visit:
    """A technician at a lot's step. For split-time AI and heat detection `head` is the number to reserve for."""

    technician: str
    group: str
    lot: int
    step: str
    start: datetime
    end: datetime
    head: int
    barn: str | None


@dataclass(frozen=True, slots=True)
class TechnicianDay:
    """A technician's day from leaving base to being back."""

    technician: str
    day: date
    leaves: datetime
    back: datetime
    km: float


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a group found no place. `about` names ids and days."""

    kind: str
    text: str
    about: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Remedy:
    """A single change that was tried and makes the group fit."""

    text: str
    group: str
    field: str
    to: str | int | bool


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A group that the plan leaves out."""

    group: str
    causes: tuple[Cause, ...]
    remedies: tuple[Remedy, ...]


@dataclass(frozen=True, slots=True)
class Cost:
    """The parts of the cost as counts (not yet weighted) and the weighted total.

    `rest_days` and `days_before` count towards fair shares over seasons, `uneven_load` towards those within the season, where a
    season weighs them.
    """

    total: float
    technician_days: int
    km: float
    days_moved: int
    worst_move: int
    afternoon_half_hours: int
    unplaced: int
    rest_days: int = 0
    days_before: int = 0
    uneven_load: float = 0.0


@dataclass(frozen=True, slots=True)
class Bound:
    """A lower bound and its kind: "proven", "routes considered" or "none"."""

    value: float | None
    kind: str


@dataclass(frozen=True)
class Plan:
    """A whole plan. `status` is "complete", "partial" (some groups unplaced) or "empty" (nothing placed)."""

    status: str
    seed: int
    rounds: int
    cost: Cost
    bound: Bound
    groups: tuple[GroupPlan, ...]
    visits: tuple[Visit, ...]
    days: tuple[TechnicianDay, ...]
    unplaced: tuple[Unplaced, ...]


PlanError = ReadError


def to_document(plan: Plan) -> dict[str, Any]:
    """The plan as the JSON document of the plan format."""
    return {
        "format": FORMAT,
        "status": plan.status,
        "seed": plan.seed,
        "rounds": plan.rounds,
        "cost": _cost(plan.cost),
        "bound": {"value": plan.bound.value, "kind": plan.bound.kind},
        "groups": [_group(group) for group in plan.groups],
        "visits": [_visit(visit) for visit in plan.visits],
        "days": [_day(day) for day in plan.days],
        "unplaced": [_unplaced(item) for item in plan.unplaced],
    }


def plan_bytes(plan: Plan) -> bytes:
    """The plan file: the same plan gives the same bytes."""
    return (json.dumps(to_document(plan), indent=1, ensure_ascii=False) + "\n").encode()


def _cost(cost: Cost) -> dict[str, Any]:
    parts = {
        "technician_days": cost.technician_days,
        "km": cost.km,
        "days_moved": cost.days_moved,
        "worst_move": cost.worst_move,
        "afternoon_half_hours": cost.afternoon_half_hours,
        "unplaced": cost.unplaced,
    }
    fair = {"rest_days": cost.rest_days, "days_before": cost.days_before, "uneven_load": cost.uneven_load}
    return {"total": cost.total, "parts": {**parts, **{name: value for name, value in fair.items() if value}}}


def _group(group: GroupPlan) -> dict[str, Any]:
    return {"id": group.id, "ai_day": group.ai_day.isoformat(), "lots": [_lot(lot) for lot in group.lots]}


def _lot(lot: Lot) -> dict[str, Any]:
    steps = [
        {"key": step.key, "start": step.start.isoformat(), "end": step.end.isoformat(), "by": step.by}
        for step in lot.steps
    ]
    return {"head": lot.head, "steps": steps, "interval_hours": {"min": lot.interval_min_h, "max": lot.interval_max_h}}


def _visit(visit: Visit) -> dict[str, Any]:
    return {
        "technician": visit.technician,
        "group": visit.group,
        "lot": visit.lot,
        "step": visit.step,
        "start": visit.start.isoformat(),
        "end": visit.end.isoformat(),
        "head": visit.head,
        "barn": visit.barn,
    }


def _day(day: TechnicianDay) -> dict[str, Any]:
    return {
        "technician": day.technician,
        "day": day.day.isoformat(),
        "leaves": day.leaves.isoformat(),
        "back": day.back.isoformat(),
        "km": day.km,
    }


def _unplaced(item: Unplaced) -> dict[str, Any]:
    return {
        "group": item.group,
        "causes": [{"kind": cause.kind, "text": cause.text, "about": list(cause.about)} for cause in item.causes],
        "remedies": [
            {"text": remedy.text, "change": {"group": remedy.group, "field": remedy.field, "to": remedy.to}}
            for remedy in item.remedies
        ],
    }


def load_plan(document: object) -> Plan:
    """Read a plan document (parsed JSON); raises `PlanError` on the first fault.

    Only the shape is judged here; whether the plan keeps the rules is for the checker.
    """
    top = Reader(document, "")
    if top.take("format") != FORMAT:
        raise PlanError("format", f'"{FORMAT}"')
    plan = Plan(
        status=top.text("status"),
        seed=top.whole("seed", 0, 2**63),
        rounds=top.whole("rounds", 0, 2**63),
        cost=_read_cost(Reader(top.take("cost"), "cost")),
        bound=_read_bound(Reader(top.take("bound"), "bound")),
        groups=tuple(_read_group(row) for row in _rows(top, "groups")),
        visits=tuple(_read_visit(row) for row in _rows(top, "visits")),
        days=tuple(_read_technician_day(row) for row in _rows(top, "days")),
        unplaced=tuple(_read_unplaced(row) for row in _rows(top, "unplaced")),
    )
    top.done()
    return plan


def _rows(top: Reader, name: str) -> list[Reader]:
    return [Reader(item, f"{top.at(name)}[{i}]") for i, item in enumerate(top.items(name, 1_000_000))]


_BIG = 1e12


def _read_cost(row: Reader) -> Cost:
    parts = Reader(row.take("parts"), "cost.parts")
    cost = Cost(
        total=row.number("total", 0, _BIG),
        technician_days=parts.whole("technician_days", 0, 10**9),
        km=parts.number("km", 0, _BIG),
        days_moved=parts.whole("days_moved", 0, 10**9),
        worst_move=parts.whole("worst_move", 0, 10**9),
        afternoon_half_hours=parts.whole("afternoon_half_hours", 0, 10**9),
        unplaced=parts.whole("unplaced", 0, 10**9),
        rest_days=parts.whole("rest_days", 0, 10**9) if parts.has("rest_days") else 0,
        days_before=parts.whole("days_before", 0, 10**9) if parts.has("days_before") else 0,
        uneven_load=parts.number("uneven_load", 0, _BIG) if parts.has("uneven_load") else 0.0,
    )
    parts.done()
    row.done()
    return cost


def _read_bound(row: Reader) -> Bound:
    value = row.number("value", 0, _BIG) if row.has("value") else None
    kind = row.text("kind")
    if kind not in ("proven", "routes considered", "none"):
        raise PlanError("bound.kind", 'one of "proven", "routes considered", "none"')
    row.values.pop("value", None)
    row.done()
    return Bound(value, kind)


def _read_group(row: Reader) -> GroupPlan:
    group = GroupPlan(row.text("id"), row.day("ai_day"), tuple(_read_lot(lot) for lot in _rows(row, "lots")))
    row.done()
    return group


def _read_lot(row: Reader) -> Lot:
    hours = Reader(row.take("interval_hours"), row.at("interval_hours"))
    shortest = hours.number("min", -_BIG, _BIG) if hours.has("min") else None
    longest = hours.number("max", -_BIG, _BIG) if hours.has("max") else None
    lot = Lot(row.whole("head", 1, 10**6), tuple(_read_step(step) for step in _rows(row, "steps")), shortest, longest)
    row.done()
    return lot


def _read_step(row: Reader) -> PlacedStep:
    step = PlacedStep(row.text("key"), row.moment("start"), row.moment("end"), row.text("by"))
    if step.by not in ("ranch", "technician"):
        raise PlanError(row.at("by"), '"ranch" or "technician"')
    row.done()
    return step


def _read_visit(row: Reader) -> Visit:
    visit = Visit(
        technician=row.text("technician"),
        group=row.text("group"),
        lot=row.whole("lot", 0, 10**6),
        step=row.text("step"),
        start=row.moment("start"),
        end=row.moment("end"),
        head=row.whole("head", 0, 10**6),
        barn=row.text("barn") if row.has("barn") else None,
    )
    row.done()
    return visit


def _read_technician_day(row: Reader) -> TechnicianDay:
    day = TechnicianDay(
        row.text("technician"), row.day("day"), row.moment("leaves"), row.moment("back"), row.number("km", 0, _BIG)
    )
    row.done()
    return day


def _read_unplaced(row: Reader) -> Unplaced:
    causes = tuple(_read_cause(cause) for cause in _rows(row, "causes"))
    remedies = tuple(_read_remedy(remedy) for remedy in _rows(row, "remedies"))
    unplaced = Unplaced(row.text("group"), causes, remedies)
    row.done()
    return unplaced


def _read_cause(row: Reader) -> Cause:
    about = tuple(str(item) for item in row.items("about", 10_000))
    cause = Cause(row.text("kind"), _sentence(row, "text"), about)
    row.done()
    return cause


def _read_remedy(row: Reader) -> Remedy:
    change = Reader(row.take("change"), row.at("change"))
    to = change.take("to")
    if not isinstance(to, (str, int, bool)):
        raise PlanError(change.at("to"), "a text, a whole number, true or false")
    remedy = Remedy(_sentence(row, "text"), change.text("group"), change.text("field"), to)
    change.done()
    row.done()
    return remedy


def _sentence(row: Reader, name: str) -> str:
    value = row.take(name)
    if not isinstance(value, str) or not value:
        raise PlanError(row.at(name), "a sentence")
    return value
