"""Long days given anew by a general route solver: which technician makes which stop of a day, and in which order.

The rounds of the search put one group at a time where it adds least, which is all there is to find where a technician makes
one to four stops a day. Where days are longer, orders matter more than days, and that is the field of PyVRP (MIT licence;
N. A. Wouda, L. Lan, W. Kool, "PyVRP: a high-performance VRP solver package", INFORMS Journal on Computing, 2024): iterated
local search over vehicles with homes, hours, loads and time windows. It is given one day at a time, as vehicles and clients:

- a technician is a vehicle with a base, hours, head a day and the cost of a day; those who are alike are one kind of vehicle;
- a stop is a client with its window of starts, so that days and treatments stay as they are; what it lasts for this technician
  is part of the way to the next stop, and the way to it is closed for technicians who may not make it;
- what the solver knows nothing of stays in the hands it is in: sessions shared by two, kept places, steps carried out, groups
  out of play. Such a stop may still come earlier or later in its technician's day, inside its window.

It knows nothing either of chutes, of the afternoon, of lots. So what it finds is only a proposal: driven by our own routes,
tried on the state, settled, and kept where the plan became cheaper. Iterations are counted: same state, same answer.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from pyvrp import Client, Depot, Location, ProblemData, Solution, VehicleType
from pyvrp import Route as Trip
from pyvrp import solve as solve_routes

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.model import Part
from scheduling.kernel.search.partition import assignment_of
from scheduling.kernel.search.polish import untangle
from scheduling.kernel.search.rounds import Search, Snapshot
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit

# A day is long where its technicians make so many stops each on average: there the solver gets more iterations for each stop of
# the day than on others, where it soon has all that there is to find (measured on our own seasons).
LONG = 5
PER_STOP, PER_STOP_OF_LONG, _ENDLESS = 20, 100, 10**6
# A day with fewer stops is left to the search.
_FEWEST = 4
_ASKED_EVERY = 50
# The solver counts in whole numbers: thousandths of a point of cost, coarser where weights are very large.
_UNIT, _MOST = 1000.0, 1e9
_CLOSED_COST, _CLOSED_MINUTES = 10**12, 10**5  # a way that nobody can take

Whole = npt.NDArray[np.int64]
Shown = frozenset[tuple[int, tuple[Visit, ...]]]


@dataclass(frozen=True)
class Stop:
    """A stop of the day: the technician who makes it now, and the visit as each who may would make it; starts it may have."""

    person: int
    visits: dict[int, Visit]
    low: int
    high: int

    @property
    def visit(self) -> Visit:
        """The visit as it stands."""
        return self.visits[self.person]


@dataclass
class _Kind:
    """Technicians who are alike for the day."""

    base: int
    hours: tuple[int, int]
    cost: float
    most: int
    lengths: tuple[int, ...]  # minutes at each stop, -1 where the technician may not make it
    people: list[int] = field(default_factory=list)


class DayRoutes:
    """Improves a search's state a day at a time."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self._turn = 0
        self._spent: set[Shown] = set()

    def all(self, going: Callable[[], bool], *, endless: bool = False) -> None:
        """Every day with enough stops once, but for those given in vain as they are; while `going()`.

        `endless`: no other limit, and the solver begins from nothing: given much time it comes further so (measured).
        """
        for day, shown in sorted(days_of(self.search.state).items()):
            if not going():
                return
            if sum(len(row) for _, row in shown) >= _FEWEST and shown not in self._spent:
                per_stop = _ENDLESS if endless else PER_STOP_OF_LONG if _is_long(shown) else PER_STOP
                if not self.improve(day, per_stop, going, afresh=endless):
                    self._spent.add(shown)

    def are_all(self) -> bool:
        """Whether all work is on one long day, so that orders of stops are all there is to find."""
        days = days_of(self.search.state)
        return len(days) == 1 and all(map(_is_long, days.values()))

    def improve(self, day: int, per_stop: int, going: Callable[[], bool], *, afresh: bool = False) -> bool:
        """Give a day's routes anew; the state stays as it was unless the plan became cheaper. Returns whether it did."""
        state = self.search.state
        self._turn += 1
        stops = stops_of(self.search, day)
        rows = _Day(state, day, stops).solved(self._turn, per_stop * len(stops), going, afresh=afresh)
        found = _driven(state, day, rows) if rows is not None else None
        if found is None:
            return False
        now = sum(route.cost for key, route in state.days.items() if key // state.width == day)
        return sum(route.cost for route in found.values()) < now - 1e-6 and _apply(self.search, day, found)


def _is_long(shown: Shown) -> bool:
    return sum(len(row) for _, row in shown) >= LONG * len(shown)


def days_of(state: State) -> dict[int, Shown]:
    """The season's days with who makes which stops in which order."""
    days: dict[int, list[tuple[int, tuple[Visit, ...]]]] = {}
    for key, route in state.days.items():
        days.setdefault(key // state.width, []).append((route.person, route.visits))
    return {day: frozenset(rows) for day, rows in days.items()}


# -- what a day holds ---------------------------------------------------------------------------------------------
def stops_of(search: Search, day: int) -> list[Stop]:
    """The stops of a day, technician by technician in the order in which they are made."""
    state = search.state
    keys = sorted(key for key in state.days if key // state.width == day)
    people = [key % state.width for key in keys]
    found = []
    for key, person in zip(keys, people, strict=True):
        route = state.days[key]
        for visit, start in zip(route.visits, route.starts, strict=True):
            found.append(_stop(search, person, visit, start, people))
    return found


def _stop(search: Search, person: int, visit: Visit, start: int, busy: Iterable[int]) -> Stop:
    """A stop with everybody who may make it; nobody whose window leaves out the present start, which must stay possible."""
    low, high, visits = visit.low, visit.high, {person: visit}
    item = search.state.placed[visit.need.index]
    if item is not None and _may_change_hands(search, item, visit):
        near = {*visit.need.able[: search.insertion.nearest], *busy}
        for other in visit.need.able:
            made = _as_made_by(search.state, item, visit, other) if other in near and other != person else None
            if made is not None and made.low <= start <= made.high:
                visits[other] = made
                low, high = max(low, made.low), min(high, made.high)
    return Stop(person, visits, low, high)


def _may_change_hands(search: Search, item: Assignment, visit: Visit) -> bool:
    """Whether the group is in play and nobody else comes for the same work at once."""
    need = item.need
    if item.kept is not None or not _by_one(visit) or need.index not in search.free_set:
        return False
    return any(work.key == visit.key for work in need.works)


def _by_one(visit: Visit) -> bool:
    """Whether the visit is one technician's alone, and not held to the minute by an earlier plan."""
    return visit.origin[0] == "visit"


def _as_made_by(state: State, item: Assignment, visit: Visit, person: int) -> Visit | None:
    """The same visit by another technician, as the insertion would make it; None where that is not allowed."""
    need, someone = item.need, state.model.people[person]
    if visit.day in someone.days_off or visit.head > someone.technician.max_head_per_day:
        return None
    number = next(i for i, work in enumerate(need.works) if work.key == visit.key)
    one_lot, ai = len(visit.spans) == 1, need.works[number].part is not Part.SERVICE
    pace = someone.rate if ai and (number == 0 or one_lot) else item.crew_rate
    if not state.visits.roomy(need, item.ai_day, someone.rate if ai and number == 0 else item.crew_rate):
        return None
    made = state.visits.visit(need, number, item.ai_day, someone.rate, pace, item.treatment)
    return made if made is not None and made.day == visit.day and made.head == visit.head else None


# -- the day as vehicles and clients ------------------------------------------------------------------------------
class _Day:
    """One day in the words of the route solver."""

    def __init__(self, state: State, day: int, stops: list[Stop]) -> None:
        self.state, self.day, self.stops = state, day, stops
        self.begins = min((stop.low for stop in stops), default=0)
        self.kinds = self._kinds()
        self.begins = min([self.begins, *(kind.hours[0] for kind in self.kinds)])

    def _kinds(self) -> list[_Kind]:
        state, found = self.state, dict[tuple[object, ...], _Kind]()
        for person in sorted({person for stop in self.stops for person in stop.visits}):
            someone = state.model.people[person]
            made = [stop.visits.get(person) for stop in self.stops]
            lengths = tuple(-1 if visit is None else visit.length for visit in made)
            spot = (someone.technician.lat, someone.technician.lon)
            hours, cost = state.routes.hours(person, self.day), state.routes.day_cost[person]
            most = someone.technician.max_head_per_day
            key = (spot, hours, cost, most, lengths)
            found.setdefault(key, _Kind(someone.base, hours, cost, most, lengths)).people.append(person)
        return list(found.values())

    def solved(
        self, seed: int, iterations: int, going: Callable[[], bool], *, afresh: bool = False
    ) -> dict[int, tuple[Visit, ...]] | None:
        """Who makes which visits in which order; None where nothing was found that can be driven."""
        if len(self.stops) < 2:
            return None
        data = self._data()
        now = self._now(data)
        found = solve_routes(
            data,
            _Iterations(iterations, going),
            seed=seed,
            collect_stats=False,
            initial_solution=now if now.is_feasible() and not afresh else None,
        )
        return self._people_of(found.best) if found.is_feasible() else None

    def _data(self) -> ProblemData:
        places = [*(kind.base for kind in self.kinds), *(stop.visit.place for stop in self.stops)]
        first, count = len(self.kinds), len(self.stops)
        roads = [self.state.model.road(place) for place in places]
        km = np.array([[road[place][0] for place in places] for road in roads]) * self.state.routes.per_km
        unit = min(_UNIT, _MOST / max(1.0, float(km.max()), *(kind.cost for kind in self.kinds)))
        costs = np.rint(km * unit).astype(np.int64)
        minutes = np.array([[road[place][1] for place in places] for road in roads], dtype=np.int64)
        self._close_after_last(costs, minutes, places)
        return ProblemData(
            [Location(0, 0) for _ in places],
            [self._client(first + i, stop) for i, stop in enumerate(self.stops)],
            [Depot(i) for i in range(first)],
            [self._vehicles(i, kind, unit) for i, kind in enumerate(self.kinds)],
            [self._closed(costs, kind, first, count, _CLOSED_COST) for kind in self.kinds],
            [self._closed(minutes + self._lasting(kind), kind, first, count, _CLOSED_MINUTES) for kind in self.kinds],
        )

    def _close_after_last(self, costs: Whole, minutes: Whole, places: list[int]) -> None:
        """From a ranch that must be the last of the day only home."""
        first = len(self.kinds)
        for i, stop in enumerate(self.stops):
            if stop.visit.last:
                for j in range(first, len(places)):
                    if places[j] != stop.visit.place:
                        costs[first + i, j], minutes[first + i, j] = _CLOSED_COST, _CLOSED_MINUTES

    def _client(self, location: int, stop: Stop) -> Client:
        window = stop.low - self.begins, stop.high - self.begins
        return Client(location, delivery=[stop.visit.head], tw_early=window[0], tw_late=window[1])

    def _vehicles(self, number: int, kind: _Kind, unit: float) -> VehicleType:
        return VehicleType(
            len(kind.people),
            [kind.most],
            start_depot=number,
            end_depot=number,
            fixed_cost=round(kind.cost * unit),
            tw_early=kind.hours[0] - self.begins,
            tw_late=kind.hours[1] - self.begins,
            profile=number,
        )

    def _lasting(self, kind: _Kind) -> Whole:
        """Minutes of work before one leaves a place, as a column."""
        lasts = [0] * len(self.kinds) + [max(0, length) for length in kind.lengths]
        return np.array(lasts, dtype=np.int64)[:, None]

    @staticmethod
    def _closed(ways: Whole, kind: _Kind, first: int, count: int, value: int) -> Any:
        """Ways for one kind of technician: closed to stops that these may not make, nothing from a place to itself.

        Any, since the library's stub names the type of a shape where its arrays have that of their items.
        """
        own = ways.copy()
        for i in range(count):
            if kind.lengths[i] < 0:
                own[:, first + i] = value
        np.fill_diagonal(own, 0)
        return own

    def _now(self, data: ProblemData) -> Solution:
        """The day as it is, to start from."""
        rows: dict[int, list[int]] = {}
        for i, stop in enumerate(self.stops):
            rows.setdefault(stop.person, []).append(i)
        kinds = {person: number for number, kind in enumerate(self.kinds) for person in kind.people}
        return Solution(data, [Trip(data, row, kinds[person]) for person, row in rows.items()])

    def _people_of(self, best: Solution) -> dict[int, tuple[Visit, ...]]:
        """Routes to people: among those who are alike to the one who makes most of the stops now."""
        found: dict[int, tuple[Visit, ...]] = {}
        for trip in best.routes():
            row = [activity.idx for activity in trip if activity.is_client()]
            free = [person for person in self.kinds[trip.vehicle_type()].people if person not in found]
            person = max(free, key=lambda one: (sum(self.stops[i].person == one for i in row), -one))
            found[person] = tuple(self.stops[i].visits[person] for i in row)
        return found


class _Iterations:
    """Stops the route solver after so many iterations, or when there is no budget left."""

    def __init__(self, most: int, going: Callable[[], bool]) -> None:
        self.most, self.going, self.done = most, going, 0

    def __call__(self, best_cost: int) -> bool:
        self.done += 1
        return self.done > self.most or (self.done % _ASKED_EVERY == 0 and not self.going())


# -- trying it ----------------------------------------------------------------------------------------------------
def _driven(state: State, day: int, rows: dict[int, tuple[Visit, ...]]) -> dict[int, Route] | None:
    """The technician-days by our own routes; None where one cannot be driven."""
    found = {}
    for person, visits in rows.items():
        route = state.routes.route(person, visits)
        if route is None:
            return None
        found[day * state.width + person] = route
    return found


def _apply(search: Search, day: int, found: dict[int, Route]) -> bool:
    """Put the day's routes into the state; where chutes collide, groups go back where they fit best. Kept if cheaper."""
    state, snapshot = search.state, Snapshot(search.state)
    changed = _changed(state, found)
    if changed is None:
        return False
    for item in changed:
        state.take(item.need.index)
    for key in [key for key in snapshot.days if key // state.width == day]:
        state.set_day(key, None)
    for key, route in [*snapshot.days.items(), *found.items()]:
        if key // state.width != day or key in found:
            state.set_day(key, found.get(key, route))
    for item in changed:
        state.put(item, {})
    state.touched.clear()
    untangle(search, {visit.place for route in found.values() for visit in route.visits})
    for index in search.order:
        if state.placed[index] is None and snapshot.placed[index] is not None:
            search.insertion.insert(index)
    state.touched.clear()
    return search.keep_if_cheaper(snapshot)


def _changed(state: State, found: dict[int, Route]) -> list[Assignment] | None:
    """Groups that somebody else comes to, placed anew; None where a group's lots would not agree any more."""
    made: dict[int, dict[str, tuple[int, Visit]]] = {}
    for key, route in found.items():
        for visit in route.visits:
            if _by_one(visit):
                made.setdefault(visit.need.index, {})[visit.key] = (key % state.width, visit)
    changed = []
    for index, stops in made.items():
        old = state.placed[index]
        assert old is not None
        if old.kept is not None:
            continue
        new = tuple(stops.get(visit.key, (person, visit)) for person, visit in old.stops)
        if new != old.stops:
            item = assignment_of(state, old.need, new)
            if item is None:
                return None
            item.barn, item.change = old.barn, old.change
            changed.append(item)
    return changed
