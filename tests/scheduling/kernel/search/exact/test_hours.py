"""A day's cost with hours in order: never above what the day costs in a plan that keeps the rules, lots cut or not; and tight."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from math import ceil, inf
from typing import Any

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Bound, Lot, PlacedStep, Plan, Visit
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.exact.beyond import Beyond
from scheduling.kernel.search.exact.daily import Daily
from scheduling.kernel.search.exact.ties import components, joint
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.routes import Routes
from scheduling.kernel.season import Hands, Season, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
# Costs are worked out up to so much above what a plan pays.
ROOM = 5.0
# What a plan whose lots were cut does not print anew.
UNPRINTED = {"cost_printed", "day_printed", "interval_printed"}


def season_of(seed: int, **changes: Any) -> Season:
    """A season of S, two groups changed alike."""
    document = season_document("S", seed)
    for group in document["groups"][:2]:
        group.update(changes)
    return load_season(document, PROTOCOLS)


def bound_of(season: Season) -> Beyond:
    """The bound of everything."""
    model = Model(season)
    return Beyond(model, Routes(model), 1_000_000, lambda: inf)


def day_cost(season: Season, visits: list[Visit], km: float) -> float:
    """What a day of a plan costs: technicians, km and half hours after noon."""
    weights, groups = season.weights, {group.id: group for group in season.groups}
    halves = 0
    for visit in visits:
        if groups[visit.group].protocol.by_key[visit.step].is_ai:
            start, end = (moment.astimezone(season.ranches[groups[visit.group].ranch].zone) for moment in _span(visit))
            late = end - max(start, start.replace(hour=12, minute=0, second=0))
            halves += max(0, ceil(late / timedelta(minutes=30) - 1e-6))
    people = {visit.technician for visit in visits}
    return weights.technician_day * len(people) + weights.km * km + weights.afternoon_half_hour * halves


def _span(visit: Visit) -> tuple[datetime, datetime]:
    return visit.start, visit.end


def masks(program: Beyond, season: Season, plan: Plan) -> list[tuple[Daily, int, date]]:
    """For every day of a plan the set of sessions that technicians come for."""
    days, model = {day.day: day for day in program.days}, program.model
    found: dict[int, int] = {}
    ai_days = {group.id: group.ai_day.toordinal() for group in plan.groups}
    for visit in plan.visits:
        need = model.needs[model.index[visit.group]]
        number = next(i for i, work in enumerate(need.works) if work.trip is not None and visit.step in work.trip.keys)
        key = need.index, ai_days[visit.group], number
        ordinal = ai_days[visit.group] + need.works[number].day
        bit = next(i for i, item in enumerate(days[ordinal].sessions) if item.key == key)
        found[ordinal] = found.get(ordinal, 0) | 1 << bit
    return [(days[ordinal], mask, date.fromordinal(ordinal)) for ordinal, mask in sorted(found.items())]


def assert_no_day_is_cheaper(season: Season, plan: Plan) -> int:
    """Each day by itself, and days that hang together; how many of those there are."""
    program = bound_of(season)
    sets, costs, least = [], [], []
    for day, mask, on in masks(program, season, plan):
        visits = [visit for visit in plan.visits if visit.start.astimezone(season.zone).date() == on]
        km = sum(item.km for item in plan.days if item.day == on)
        sets.append((day, mask))
        costs.append(day_cost(season, visits, km))
        least.append(day.strict(mask, costs[-1] + ROOM))
        assert least[-1] <= costs[-1] + 0.2, (season.name, on)
    parts = components(sets)
    for part in parts:
        some, alone = [sets[i] for i in part], [least[i] for i in part]
        paid = sum(costs[i] for i in part) + 0.2 * len(part)
        assert joint(some, alone, paid + ROOM) <= paid
    return len(parts)


def cut(season: Season, plan: Plan) -> Plan:
    """Every lot of groups with one AI session in two, one after the other without a break."""
    groups, visits = [], []
    once = {group.id for group in season.groups if len(group.protocol.ai_steps) == 1}
    for group in plan.groups:
        lots: list[Lot] = []
        for number, lot in enumerate(group.lots):
            mine = [visit for visit in plan.visits if visit.group == group.id and visit.lot == number]
            if group.id not in once or lot.head < 4 or len({visit.step for visit in mine}) != len(mine):
                visits += [replace(visit, lot=len(lots)) for visit in mine]
                lots.append(lot)
                continue
            whole = {(step.start, step.end): _between(step) for step in lot.steps}
            for half, head in enumerate((lot.head // 2, lot.head - lot.head // 2)):
                share = lot.head // 2 / lot.head
                steps = tuple(_half(step, whole[step.start, step.end], share, half) for step in lot.steps)
                spans = {step.key: (step.start, step.end) for step in steps}
                for visit in mine:
                    start, end = spans[visit.step]
                    part = visit.head // 2 if half == 0 else visit.head - visit.head // 2
                    part = min(head, part if visit.head != lot.head else head)
                    visits.append(replace(visit, lot=len(lots), start=start, end=end, head=part))
                lots.append(Lot(head, steps, lot.interval_min_h, lot.interval_max_h))
        groups.append(replace(group, lots=tuple(lots)))
    ordered = tuple(sorted(visits, key=lambda visit: visit.start))
    return replace(plan, groups=tuple(groups), visits=ordered)


def _between(step: PlacedStep) -> timedelta:
    return step.end - step.start


def _half(step: PlacedStep, length: timedelta, share: float, half: int) -> PlacedStep:
    middle = step.start + length * share
    return replace(step, end=middle) if half == 0 else replace(step, start=middle)


@pytest.mark.parametrize("seed", range(1, 9))
def test_no_day_of_a_plan_costs_less_than_its_bound(seed: int) -> None:
    season = season_of(seed)
    plan = solve(season, seed=seed, budget=Budget(rounds=12))
    assert not check(season, plan).broken
    assert_no_day_is_cheaper(season, plan)


@pytest.mark.parametrize("seed", range(22, 24))
@pytest.mark.parametrize("protocol", ["cow_5d_cosynch_insert", "cow_7d_cosynch_insert_split", "cow_7d_cosynch_insert"])
@pytest.mark.parametrize("order", ["kept", "any"])
def test_no_days_cost_less_where_hours_tie_them(seed: int, protocol: str, order: str) -> None:
    season = season_of(
        seed, animal_class="cow", protocol=protocol, steps_by="technician", ai_by="technician", order=order
    )
    plan = solve(season, seed=seed, budget=Budget(rounds=5))
    assert not check(season, plan).broken
    theirs = {group.id for group in season.groups if group.steps_by is Hands.TECHNICIAN}
    placed = theirs & {group.id for group in plan.groups}
    assert assert_no_day_is_cheaper(season, plan) >= min(1, len(placed))


@pytest.mark.parametrize("seed", range(22, 24))
@pytest.mark.parametrize("protocol", ["cow_7d_cosynch_insert_split", "cow_7d_cosynch_insert"])
def test_no_day_costs_less_where_the_ranch_inseminates_what_technicians_treated(seed: int, protocol: str) -> None:
    season = season_of(
        seed, animal_class="cow", protocol=protocol, steps_by="technician", ai_by="ranch", order="kept", head=90
    )
    plan = solve(season, seed=seed, budget=Budget(rounds=5))
    assert not check(season, plan).broken
    theirs = {group.id for group in season.groups if group.ai_by is Hands.RANCH}
    assert theirs & {visit.group for visit in plan.visits}
    assert_no_day_is_cheaper(season, plan)


@pytest.mark.parametrize("seed", range(1, 6))
def test_no_day_of_a_plan_with_every_lot_cut_in_two_costs_less_than_its_bound(seed: int) -> None:
    season = season_of(seed)
    plan = cut(season, solve(season, seed=seed, budget=Budget(rounds=12)))
    assert {item.code for item in check(season, plan).broken} <= UNPRINTED
    assert max(len(group.lots) for group in plan.groups) > 1
    assert_no_day_is_cheaper(season, plan)


def test_the_bound_of_everything_is_below_every_plan_of_the_search() -> None:
    for seed in (7, 18):
        season = season_of(seed)
        cost = min(solve(season, seed=other, budget=Budget(rounds=30)).cost.total for other in (1, 2))
        program = bound_of(season)
        assert not all(program.nothing_below(worst, cost + 0.2, 1000) for worst in range(program.farthest + 1))


@pytest.mark.parametrize("seed", [7, 18])
def test_seasons_that_hours_show_to_be_cheapest_are_proven(seed: int) -> None:
    """On 18 hours within days do it; on 7 it also takes that treatment on one day ties AI on another."""
    season = season_of(seed)
    plan = solve(season, seed=1, budget=Budget(rounds=1500))
    assert plan.bound == Bound(plan.cost.total, "proven")
    assert not check(season, plan).broken
