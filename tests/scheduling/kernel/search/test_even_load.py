"""Even work between technicians within a season: weighed where a season asks for it, and counted again by the checker."""

import copy
import random
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from scheduling.kernel.checker import check
from scheduling.kernel.plan import Plan, load_plan, to_document
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document
from tests.factories.tight import PROTOCOLS

FIRST = date(2027, 5, 27)


def four_groups(weight: float, off: int = 0) -> dict[str, Any]:
    """Four groups, each on a day of its own; one technician next door, one 40 km away who is off for so many days in April."""
    document = season_document("S", 2)
    one = copy.deepcopy(document["groups"][0])
    one.update(ranch="R0", animal_class="cow", protocol="cow_7d_cosynch_insert", head=40, ai_by="technician")
    one.update(steps_by="ranch", skills=[], needs_barn=False, order="kept")
    days = [(FIRST + timedelta(days=4 * i)).isoformat() for i in range(4)]
    document["groups"] = [dict(one, id=f"G{i}", ai_from=day, ai_to=day, ai_wanted=day) for i, day in enumerate(days)]
    document["ranches"] = [dict(document["ranches"][0], lat=45.0, lon=-102.0, closed_days=[], zone=None)]
    near, far = document["technicians"][:2]
    away = [(date(2027, 4, 12) + timedelta(days=i)).isoformat() for i in range(off)]
    near.update(id="near", lat=45.0, lon=-102.0, days_off=[], skills=[])
    far.update(id="far", lat=45.3, lon=-102.3, days_off=away, skills=[])
    document["technicians"] = [near, far]
    if weight:
        document["weights"] = {"uneven_load": weight}
    return document


def planned(document: dict[str, Any]) -> Plan:
    season = load_season(document, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=30))
    assert [item.text for item in check(season, plan).broken] == []
    return plan


def days(plan: Plan) -> Counter[str]:
    return Counter(item.technician for item in plan.days)


def test_work_is_shared_where_that_is_weighed_and_by_the_days_on_which_each_can_come() -> None:
    alone = planned(four_groups(0))
    assert days(alone) == {"near": 4}
    assert "uneven_load" not in to_document(alone)["cost"]["parts"]
    length = 62  # 12 April to 12 June
    even = planned(four_groups(10_000))
    assert days(even) == {"near": 2, "far": 2}
    assert even.cost.uneven_load == pytest.approx(8 / length, abs=0.001)
    rare = planned(four_groups(10_000, off=42))  # a third of the other's days
    assert days(rare) == {"near": 3, "far": 1}
    assert rare.cost.uneven_load == pytest.approx(9 / length + 1 / 20, abs=0.001)


def test_the_checker_counts_it_again() -> None:
    season = load_season(four_groups(10_000), PROTOCOLS)
    plan = planned(four_groups(10_000))
    assert load_plan(to_document(plan)).cost == plan.cost
    wrong = replace(plan, cost=replace(plan.cost, uneven_load=0.01))
    assert {item.code for item in check(season, wrong).broken} == {"cost_printed"}


@pytest.mark.parametrize("seed", [1, 2])
def test_the_search_keeps_count_through_moves_and_ways_back(seed: int) -> None:
    """What is kept up change by change is what a fresh sum gives; another day of work never makes it less."""
    document = season_document("S", seed)
    document["weights"] = {"uneven_load": 700}
    search = Search(Model(load_season(document, PROTOCOLS)), seed, {})
    search.first_plan()
    state, rng = search.state, random.Random(seed)
    for _ in range(60):
        search.improve(1, rng.choice((1.0, 200.0)))
        assert state.worked == [sum(key % state.width == i for key in state.days) for i in range(state.width)]
        assert state.load_cost == pytest.approx(700 * state.uneven_load(), abs=1e-6)
        assert min(state.one_more_day(i) for i in range(state.width)) > 0
    search.restore(search.best)
    assert state.load_cost == pytest.approx(700 * state.uneven_load(), abs=1e-6)
