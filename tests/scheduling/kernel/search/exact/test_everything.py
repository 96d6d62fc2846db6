"""The bound of everything that the rules allow, against every plan of two small groups: whole, and cut between two technicians.

Plans are written down from the rules and judged by the checker; nothing here comes from the search.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from math import ceil, inf
from typing import Any

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Bound, Cost, GroupPlan, Lot, PlacedStep, Plan, Visit
from scheduling.kernel.protocol import Step
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.exact.beyond import Beyond
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.routes import Routes
from scheduling.kernel.season import Group, Ranch, Season, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
NO_COST = Cost(0, 0, 0, 0, 0, 0, 0)
NONE = Bound(None, "none")
# What an enumerated plan does not print.
UNPRINTED = {"cost_printed", "day_printed", "interval_printed"}
GRID = 3  # AI begins at every third full hour from six


def document(heads: tuple[int, int], most: int, apart: float, rates: tuple[int, int] = (25, 30)) -> dict[str, Any]:
    """Two groups at two ranches (at one where they are not apart), two AI days, two technicians with so many head a day."""
    made = season_document("S", 1)
    ranches = made["ranches"][: 2 if apart else 1]
    for i, ranch in enumerate(ranches):
        ranch.update(lat=45.0 + apart * i, lon=-103.0, zone=None, closed_days=[], ai_stalls=1)
    groups = made["groups"][:2]
    for i, group in enumerate(groups):
        group.update(ranch=ranches[i if apart else 0]["id"], head=heads[i], animal_class="cow")
        group.update(protocol="cow_7d_cosynch_insert", ai_from="2027-06-01", ai_to="2027-06-02")
        group.update(ai_wanted="2027-06-01", order="kept", ai_by="technician", steps_by="ranch", skills=[])
        group["needs_barn"] = False
    for i, person in enumerate(made["technicians"]):
        person.update(lat=45.1, lon=-103.1 - 0.1 * i, days_off=[], max_head_per_day=most, ai_rate=rates[i])
    return {**made, "ranches": ranches, "groups": groups, "barns": []}


@dataclass(frozen=True)
class Part:
    """A lot: head, technician, the hour at which its AI begins."""

    head: int
    person: str
    hour: int


def parts(season: Season, group: Group) -> Iterator[tuple[Part, ...]]:
    """The group whole, and cut into two lots of whole twenties and the rest for different hands, at the hours of the grid."""
    hours, people = range(6, 16, GRID), list(season.technicians)
    for person, hour in itertools.product(people, hours):
        yield (Part(group.head, person, hour),)
    for head in range(20, group.head, 20):
        for hour, other in itertools.product(hours, hours):
            yield Part(head, people[0], hour), Part(group.head - head, people[1], other)


def placed(season: Season, group: Group, day: date, lots: tuple[Part, ...]) -> tuple[GroupPlan, tuple[Visit, ...]]:
    """The group's lots with treatment 63 h before AI, other trips one lot after the other from nine."""
    ranch, made, visits, nine = season.ranches[group.ranch], [], [], 9 * 60.0
    if group.id == list(season.groups)[1].id:
        nine += 60 * 4  # so that two groups of one ranch are not in the chute at once
    for number, part in enumerate(lots):
        rate = season.technicians[part.person].ai_rate
        begins = _at(day, part.hour * 60, ranch)
        ends = begins + timedelta(minutes=ceil(60 * part.head / rate))
        steps = [_step(group, ranch, step, day, (begins, ends), part.head, nine) for step in group.protocol.steps]
        nine += ceil(60 * part.head / ranch.treat_rate)
        made.append(Lot(part.head, tuple(steps), 0.0, 0.0))
        ai = group.protocol.ai_steps[0].key
        visits.append(Visit(part.person, group.id, number, ai, begins, ends, part.head, None))
    return GroupPlan(group.id, day, tuple(made)), tuple(visits)


def _at(day: date, minutes: float, ranch: Ranch) -> datetime:
    return datetime.combine(day, time(), ranch.zone) + timedelta(minutes=minutes)


def _step(
    group: Group, ranch: Ranch, step: Step, day: date, ai: tuple[datetime, datetime], head: int, nine: float
) -> PlacedStep:
    trip = next((trip for trip in group.protocol.trips if step in trip), (step,))
    if any(other.is_ai for other in trip):
        return PlacedStep(step.key, *ai, "technician")
    rule = group.protocol.ai_steps[0].after
    start = _at(day + timedelta(days=step.day - group.protocol.reference_day), nine, ranch)
    if rule is not None and rule.step in {other.key for other in trip}:
        start = ai[0] - timedelta(hours=63)
    return PlacedStep(step.key, start, start + timedelta(minutes=ceil(60 * head / ranch.treat_rate)), "ranch")


def cheapest(season: Season) -> tuple[float, float]:
    """The least costs, by the checker, of plans with every group whole, and of those with some group cut."""
    least = {False: inf, True: inf}
    days = [date(2027, 6, 1), date(2027, 6, 2)]
    one, other = season.groups
    seen: dict[tuple[Any, ...], tuple[GroupPlan, tuple[Visit, ...]]] = {}
    for group in (one, other):
        for day, lots in itertools.product(days, parts(season, group)):
            made = placed(season, group, day, lots)
            if _holds(season, [made], {group.id}):
                seen[group.id, day, lots] = made
    mine = {key: made for key, made in seen.items() if key[0] == one.id}
    theirs = {key: made for key, made in seen.items() if key[0] == other.id}
    for (first, a), (second, b) in itertools.product(mine.items(), theirs.items()):
        cut = len(first[2]) + len(second[2]) > 2
        cost = _cost(season, [a, b], least[cut])
        least[cut] = min(least[cut], cost)
    return least[False], least[True]


def _plan(made: list[tuple[GroupPlan, tuple[Visit, ...]]]) -> Plan:
    visits = sorted((visit for _, row in made for visit in row), key=lambda visit: visit.start)
    return Plan("complete", 0, 0, NO_COST, NONE, tuple(group for group, _ in made), tuple(visits), (), ())


def _holds(season: Season, made: list[tuple[GroupPlan, tuple[Visit, ...]]], ids: set[str]) -> bool:
    broken = check(season, _plan(made)).broken
    return all(item.code in UNPRINTED or item.code == "group_count" for item in broken)


def _cost(season: Season, made: list[tuple[GroupPlan, tuple[Visit, ...]]], below: float) -> float:
    days = {(visit.technician, visit.start.date()) for _, row in made for visit in row}
    if season.weights.technician_day * len(days) >= below:
        return inf
    report = check(season, _plan(made))
    return report.cost.total if all(item.code in UNPRINTED for item in report.broken) else inf


def bound(season: Season) -> float:
    """What any plan costs at least, as the proof sees it."""
    model = Model(season)
    program = Beyond(model, Routes(model), 100_000, lambda: inf)
    found = []
    for worst in range(program.farthest + 1):
        near = program.near(worst, 1e6)
        found.append(program.program.minimise(near, nodes=1000).cost)
    return min(found)


@pytest.mark.parametrize(("heads", "most", "apart"), [((60, 60), 90, 0.0), ((80, 80), 80, 0.2)])
def test_no_plan_whole_or_cut_is_cheaper_than_the_bound(heads: tuple[int, int], most: int, apart: float) -> None:
    season = load_season(document(heads, most, apart), PROTOCOLS)
    plan, least = solve(season, seed=1, budget=Budget(rounds=900)), min(cheapest(season))
    assert bound(season) <= min(least, plan.cost.total) + 0.1
    if plan.bound.kind == "proven":
        assert plan.cost.total <= least + 0.1


def test_a_group_that_nobody_may_take_alone_is_cut_for_two_hands_as_cheaply_as_can_be() -> None:
    season = load_season(document((90, 50), 70, 0.1), PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=900))
    whole, cut = cheapest(season)
    assert whole == inf  # ninety head are more than anybody may have in a day
    assert not check(season, plan).broken
    assert plan.cost.total <= cut + 0.1
    assert plan.bound == Bound(plan.cost.total, "proven")
    assert bound(season) <= cut + 0.1


def test_the_bound_is_reached_where_nothing_better_can_be() -> None:
    season = load_season(document((50, 40), 120, 0.2), PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=900))
    assert plan.bound == Bound(plan.cost.total, "proven")
    assert abs(bound(season) - plan.cost.total) <= 0.1
    assert min(cheapest(season)) >= plan.cost.total - 0.1
