"""Plans that the bound suggests: lots of their own sizes, hands and hours, accepted by the checker at the cost that is printed."""

from collections import defaultdict
from datetime import date
from math import ceil
from time import process_time
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Bound, GroupPlan, Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.chute import Kept
from scheduling.kernel.search.exact.nearness import Nearness
from scheduling.kernel.search.exact.suggest import Suggestions
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.search.routes import Route
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document
from tests.scheduling.kernel.search.exact.test_hours import assert_no_day_is_cheaper

PROTOCOLS = load_catalogue().protocols
# For each season made by chance.
_SECONDS = 2.0


def suggested(season: Season) -> tuple[Plan, bool, float]:
    """The first plan made better by what the bound suggests, whether nothing is below it, and what the first one cost."""
    search = Search(Model(season), 1, {})
    search.first_plan()
    before, begun = search.best.cost, process_time()

    def left() -> float:
        return begun + _SECONDS - process_time()

    near = Nearness(search.model, search.state.routes, 300_000, left)
    settled = Suggestions(search, near).settled(left)
    search.restore(search.best)
    out = [i for i, item in enumerate(search.state.placed) if item is None]
    plan = plan_of(search.state, seed=1, rounds=0, bound=Bound(None, "none"), unplaced=())
    assert len(out) + len(plan.groups) == len(season.groups)
    return plan, settled, before


def faults(season: Season, plan: Plan, out: float) -> list[str]:
    """What the checker finds, but for groups left out, which get their causes later, and that they cost something."""
    report = check(season, plan)
    assert report.cost.total == pytest.approx(plan.cost.total + out, abs=0.2)
    return [item.code for item in report.broken if item.code != "group_count"]


def of_another_kind(season: Season, plan: Plan) -> list[tuple[str, str]]:
    """Sessions that the planner by itself would not make: lots in different hands, or shares of two other than by their paces."""
    there: dict[tuple[str, str], dict[int, dict[str, int]]] = defaultdict(lambda: defaultdict(dict))
    for visit in plan.visits:
        there[visit.group, visit.step][visit.lot][visit.technician] = visit.head
    found = []
    for key, lots in there.items():
        hands = {frozenset(shares) for shares in lots.values()}
        if len(hands) > 1 or any(not _by_pace(season, shares) for shares in lots.values()):
            found.append(key)
    return found


def _by_pace(season: Season, shares: dict[str, int]) -> bool:
    pace = {name: season.technicians[name].ai_rate for name in shares}
    return all(abs(head - sum(shares.values()) * pace[name] / sum(pace.values())) <= 1 for name, head in shares.items())


@pytest.mark.parametrize(("seed", "cost"), [(12, 7679.6), (16, 6362.2)])
def test_lots_of_one_session_in_different_hands_make_the_cheapest_plan(seed: int, cost: float) -> None:
    """With a session in the same hands throughout the cheapest costs 7685.6 and 6371.2."""
    season = load_season(season_document("S", seed), PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=1500))
    report = check(season, plan)
    assert not report.broken
    assert report.cost.total == pytest.approx(cost, abs=0.2)
    assert plan.bound == Bound(plan.cost.total, "proven")
    assert of_another_kind(season, plan)


def test_a_plan_with_lots_in_different_hands_is_kept_as_it_is() -> None:
    season = load_season(season_document("S", 12), PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=1500))
    kept = solve(season, seed=1, budget=Budget(rounds=0), keep=plan)
    assert not check(season, kept).broken
    assert (kept.groups, kept.visits, kept.days) == (plan.groups, plan.visits, plan.days)


def test_treatment_by_technicians_lasts_as_long_as_the_ranchs_own_ai_asks() -> None:
    """S seed 9: the ranch inseminates ninety head in four and a half hours, so that treatment cannot be over in two."""
    season = load_season(season_document("S", 9), PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=1500))
    assert not check(season, plan).broken
    assert plan.bound == Bound(plan.cost.total, "proven")


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    """Seasons of S with a few groups near each other in time, changed in what makes lots worth while."""
    document = season_document("S", draw(st.integers(1, 60)))
    document["groups"] = document["groups"][: draw(st.integers(2, 5))]
    ranches = [group["ranch"] for group in document["groups"]]
    for group in document["groups"]:
        group["ai_from"] = group["ai_wanted"] = "2027-06-05"
        group["ai_to"] = "2027-06-06"
        group["order"] = draw(st.sampled_from(["kept", "any"]))
        group["head"] = draw(st.integers(5, 110))
        group["ranch"] = draw(st.sampled_from(ranches))
        group["steps_by"] = draw(st.sampled_from(["ranch", "ranch", "technician"]))
        group["needs_barn"] = draw(st.sampled_from([False, False, True]))
        group["skills"] = []
    for ranch in document["ranches"]:
        ranch["ai_stalls"], ranch["closed_days"] = draw(st.integers(1, 2)), []
    for person in document["technicians"]:
        person["days_off"] = []
        person["max_head_per_day"] = draw(st.sampled_from([60, 90, 120]))
    document["weights"] = {"afternoon_half_hour": 30, "technician_day": draw(st.sampled_from([0, 300]))}
    return document


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(documents())
def test_whatever_is_built_keeps_the_rules_at_the_cost_that_is_said(document: dict[str, Any]) -> None:
    season = load_season(document, PROTOCOLS)
    plan, _, before = suggested(season)
    out = len(season.groups) - len(plan.groups)
    assert faults(season, plan, 0.0) == []
    assert plan.cost.total + season.weights.unplaced * out <= before + 0.1
    if plan.groups:
        assert_no_day_is_cheaper(season, plan)


def _kept(spans: tuple[tuple[int, int], ...], at_stalls: dict[tuple[int, int], tuple[int, int]]) -> Kept:
    return Kept(GroupPlan("G", date(2027, 6, 1), ()), {}, spans, at_stalls)


def test_two_groups_are_beside_each_other_where_there_are_stalls_for_all_hands_only() -> None:
    there, later = (600, 660), (630, 700)
    alone, two = _kept((there,), {there: (1, 2)}), _kept((later,), {later: (2, 2)})
    beside, treated = _kept((later,), {later: (1, 2)}), _kept((later,), {})
    one_stall = _kept((later,), {later: (1, 1)})
    assert alone.beside(there, beside, later)
    assert not alone.beside(there, two, later)
    assert not alone.beside(there, treated, later)
    assert not alone.beside(there, one_stall, later)


def test_a_visit_that_was_written_to_the_minute_may_seem_half_a_minute_too_soon_at_either_end_only() -> None:
    state = Search(Model(load_season(season_document("S", 1), PROTOCOLS)), 1, {}).state
    need = next(need for need in state.model.needs if need.works and len(need.able) == 2)
    person, day = need.able[0], need.days[0]
    opens, _ = state.routes.hours(person, day + need.works[0].day)
    km, minutes = state.model.road(state.model.people[person].base)[need.place]
    exact = km * 60 / state.model.season.travel.speed_kmh
    assert minutes - 1 < exact <= minutes

    def route(start: int) -> Route | None:
        visit = state.visits.pinned(need, 0, day, ((start, start + 30),), (1,), (0,))
        return state.routes.route(person, (visit,))

    soonest = ceil(exact - 1)
    assert route(opens + soonest) is not None
    assert route(opens + soonest - 1) is None
