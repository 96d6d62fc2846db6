"""Rounds in machine code against the search's own objects: the same costs, clock times that settle, nothing moved that stays."""

import os
import random
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from scheduling.kernel.checker import check
from scheduling.kernel.plan import Bound, Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.explain import explain
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.search.state import barn_days
from scheduling.kernel.search.swift import compile_rounds, is_compiled, machine, swift_rounds
from scheduling.kernel.search.swift import phase as phases
from scheduling.kernel.search.swift.machine import COUNT, HIGH, LOW, NOON, OUT, PLACES, STARTS, VISITS
from scheduling.kernel.search.swift.options import visit_rows
from scheduling.kernel.search.swift.phase import Running, Swift
from scheduling.kernel.search.swift.tables import Standing
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document
from tests.factories.wild import PROTOCOLS, wild_seasons
from tests.scheduling.kernel.test_fuzz import tries


@pytest.fixture(scope="module", autouse=True)
def _compiled() -> None:
    compile_rounds(begun(season_document("S", 1)))
    assert is_compiled()


SEASONS = [("M", 1), ("M", 2), ("L", 1)]


def begun(document: dict[str, Any], seed: int = 1) -> Search:
    """A season with its first plan."""
    search = Search(Model(load_season(document, PROTOCOLS)), seed, {})
    search.first_plan()
    return search


def running_of(search: Search) -> Running:
    """A phase of its own."""
    running = Swift(search).begin()
    assert running is not None
    return running


def planned(search: Search) -> Plan:
    """The plan that the state stands for."""
    state = search.state
    unplaced = tuple(explain(search, i, with_remedies=False) for i, item in enumerate(state.placed) if item is None)
    return plan_of(state, seed=1, rounds=0, bound=Bound(None, "none"), unplaced=unplaced)


def assert_sound(search: Search) -> None:
    """The state is whole, breaks no rule, and costs what the independent checker says."""
    assert search.state.is_whole()
    report = check(search.model.season, planned(search))
    assert [item.text for item in report.broken] == []
    assert report.cost.total == pytest.approx(search.state.cost(), abs=0.06)  # a plan's cost has one decimal


def days_agreeing(running: Running) -> int:
    """Every technician-day costs, and begins its visits, as the search's own routes say; with a group on it that keeps its
    hour because its chute is settled, it may be later and dearer. How many are just the same.
    """
    phase, state = running.phase, running.search.state
    table, compared = phase.tables.visit, 0
    for key, row in enumerate(running.plan.days.tolist()):
        numbers = row[VISITS : VISITS + row[COUNT]]
        assert running.plan.stops[key] == row[COUNT]
        assert row[PLACES : PLACES + row[COUNT]] == table[numbers, machine.PLACE].tolist()
        assert row[machine.LOAD] == table[numbers, machine.HEAD].sum()
        if not numbers:
            assert running.plan.cost[key] == 0.0
            continue
        route = state.routes.route(key % state.width, tuple(map(phase.visit, numbers)))
        assert route is not None
        starts, cost = row[STARTS : STARTS + row[COUNT]], running.plan.cost[key]
        if any(table[number, machine.OWNER] < 0 and table[number, LOW] == table[number, HIGH] for number in numbers):
            assert all(mine >= earliest for mine, earliest in zip(starts, route.starts, strict=True))
            assert cost >= route.cost - 1e-6
            continue
        assert starts == list(route.starts)
        assert cost == pytest.approx(route.cost)
        compared += 1
    assert running.plan.total[machine.ROUTES_COST] == pytest.approx(running.plan.cost.sum())
    return compared


@pytest.mark.parametrize(("size", "seed"), SEASONS)
def test_it_begins_and_goes_on_with_the_searchs_own_costs(size: str, seed: int) -> None:
    search = begun(season_document(size, seed))
    running = running_of(search)
    assert running.best_cost == search.state.cost()
    tables = running.phase.tables
    assert np.array_equal(tables.option[:, machine.WITH], tables.visit[tables.option[:, machine.VISIT], machine.HEAD])
    assert days_agreeing(running) > 20
    running.improve(3_000, 60.0)
    assert days_agreeing(running) > 20
    assert running.best_cost < search.best.cost - 500


@pytest.mark.parametrize(("size", "seed"), SEASONS)
def test_what_comes_back_breaks_no_rule_and_is_cheaper(size: str, seed: int) -> None:
    search = begun(season_document(size, seed))
    swift, before = Swift(search), search.best.cost
    for heat in (60.0, 10.0):
        running = swift.begin()
        assert running is not None
        running.improve(3_000, heat)
        running.end(best=True)
        assert_sound(search)
    assert search.best.cost < before - 500
    search.restore(search.best)
    assert_sound(search)


def test_groups_that_do_not_play_stay_where_they_are() -> None:
    search = begun(season_document("L", 2))
    running = running_of(search)
    playing = {index for index, plays in zip(running.phase.standing.groups, running.phase.plays, strict=True) if plays}
    needs = search.model.needs
    assert all(needs[index].works for index in playing)
    stayed = {item.need.index: item for item in running.phase.staying}
    assert stayed
    assert stayed.keys() | playing == {i for i, item in enumerate(search.state.placed) if item is not None} | playing
    running.improve(3_000, 60.0)
    running.end(best=True)
    moved = [index for index, item in stayed.items() if search.state.placed[index] is not item]
    assert len(moved) < len(stayed) / 20  # those whose chute did not hold beside the others after all


def test_barns_stand_where_groups_need_them() -> None:
    search = begun(season_document("L", 2))
    before = {i: item for i, item in enumerate(search.state.placed) if item is not None and item.barn >= 0}
    running = running_of(search)
    running.improve(5_000, 60.0)
    phase, counted = running.phase, np.zeros_like(running.plan.barns[:, :, machine.GROUPS])
    for item in phase.staying:
        for day in barn_days(item) if item.barn >= 0 else ():
            counted[item.barn, day - phase.standing.day] += 1
    for need, chosen in zip(phase.standing.needs, running.plan.chosen.tolist(), strict=True):
        barn = chosen[machine.STANDS]
        assert (barn >= 0) == (need.group.needs_barn and chosen[machine.BLOCK] >= 0)
        for day in {need.days[0] + trip.day for trip in need.sessions} if barn >= 0 else ():
            row = phase.tables.row[phase.tables.block[chosen[machine.BLOCK], machine.ROW]]
            on = day - need.days[0] + row[machine.ON]
            counted[barn, on] += 1
            assert running.plan.barns[barn, on, machine.AT] == need.place
    assert (counted == running.plan.barns[:, :, machine.GROUPS]).all()
    running.end(best=True)
    assert_sound(search)
    assert any(search.state.placed[i] is not item for i, item in before.items())


def test_nobody_is_lost_who_is_not_the_searchs_to_move(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stretch of a season: its chute does not hold beside a group that has to stay."""
    search = begun(season_document("M", 1))
    staying = [index for index in range(0, 120, 2) if search.state.placed[index] is not None]
    search.free = [index for index in range(120) if index not in staying]
    search.free_set, search.order = frozenset(search.free), list(search.free)
    before = list(search.best.placed)
    running = running_of(search)
    running.improve(500, 60.0)
    monkeypatch.setattr(phases, "untangle", lambda search, places: [search.state.take(staying[0])])
    running.end(best=True)
    assert search.state.placed == before
    assert_sound(search)


def test_there_is_room_for_hundreds_of_groups_at_a_ranch() -> None:
    running = running_of(begun(season_document("M", 1)))
    place = running.phase.tables.place.copy()
    place[1:, machine.AT_FIRST] += 400  # the first ranch has so many more groups, and spans in which its chute is taken
    place[1:, machine.TAKEN_FIRST] += 1_000
    room = machine.room(running.phase.tables._replace(place=place))
    assert room.lists.shape[1] >= 400
    assert len(room.starts) > 400  # one row more is for the hours of a treatment
    assert len(room.busy) > 1_000 + 400 * machine.MOST_TRIPS * machine.MOST_LOTS


def test_days_of_many_stops_are_left_to_the_rounds() -> None:
    document = season_document("S", 1)
    document["ranches"] = [
        {**document["ranches"][0], "id": f"R{i}", "handling_hours": ["00:00", "23:59"]} for i in range(40)
    ]
    document["technicians"] = [{**document["technicians"][0], "hours": ["00:00", "23:59"], "max_head_per_day": 500}]
    one = document["groups"][0] | {
        "animal_class": "cow",
        "protocol": "cow_7d_cosynch_insert",
        "head": 3,
        "order": "kept",
    }
    one |= {"ai_by": "technician", "steps_by": "ranch", "skills": [], "needs_barn": False, "ai_to": one["ai_from"]}
    document["groups"] = [{**one, "id": f"G{i}", "ranch": f"R{i}", "ai_wanted": one["ai_from"]} for i in range(40)]
    search = begun(document)
    assert max(len(route.visits) for route in search.state.days.values()) > machine.MOST_STOPS
    assert Swift(search).begin() is None


def test_where_no_group_plays_all_seconds_are_for_the_rounds() -> None:
    document = season_document("M", 1)
    document["groups"] = [group | {"ai_by": "ranch"} for group in document["groups"]]
    assert Swift(begun(document)).begin() is None


def test_the_same_chance_gives_the_same_plan() -> None:
    plans = []
    for _ in range(2):
        search = begun(season_document("M", 3), seed=7)
        running = running_of(search)
        running.improve(2_000, 40.0)
        running.end(best=True)
        plans.append(planned(search))
    assert plans[0] == plans[1]


def test_days_that_were_seen_are_known_to_set_partitioning() -> None:
    search = begun(season_document("M", 1))
    running = running_of(search)
    before = sum(map(len, search.state.routes.seen().values()))
    running.improve(2_000, 60.0)
    pooled = int(running.plan.marks[machine.POOLED])
    assert pooled > 500
    running.end(best=True)
    assert sum(map(len, search.state.routes.seen().values())) > before + pooled / 2


@tries(60)
@given(wild_seasons())
def test_any_season_comes_back_sound(document: dict[str, Any]) -> None:
    """Every protocol, odd zones, clocks that change, groups that nobody can come for."""
    search = begun(document)
    if search.model.load_price:
        return  # even loads are not for machine code: Cooling leaves them to the rounds
    running = Swift(search).begin()
    if running is None:
        return
    out = int(running.plan.marks[OUT])
    assert out == search.state.out
    running.improve(60, 100.0)
    days_agreeing(running)
    running.end(best=True)
    assert_sound(search)


@tries(60)
@given(wild_seasons())
def test_visits_that_were_moved_are_those_that_would_be_worked_out(document: dict[str, Any]) -> None:
    options = Standing(begun(document)).options
    chance = random.Random(1)
    numbers = chance.sample(range(len(options.visit)), min(300, len(options.visit)))
    for number in numbers:
        row = visit_rows([options.visit_of(number)])[0]
        same = [i for i in range(machine.OWNER) if i not in (machine.SHAPE, machine.TREAT_LOW, machine.TREAT_HIGH)]
        assert options.visit[number, same].tolist() == row[same].tolist()


def test_visits_are_moved_across_no_change_of_clocks() -> None:
    document = season_document("S", 1)
    document["season"] |= {"first_day": "2027-02-01", "last_day": "2027-04-20"}
    for ranch in document["ranches"]:
        ranch["closed_days"] = []
    for technician in document["technicians"]:
        technician["days_off"] = []
    for group in document["groups"]:
        group |= {"ai_from": "2027-03-12", "ai_to": "2027-03-20", "ai_wanted": "2027-03-16"}
    options = Standing(begun(document)).options
    changed = 0
    for number in range(len(options.visit)):
        visit = options.visit_of(number)
        assert (visit.low, visit.high, visit.noon) == tuple(options.visit[number, (LOW, HIGH, NOON)])
        changed += visit.day >= date(2027, 3, 14).toordinal()  # when clocks are put forward
    assert 0 < changed < len(options.visit)


def _ticking() -> Callable[[], float]:
    """A clock that goes on a twentieth of a second with every look, so that a budget of seconds is always spent alike."""
    seconds = iter(np.arange(0.0, 10_000.0, 0.05).tolist())
    return lambda: next(seconds)


def test_a_season_that_is_not_proved_is_cooled_in_machine_code(monkeypatch: pytest.MonkeyPatch) -> None:
    rounds = []
    improve = Running.improve

    def counted(self: Running, more: int, heat: float) -> int:
        rounds.append(more)
        return improve(self, more, heat)

    monkeypatch.setattr(Running, "improve", counted)
    season = load_season(season_document("M", 4), PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(seconds=3.0), clock=_ticking())
    assert sum(rounds) > 1_000
    assert plan.rounds > sum(rounds)
    assert [item.text for item in check(season, plan).broken] == []


@pytest.mark.parametrize(
    ("size", "budget", "weights"),
    [
        ("M", Budget(rounds=60), {}),
        ("M", Budget(seconds=1.4), {}),
        ("M", Budget(seconds=3.0), {"uneven_load": 100}),
        ("S", Budget(seconds=3.0), {}),
    ],
)
def test_other_seasons_are_not(
    size: str, budget: Budget, weights: dict[str, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With rounds alone, in a moment, where loads are to be even, and where there are few groups."""
    monkeypatch.setattr(Running, "improve", lambda *_: pytest.fail("in machine code"))
    document = season_document(size, 4) | {"weights": weights}
    solve(load_season(document, PROTOCOLS), seed=1, budget=budget, clock=_ticking())


def test_nothing_is_compiled_within_a_search(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine, "is_kept", lambda: False)
    assert swift_rounds(begun(season_document("S", 1))) is None


def test_code_that_was_kept_counts_until_its_source_changes(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(
        machine, "improve", SimpleNamespace(signatures=[], stats=SimpleNamespace(cache_path=str(tmp_path)))
    )
    assert not machine.is_kept()
    (tmp_path / "machine.improve-900.py310.nbi").touch()  # another Python's cannot be read by this one
    assert not machine.is_kept()
    kept = tmp_path / f"machine.improve-900.py{sys.version_info.major}{sys.version_info.minor}.nbi"
    kept.touch()
    assert machine.is_kept()
    before = Path(machine.__file__).stat().st_mtime - 1
    os.utime(kept, (before, before))
    assert not machine.is_kept()


def test_one_kind_of_numbers_is_compiled_whatever_the_season() -> None:
    fractions = {"technician_day": 250.5, "km": 0.9, "worst_move": 80.5}
    whole = {"technician_day": 250, "km": 1, "worst_move": 80}
    for document in (
        season_document("S", 2),
        *(season_document("M", 2) | {"weights": row} for row in (fractions, whole)),
    ):
        running = running_of(begun(document))
        running.improve(20, 10.0)
    assert len(vars(machine)["improve"].signatures) == 1


def test_it_compiles_where_nothing_can_be_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    compile_it: Any = vars(machine)["njit"]

    def nowhere(*, cache: bool = False, **options: bool) -> object:
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return compile_it(**options)

    monkeypatch.setattr(machine, "njit", nowhere)

    def twice(value: int) -> int:
        return 2 * value

    assert machine.compiled(twice)(21) == 42
