"""A technician lost for a week: nobody's day changes where somebody else can come on it."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scheduling.kernel.checker import check
from scheduling.kernel.plan import Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.returning import returned
from scheduling.kernel.season import Season
from scheduling.kernel.standing import least_changed
from tests.factories.repairs import lost_week, moved, needless


def faults(season: Season, plan: Plan) -> list[str]:
    return [item.text for item in check(season, plan).broken]


@pytest.mark.parametrize(
    ("size", "seed", "rounds"),
    [*(("S", seed, 80) for seed in range(1, 9)), *(("M", seed, 40) for seed in range(1, 5)), ("L", 1, 0)],
)
def test_no_day_changes_where_a_swap_exists(size: str, seed: int, rounds: int) -> None:
    """At once and after a search; as searched and calmed. The judge inserts each moved group anew and asks the checker."""
    _, before, season = lost_week(size, seed, rounds=10)
    for budget in {0, rounds}:
        plan = solve(season, seed=seed, budget=Budget(rounds=budget), keep=before)
        for found in (plan, least_changed(season, before, plan)):
            assert faults(season, found) == []
            assert needless(season, before, found) == {}


def pushed(season: Season, before: Plan, name: str, days: int) -> Plan:
    """A plan in which one group was made to move, everybody else kept."""
    day = next(group.ai_day for group in before.groups if group.id == name) + timedelta(days=days)
    held = tuple(
        replace(group, ai_from=day, ai_to=day, ai_wanted=day) if group.id == name else group for group in season.groups
    )
    plan = solve(replace(season, groups=held), seed=1, budget=Budget(rounds=0), keep=before)
    return replace(plan, cost=check(season, plan).cost)


def a_move(season: Season, before: Plan) -> tuple[str, Plan]:
    """A group that can be pushed by a day, and the plan with it pushed."""
    for group in before.groups:
        plan = pushed(season, before, group.id, 1)
        if not faults(season, plan) and moved(before, plan) == {group.id: group.ai_day}:
            return group.id, plan
    raise AssertionError("no group can be moved by a day")


def test_a_group_moved_for_nothing_goes_back_and_nobody_else_is_touched() -> None:
    season, before, _ = lost_week("S", 2, rounds=10)
    name, plan = a_move(season, before)
    back = returned(season, before, plan)
    assert moved(before, back) == {}
    assert faults(season, back) == []
    assert [g for g in back.groups if g.id != name] == [g for g in plan.groups if g.id != name]


def test_a_group_whose_old_day_is_closed_stays_where_the_new_plan_has_it() -> None:
    season, before, _ = lost_week("S", 2, rounds=10)
    name, plan = a_move(season, before)
    group = next(item for item in season.groups if item.id == name)
    old: date = moved(before, plan)[name]
    ranch = season.ranches[group.ranch]
    shut = replace(ranch, closed_days=ranch.closed_days | {old})
    closed = replace(season, ranches={**season.ranches, ranch.id: shut})
    assert returned(closed, before, plan) is plan
