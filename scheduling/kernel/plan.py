"""A plan as a value: what the optimizer returns, the checker reads and the site publishes.

Times are aware datetimes; they are written with the offset of the ranch's zone. Hours are elapsed hours, distances km.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

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
    """The parts of the cost as counts (not yet weighted) and the weighted total."""

    total: float
    technician_days: int
    km: float
    days_moved: int
    worst_move: int
    afternoon_half_hours: int
    unplaced: int


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


class PlanError(ValueError):
    """A plan file that cannot be used; `field` is a path such as `groups[0].lots[1].head`."""

    def __init__(self, field: str, allowed: str) -> None:
        super().__init__(f"{field}: {allowed}")
        self.field = field
        self.allowed = allowed


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
    return {"total": cost.total, "parts": parts}


def _group(group: GroupPlan) -> dict[str, Any]:
    return {"id": group.id, "ai_day": group.ai_day.isoformat(), "lots": [_lot(lot) for lot in group.lots]}


def _lot(lot: Lot) -> dict[str, Any]:
    steps = [
        {"key": step.key, "start": step.start.isoformat(), "end": step.end.isoformat(), "by": step.by} for step in lot.steps
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


def load_plan(document: Mapping[str, Any]) -> Plan:
    """Read a plan document (already parsed JSON); raises `PlanError` on the first fault."""
    raise NotImplementedError
