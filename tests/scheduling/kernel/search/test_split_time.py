"""Split-time AI in any order: any of a lot may come to either session, the last treated first."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Lot, Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
KEY, HEAD = "cow_7d_cosynch_insert_split", 56


def season_of(order: str, **changes: Any) -> Season:
    """One group of 56 at a ranch that treats 45 an hour."""
    document = season_document("S", 7)
    group = {**document["groups"][0], "animal_class": "cow", "protocol": KEY, "head": HEAD, "order": order}
    group.update({"ai_by": "technician", "steps_by": "ranch", "skills": [], "needs_barn": False} | changes)
    for ranch in document["ranches"]:
        ranch["treat_rate"] = 45
    return load_season({**document, "groups": [group]}, PROTOCOLS)


def gap_h(lot: Lot, key: str) -> float:
    """Hours from the start of treatment to the start of a session."""
    starts: dict[str, datetime] = {step.key: step.start for step in lot.steps}
    return (starts[key] - starts["pg"]) / timedelta(hours=1)


@pytest.mark.parametrize("by", ["technician", "ranch"])
@pytest.mark.parametrize("rounds", [0, 200])
def test_the_last_treated_of_a_lot_may_come_first(by: str, rounds: int) -> None:
    """The contract's formula for any order, with all of the lot treated and those who are reserved for inseminated."""
    season = season_of("any", ai_by=by)
    plan = solve(season, seed=1, budget=Budget(rounds=rounds))
    assert check(season, plan).broken == ()
    for number, lot in enumerate(plan.groups[0].lots):
        for step in PROTOCOLS[KEY].ai_steps:
            visits = [visit for visit in plan.visits if (visit.step, visit.lot) == (step.key, number)]
            come = sum(visit.head for visit in visits) or lot.head
            rate = sum(season.technicians[visit.technician].ai_rate for visit in visits) or 20
            assert step.after is not None
            assert gap_h(lot, step.key) - (lot.head - 1) / 45 >= step.after.window[0] - 1e-6
            assert gap_h(lot, step.key) + (come - 1) / rate <= step.after.window[1] + 1e-6


def treated_later(plan: Plan, minutes: float) -> Plan:
    """The plan's only group with its treatment so many minutes later."""
    lot, later = plan.groups[0].lots[0], timedelta(minutes=minutes)
    steps = tuple(
        replace(step, start=step.start + later, end=step.end + later) if step.key in ("out", "pg") else step
        for step in lot.steps
    )
    return replace(plan, groups=(replace(plan.groups[0], lots=(replace(lot, steps=steps),)),))


@pytest.mark.parametrize(("order", "broken"), [("any", {"interval"}), ("kept", set())])
def test_the_checker_counts_all_who_were_treated_where_any_may_come_first(order: str, broken: set[str]) -> None:
    """AI 15 minutes sooner after treatment than the last treated needs: long enough for those who come, if treated first."""
    season = season_of(order)
    plan = solve(season_of("any"), seed=1, budget=Budget(rounds=20))
    lot = plan.groups[0].lots[0]
    assert lot.head == HEAD
    plan = treated_later(plan, 60 * (gap_h(lot, "ai1") - 64 - 55 / 45) + 15)
    come = next(visit.head for visit in plan.visits if visit.step == "ai1")
    assert gap_h(plan.groups[0].lots[0], "ai1") - (come - 1) / 45 >= 64
    assert {item.code for item in check(season, plan).broken} - {"interval_printed"} == broken
