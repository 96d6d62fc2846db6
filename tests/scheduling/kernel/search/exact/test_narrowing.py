"""What the proof leaves away to be quick: hours, AI days, technician-days and costs that no best plan needs."""

from collections.abc import Iterator
from math import inf
from typing import Any

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.exact import beyond, prove
from scheduling.kernel.search.exact.beyond import Beyond
from scheduling.kernel.search.exact.days import Day, Work
from scheduling.kernel.search.exact.learning import Learning, _fewest
from scheduling.kernel.search.exact.master import Master
from scheduling.kernel.search.exact.options import Option, Stop, options_of
from scheduling.kernel.search.exact.prove import Proof
from scheduling.kernel.search.exact.reach import narrowed
from scheduling.kernel.search.exact.suggest import Suggestions
from scheduling.kernel.search.exact.timing import Timing
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols


def season_of(seed: int, groups: int = 5) -> Season:
    """Some groups of S, treated by technicians with a second PG six to ten hours after the first in one of them."""
    document = season_document("S", seed)
    document["groups"] = document["groups"][:groups]
    for group in document["groups"][:3]:
        group.update(steps_by="technician", ai_by="technician")
    document["groups"][0].update(animal_class="cow", protocol="cow_5d_cosynch_insert")
    return load_season(document, PROTOCOLS)


def proof(season: Season) -> tuple[float, str | None]:
    """The cost of the best plan that the proof makes of a first plan, and what it says of it."""
    search = Search(Model(season), 1, {})
    search.first_plan()
    kind = Proof(search, lambda: inf).run()
    return search.best.cost, kind


def _unchanged(options: list[Option], *_: Any) -> list[Option]:
    return options


OFF: dict[str, list[tuple[Any, str, Any]]] = {
    "hours of options": [(prove, "narrowed", _unchanged)],
    "hours of sessions": [(beyond, "at_work", lambda *_: None)],
    "AI days alone": [(beyond, "possible", lambda _: True)],
    "limits": [(prove, "_ROOM", ())],
    "charges of longer days": [(Learning, "_without", lambda *_: None)],
}


@pytest.mark.parametrize("seed", [2, 15])
def test_what_is_left_away_changes_no_cost(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each way to leave something away off by itself, then all of them; groups are not cut finer, which takes longest, nor
    is what the bound suggests built.
    """
    monkeypatch.setattr(prove, "_MOST_FINER", 0)
    monkeypatch.setattr(Suggestions, "settled", lambda *_: False)
    season = season_of(seed, groups=3)
    cost, kind = proof(season)
    assert kind in ("proven", "routes considered")
    for changes in (*OFF.values(), [change for row in OFF.values() for change in row]):
        with monkeypatch.context() as patch:
            for place, name, value in changes:
                patch.setattr(place, name, value)
            other, known = proof(season)
        assert known in ("proven", "routes considered")
        assert other == pytest.approx(cost, abs=1e-3)


@pytest.mark.parametrize("seed", range(1, 9))
def test_sessions_hold_every_visit_of_a_search(seed: int) -> None:
    """Plans of the search alone: their AI days are possible, and their visits lie inside the hours of the sessions."""
    season = season_of(seed, groups=5)
    plan = solve(season, seed=seed, budget=Budget(rounds=60))
    search = Search(Model(season), 1, {})
    bound = Beyond(search.model, search.state.routes, 10**6, lambda: inf)
    hours = {(item.need.group.id, item.day, item.work.trip): (item.low, item.high) for item in bound.sessions}
    trips = {
        (need.group.id, key): work.trip
        for need in search.model.needs
        for work in need.works
        if work.trip
        for key in work.trip.keys
    }
    seen = 0
    for visit in plan.visits:
        trip = trips[visit.group, visit.step]
        day = visit.start.astimezone(season.zone).date().toordinal()
        low, high = hours[visit.group, day, trip]
        start, end = (moment.timestamp() / 60 for moment in (visit.start, visit.end))
        assert low - 1e-6 <= start <= end <= high + 1  # ends are printed to the minute
        seen += 1
    assert seen


# -- technician-days --------------------------------------------------------------------------------------------------
def made(seed: int) -> tuple[Search, list[Option], dict[tuple[int, int], list[Stop]]]:
    """The options of a season with treatment by technicians, and the stops of every technician and day."""
    search = Search(Model(season_of(seed)), 1, {})
    visits, routes = search.state.visits, search.state.routes
    options = narrowed([item for need in search.model.needs for item in options_of(visits, need)], visits, routes)
    stops: dict[tuple[int, int], list[Stop]] = {}
    for option in options:
        for stop in (stop for crews in option.works for crew in crews for stop in crew.stops):
            stops.setdefault((stop.person, stop.day), []).append(stop)
    return search, options, stops


def works_of(search: Search, stops: dict[tuple[int, int], list[Stop]]) -> Iterator[Work]:
    """All technician-days."""
    for (person, day), row in sorted(stops.items()):
        yield from Day(search.state.routes, person, day).works(row, 10**6)


def test_inside_some_sets_are_the_technician_days_that_have_no_other_works() -> None:
    search, _, stops = made(9)
    (person, day), row = max(stops.items(), key=lambda item: len(item[1]))
    every = Day(search.state.routes, person, day).works(row, 10**6)
    near = sorted({work.keys for work in every if len(work.keys) > 1}, key=sorted)[::3]
    wanted = {(work.stops, work.cost) for work in every if any(work.keys <= some for some in near)}
    found = Day(search.state.routes, person, day).works(row, 10**6, near)
    assert {(work.stops, work.cost) for work in found} == wanted
    assert 0 < len(wanted) < len(every)


def test_no_technician_day_is_charged_more_than_its_hours_cost() -> None:
    """What is learnt from one technician-day with two treatments of one group speaks for longer ones."""
    search, options, stops = made(9)
    works = list(works_of(search, stops))
    timing = Timing(search.state.visits, search.state.routes)
    master = Master(search.model, options, works)
    learning = Learning(master, timing)
    tied = [work for work in works if len({stop.option for stop in work.stops}) < len(work.stops) == 3]
    learnt = 0
    for work in tied[:: max(1, len(tied) // 12)]:
        before = len(master.program.rows)
        learning.learn([work], [stop.option for stop in work.in_order], lambda _: 0.0)
        learnt += len(master.program.rows) - before
    assert learnt
    for low, most, entries in master.program.rows[-learnt:]:
        assert low == -inf
        here = [work for work in works if master.work[work] in entries]
        chosen = [option for option in options if master.option[option] in entries]
        rest = sum(entries[master.option[option]] for option in chosen)
        late = any(value < 0 for value in entries.values())
        for work in here[:40]:
            charged = entries[master.work[work]] + rest - most
            times = timing.least([work], chosen)
            if charged > 1e-6 and times is not None:
                assert late
                assert charged <= times.cost - work.cost + 1e-3


def test_as_few_as_are_enough_are_kept() -> None:
    assert _fewest(list(range(20)), lambda rest: {3, 11, 12} <= set(rest)) == [3, 11, 12]
    assert _fewest(list(range(7)), lambda rest: True) == []
    assert _fewest([5], lambda rest: 5 in rest) == [5]
