"""The proof: never above a plan that keeps the rules, the same under renaming and shifting, none where it does not apply."""

import copy
import itertools
import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Bound, Cost, GroupPlan, Lot, PlacedStep, Plan, Visit
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import Group, Season, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
ROUNDS = 900
NO_COST = Cost(0, 0, 0, 0, 0, 0, 0)
# What an enumerated plan does not print.
UNPRINTED = {"cost_printed", "day_printed", "interval_printed"}


def small_document(seed: int = 1, groups: int = 5) -> dict[str, Any]:
    """A season of S with some of its groups."""
    document = season_document("S", seed)
    document["groups"] = document["groups"][:groups]
    return document


def proved(document: dict[str, Any], keep: Plan | None = None, rounds: int = ROUNDS) -> Plan:
    """A plan that breaks no rule."""
    season = load_season(document, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=rounds), keep=keep)
    assert [item.text for item in check(season, plan).broken] == []
    return plan


def proven_cost(document: dict[str, Any], rounds: int = ROUNDS) -> float:
    """The cost of the best plan of those that the planner tries."""
    plan = proved(document, rounds=rounds)
    assert plan.bound == Bound(plan.cost.total, plan.bound.kind)
    assert plan.bound.kind in ("proven", "routes considered")
    return plan.cost.total


# -- against every plan on a coarse grid ------------------------------------------------------------------------------
def two_groups(heads: tuple[int, int], apart: float) -> dict[str, Any]:
    """Two groups on two ranches, three AI days each, two technicians."""
    document = season_document("S", 1)
    ranches = document["ranches"][:2]
    for i, ranch in enumerate(ranches):
        ranch.update(lat=45.0 + apart * i, lon=-103.0, zone=None, closed_days=[], ai_stalls=1)
    groups = document["groups"][:2]
    for i, group in enumerate(groups):
        group.update(ranch=ranches[i]["id"], head=heads[i], animal_class="cow", protocol="cow_7d_cosynch_insert")
        group.update(ai_from="2027-06-01", ai_to="2027-06-03", ai_wanted=f"2027-06-0{1 + 2 * i}", order="kept")
        group.update(ai_by="technician", steps_by="ranch", skills=[], needs_barn=False)
    for i, person in enumerate(document["technicians"]):
        person.update(lat=45.3, lon=-103.2 - 0.4 * i, days_off=[], max_head_per_day=120, ai_rate=25 + 5 * i)
    return {**document, "ranches": ranches, "groups": groups, "barns": []}


def every_place(season: Season, group: Group) -> Iterator[tuple[GroupPlan, Visit]]:
    """Every AI day, technician and full hour; treatment 60 to 66 h before, other trips at nine."""
    zone = season.ranches[group.ranch].zone
    rate = season.ranches[group.ranch].treat_rate
    for ahead, person, hour in itertools.product(range(3), season.technicians.values(), range(6, 15)):
        day = group.ai_from + timedelta(days=ahead)
        begins = datetime.combine(day, datetime.min.time(), zone) + timedelta(hours=hour)
        ends = begins + timedelta(minutes=-(-group.head * 60 // person.ai_rate))
        steps = []
        for step in group.protocol.steps:
            offset = timedelta(days=step.day - group.protocol.reference_day)
            start = datetime.combine(day + offset, datetime.min.time(), zone) + timedelta(hours=9)
            if step.trip is not None and _with_treatment(group, step.key):
                start = begins - timedelta(hours=63)
            end = start + timedelta(minutes=-(-group.head * 60 // rate))
            is_ai = step.key in {other.key for trip in group.protocol.trips if _has_ai(trip) for other in trip}
            steps.append(
                PlacedStep(step.key, begins, ends, "technician") if is_ai else PlacedStep(step.key, start, end, "ranch")
            )
        ai = group.protocol.ai_steps[0].key
        visit = Visit(person.id, group.id, 0, ai, begins, ends, group.head, None)
        yield GroupPlan(group.id, day, (Lot(group.head, tuple(steps), 0.0, 0.0),)), visit


def _has_ai(trip: Any) -> bool:
    return any(step.is_ai for step in trip)


def _with_treatment(group: Group, key: str) -> bool:
    after = group.protocol.ai_steps[0].after
    assert after is not None
    return any({after.step, key} <= {step.key for step in trip} for trip in group.protocol.trips)


def cheapest_on_grid(season: Season) -> float:
    """The least cost, by the checker, of all plans on the grid that keep the rules."""
    costs = []
    for places in itertools.product(*(list(every_place(season, group)) for group in season.groups)):
        visits = tuple(sorted((visit for _, visit in places), key=lambda visit: visit.start))
        groups = tuple(group for group, _ in places)
        plan = Plan("complete", 0, 0, NO_COST, Bound(None, "none"), groups, visits, (), ())
        report = check(season, plan)
        if all(item.code in UNPRINTED for item in report.broken):
            costs.append(report.cost.total)
    return min(costs)


@pytest.mark.parametrize(("heads", "apart"), [((50, 40), 0.2), ((70, 60), 0.2), ((50, 45), 0.9)])
def test_no_plan_on_a_grid_is_cheaper_and_the_best_is_no_dearer_than_the_grid_explains(
    heads: tuple[int, int], apart: float
) -> None:
    document = two_groups(heads, apart)
    least, proven = cheapest_on_grid(load_season(document, PROTOCOLS)), proven_cost(document)
    assert proven <= least + 0.1
    assert least - proven <= 4 * 3  # starts on full hours: at most two half hours more for each group


# -- properties -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("seed", [7, 12])
def test_small_seasons_are_shown_to_be_best_and_no_search_beats_them(seed: int) -> None:
    document = season_document("S", seed)
    season = load_season(document, PROTOCOLS)
    proven = proven_cost(document, rounds=1500)
    for other in (2, 3):
        assert solve(season, seed=other, budget=Budget(rounds=15)).cost.total >= proven - 0.1


@settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(1, 40))
def test_more_technicians_never_cost_more(seed: int) -> None:
    document = small_document(seed)
    more = copy.deepcopy(document)
    more["technicians"].append({**document["technicians"][0], "id": "T9", "lat": 45.9, "days_off": []})
    few, many = proved(document), proved(more)
    if few.bound.kind == many.bound.kind != "none":
        assert many.cost.total <= few.cost.total + 0.1


@settings(max_examples=5, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(1, 40), st.integers(1, 5))
def test_weeks_later_and_under_other_names_the_cost_is_the_same(seed: int, weeks: int) -> None:
    document = small_document(seed)
    text = json.dumps(document)
    for kind in "RGT":
        text = text.replace(f'"{kind}', f'"new-{kind}')
    for day in _days(document):
        text = text.replace(f'"{day}"', f'"<{date.fromisoformat(day) + timedelta(weeks=weeks)}>"')
    moved = json.loads(text.replace('"<', '"').replace('>"', '"'))
    one, other = proved(document), proved(moved)
    assert one.bound.kind == other.bound.kind
    if one.bound.kind != "none":
        assert abs(one.cost.total - other.cost.total) <= 0.1


def _days(document: dict[str, Any]) -> set[str]:
    words = json.dumps(document).split('"')
    return {word for word in words if len(word) == 10 and word[4] == word[7] == "-" and word[:4].isdigit()}


def test_the_same_rounds_give_the_same_proof() -> None:
    document = small_document(6, 8)
    assert proved(document) == proved(document)


# -- honest elsewhere -------------------------------------------------------------------------------------------------
def test_a_season_in_which_nothing_costs_anything_ends() -> None:
    document = two_groups((50, 40), 0.2)
    names = ("technician_day", "km", "day_moved", "worst_move", "afternoon_half_hour", "unplaced")
    free = proved({**document, "weights": dict.fromkeys(names, 0)})
    assert free.bound == Bound(0, "proven")


def test_a_season_in_which_nobody_can_be_placed_is_proven() -> None:
    document = two_groups((50, 40), 0.2)
    for ranch in document["ranches"]:
        ranch["closed_days"] = ["2027-06-01", "2027-06-02", "2027-06-03"]
    assert proved(document).bound == Bound(6000, "proven")


def narrow() -> dict[str, Any]:
    """38 heifers in any order, 52 to 56 h after PG, at a ranch that is open from seven to one; one technician.

    In one lot PG lasts from 07:00 to 07:38, so that AI begins at 11:37 at the earliest, two days later, and lasts 91 minutes, to 13:08.
    In two lots, of 26 and 12, it begins at 11:25 and ends at 13:00.
    """
    document = two_groups((38, 38), 0.2)
    document["groups"] = document["groups"][1:]
    document["groups"][0].update(animal_class="heifer", protocol="heifer_7d_cosynch_insert", order="any")
    document["ranches"][1].update(handling_hours=["07:00", "13:00"], treat_rate=60)
    document["technicians"] = document["technicians"][:1]
    document["technicians"][0].update(ai_rate=25, hours=["05:00", "20:00"])
    return document


def test_one_technician_alone_does_not_prove_that_a_group_has_no_place() -> None:
    plan = proved(narrow())
    assert plan.status == "complete"
    assert len(plan.groups[0].lots) > 1


def test_a_repair_of_a_plan_that_is_kept_proves_nothing() -> None:
    document = small_document()
    assert proved(document, keep=proved(document)).bound == Bound(None, "none")


def test_a_season_too_large_for_it_proves_nothing() -> None:
    season = load_season(season_document("M", 1), PROTOCOLS)
    assert solve(season, seed=1, budget=Budget(rounds=2)).bound == Bound(None, "none")


def test_what_other_crews_or_lots_might_do_better_is_not_called_proven() -> None:
    """More than one technician may do in a day, and one stall: one after the other; 230 head do not fit the hours in one row."""
    placed = proved(two_groups((50, 210), 0.2))
    assert placed.cost.unplaced == 0
    assert placed.bound.kind == "routes considered"
    plan = proved(two_groups((50, 230), 0.2))
    assert plan.cost.unplaced == 1
    assert plan.bound == Bound(plan.cost.total, "routes considered")


def test_a_season_with_three_technicians_is_shown_best_of_what_the_planner_builds_only() -> None:
    document = two_groups((50, 40), 0.2)
    document["technicians"].append({**document["technicians"][0], "id": "T9", "lat": 45.9})
    assert proved(document).bound.kind == "routes considered"


def test_weeks_later_the_plan_is_the_same_plan_weeks_later() -> None:
    document = small_document(6)
    text = json.dumps(document)
    for day in _days(document):
        text = text.replace(f'"{day}"', f'"<{date.fromisoformat(day) + timedelta(weeks=3)}>"')
    one, other = proved(document), proved(json.loads(text.replace('"<', '"').replace('>"', '"')))
    assert one.bound == other.bound
    assert one.bound.kind != "none"
    weeks = timedelta(weeks=3)
    assert [(group.id, group.ai_day + weeks) for group in one.groups] == [(g.id, g.ai_day) for g in other.groups]
    mine = [(visit.technician, visit.group, visit.step, visit.start + weeks, visit.end + weeks) for visit in one.visits]
    assert mine == [(visit.technician, visit.group, visit.step, visit.start, visit.end) for visit in other.visits]


def test_steps_carried_out_are_left_to_the_search() -> None:
    document = two_groups((50, 40), 0.2)
    group = document["groups"][0]
    group["done"] = [{"step": PROTOCOLS[group["protocol"]].steps[0].key, "at": "2027-05-22T09:00:00-06:00"}]
    assert solve(load_season(document, PROTOCOLS), seed=1, budget=Budget(rounds=ROUNDS)).bound == Bound(None, "none")
