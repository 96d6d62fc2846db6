"""The bound against plans whose groups are cut into lots of sizes by chance: groups with split-time AI, which book more head then."""

import random
from collections import defaultdict
from itertools import groupby
from math import inf
from typing import Any

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Bound, Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.cut import Cut
from scheduling.kernel.search.exact.hours import _Hours
from scheduling.kernel.search.exact.lots import Lots
from scheduling.kernel.search.exact.session import Session
from scheduling.kernel.search.exact.stays import Day as Stay
from scheduling.kernel.search.exact.walks import Tour
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.placing import place
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season, load_season
from scheduling.kernel.sessions import session_head
from tests.factories.seasons import season_document
from tests.scheduling.kernel.search.exact.test_hours import assert_no_day_is_cheaper, bound_of

PROTOCOLS = load_catalogue().protocols
SPLIT = ("cow_7d_cosynch_insert_split", "heifer_14d_insert_pg_split")


def season_of(seed: int, order: str, steps_by: str) -> Season:
    """Four groups of S near each other in time, three of them with split-time AI."""
    document: dict[str, Any] = season_document("S", seed)
    chance = random.Random(seed)
    document["groups"] = document["groups"][:4]
    for number, group in enumerate(document["groups"]):
        group.update(ai_from="2027-06-04", ai_wanted="2027-06-05", ai_to="2027-06-07", skills=[], needs_barn=False)
        if number < 3:
            protocol = chance.choice(SPLIT)
            animals = "heifer" if protocol.startswith("heifer") else "cow"
            group.update(protocol=protocol, animal_class=animals, order=order, ai_by="technician", steps_by=steps_by)
            group["head"] = chance.randint(15, 80)
    for ranch in document["ranches"]:
        ranch["closed_days"] = []
    for person in document["technicians"]:
        person["days_off"] = []
    return load_season(document, PROTOCOLS)


def tours_of(model: Model, plan: Plan) -> list[Tour]:
    """Technicians' days of a plan, with the other one beside at every AI session of the day where both are there."""
    ai_days = {model.index[group.id]: group.ai_day.toordinal() for group in plan.groups}
    rows = defaultdict(list)
    for visit in sorted(plan.visits, key=lambda item: item.start):
        index = model.index[visit.group]
        on = visit.start.astimezone(model.season.zone).date().toordinal()
        works = enumerate(model.needs[index].works)
        number = next(i for i, work in works if work.trip is not None and visit.step in work.trip.keys)
        assert on == ai_days[index] + model.needs[index].works[number].day
        rows[visit.technician, on].append((model.needs[index].place, (index, number)))
    people = [person.technician.id for person in model.people]
    return [
        Tour(
            people.index(name),
            on,
            tuple(spot for spot, _ in groupby(spot for spot, _ in row)),
            frozenset(w for _, w in row),
        )
        for (name, on), row in sorted(rows.items())
    ]


def cut_by_chance(season: Season, plan: Plan, chance: random.Random) -> Plan | None:
    """The plan's groups on the same days and ways, each in lots of which one holds so many head; None where that cannot be."""
    search = Search(Model(season), 1, {})
    model, state = search.model, search.state
    placed = {model.index[group.id]: group.ai_day.toordinal() for group in plan.groups}
    more = {index: chance.choice((0, 1, 2)) for index in placed}
    lots = Lots(model, state.visits, state.routes, placed, tours_of(model, plan), more, whole=False)
    for index, count in more.items():
        mine = [lot for lot in lots.lots if lot.need.index == index]
        if count and len(mine) > 1:
            head = chance.randint(1, model.needs[index].group.head - 1)
            lots.program.row(head, head, {chance.choice(mine).head: 1.0})
    found = lots.solve(0.0, 1e6)
    return None if found is None else _plan(search, found[1])


def _plan(search: Search, cuts: list[Cut]) -> Plan | None:
    if place(search.state, cuts) > 1e6:
        return None
    return plan_of(search.state, seed=1, rounds=0, bound=Bound(None, "none"), unplaced=())


@pytest.mark.parametrize("order", ["kept", "any"])
@pytest.mark.parametrize("steps_by", ["ranch", "technician"])
def test_no_day_of_a_plan_with_lots_of_any_size_costs_less_than_its_bound(order: str, steps_by: str) -> None:
    tried = cut = 0
    for seed in range(1, 11):
        season, chance = season_of(seed, order, steps_by), random.Random(seed)
        plan = solve(season, seed=seed, budget=Budget(rounds=8))
        for _ in range(2):
            made = cut_by_chance(season, plan, chance)
            if made is None:
                continue
            assert [item.code for item in check(season, made).broken if item.code != "group_count"] == []
            assert_no_day_is_cheaper(season, made)
            tried += 1
            cut += any(len(group.lots) > 1 for group in made.groups)
    assert tried >= 10
    assert cut >= 5


def test_sizes_of_the_largest_lot_tell_no_more_head_than_any_lots_book() -> None:
    """Every way to cut small groups, and many by chance to cut larger ones."""
    chance = random.Random(7)
    told = 0
    for seed in range(1, 9):
        season = season_of(seed, "any", "ranch")
        for item in _sessions(season):
            steps = {step.key: step for step in item.need.protocol.ai_steps}
            step = steps[next(key for key in item.work.trip.keys if key in steps)] if item.work.trip else None
            assert step is not None
            for _ in range(200):
                lots = _partition(item.need.group.head, chance)
                size = next(size for size in item.sizes if size.least <= max(lots))
                assert size.total <= sum(session_head(item.need.protocol, step, head) for head in lots)
                assert size.booked <= session_head(item.need.protocol, step, max(lots))
                told += size.total > item.head
    assert told > 100


def _sessions(season: Season) -> list[Session]:
    sessions = bound_of(season).sessions
    days = {item.key[:2] for item in sessions}
    first = {index: min(day for i, day in days if i == index) for index, _ in days}
    return [item for item in sessions if item.sizes and item.ai_day == first[item.need.index]]


def _partition(head: int, chance: random.Random) -> list[int]:
    """Lots by chance; often one that is large and some that are small."""
    most = chance.choice((3, 10, head))
    lots = [head - chance.randint(0, head // 2)] if chance.random() < 0.7 else []
    while sum(lots) < head:
        lots.append(min(chance.randint(1, most), head - sum(lots)))
    return lots


@pytest.mark.parametrize("size", range(6))
def test_lots_of_every_size_fit_where_there_is_time_for_what_they_book(size: int) -> None:
    """One technician's stay at one ranch, with the group's largest lot held to a size: the last books the most head."""
    tried = fuller = 0
    for seed in range(1, 9):
        program = bound_of(season_of(seed, "kept", "ranch"))
        for day in program.days:
            for i, item in enumerate(day.sessions):
                ways = day.one
                if len(item.sizes) <= size or not ways.able[i] or item.sizes[size].total > ways.most:
                    continue
                low, high = ways.windows[i]
                if high - low < 60 * item.most_head / ways.rate + 60:
                    continue
                hours = _Hours([Stay(ways, 1 << i, 0)], [(item.place,)])
                columns = hours.sizes[item.need.index, item.ai_day]
                for number, column in enumerate(columns):
                    hours.program.row(number == size, number == size, {column: 1.0})
                result = hours.program.minimise(nodes=2000)
                assert result.done
                assert result.cost < inf, (seed, item.key, item.sizes[size])
                tried += 1
                fuller += item.sizes[size].total > item.head
    assert tried > 10
    assert fuller or size == 0
