"""From a search to arrays: what stays for all phases, and what hangs on where groups that do not play stand."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from scheduling.kernel.search.chute import Span, handled
from scheduling.kernel.search.model import Need, Trip
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.search.state import State
from scheduling.kernel.search.swift.machine import (
    AI,
    ANCHOR,
    BARN,
    BESIDE,
    BOUND,
    DAY,
    FIRST,
    GAPS,
    HIGH,
    KIND,
    LEAST,
    LONGEST,
    LOW,
    MOST_LOTS,
    MOST_TRIPS,
    NEIGHBOURS,
    OPEN,
    ORDER,
    OTHER,
    PATTERNS,
    PLAYS,
    RANCH,
    ROW,
    SHAPE_LOTS,
    TIGHT,
    TRIPS,
    VISIT,
    WORKS,
    Floats,
    Ints,
    Tables,
)
from scheduling.kernel.search.swift.options import Options, visit_rows
from scheduling.kernel.search.visits import Visit, bound_trips


class Standing:
    """Arrays that are the same in every phase of a search. `groups` are the search's groups by number, `day` the first day."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.state: State = search.state
        season = search.model.season
        self.day = season.first_day.toordinal() - 1  # a ranch's day may begin on the season's day before
        self.length = (season.last_day - season.first_day).days + 3
        self.base = self.day * self.state.width
        self.options = Options(search, self.day)
        self.groups = self.options.groups
        self.number = {index: i for i, index in enumerate(self.groups)}
        self.needs = [search.model.needs[index] for index in self.groups]
        self.places = len(search.model.last_stop)
        self.group, self.shape = self._groups(), self._shapes()
        self.rows_at = _by_place(self.places, [need.place for need, _ in self.options.rows])
        self.near, self.hardness = self._near(), self._hardness()
        self.at = _by_place(self.places, [need.place for need in self.needs])
        roads = [search.model.road(place) for place in range(self.places + len(search.model.people))]
        self.km = np.array([[km for km, _ in row] for row in roads], dtype=np.float64)
        self.minutes = _ints([[minutes for _, minutes in row] for row in roads])
        self.days = self._days()

    def _days(self) -> Ints:
        routes, model = self.state.routes, self.search.model
        hours = [routes.hours(person.index, self.day + day) for day in range(self.length) for person in model.people]
        return _columns(
            [max(begin, model.not_before) for begin, _ in hours],
            [end for _, end in hours],
            [person.base for person in model.people] * self.length,
            [*routes.most] * self.length,
        )

    def _shapes(self) -> Ints:
        found = np.zeros((len(self.options.shapes), GAPS + 2 * MOST_TRIPS), dtype=np.int32)
        for i, (need, rate) in enumerate(self.options.shapes):
            shape = self.state.visits.shape(need, rate)
            found[i, SHAPE_LOTS] = len(shape.lots)
            for k, trip in enumerate(need.trips):
                pattern, at = shape.patterns[trip.key], PATTERNS + 2 * MOST_LOTS * k
                spans = [value for span in zip(pattern.offsets, pattern.lengths, strict=True) for value in span]
                if len(spans) <= 2 * MOST_LOTS:  # else no visit has this shape
                    found[i, at : at + len(spans)] = spans
                if trip.ai is not None:
                    found[i, GAPS + 2 * k : GAPS + 2 * k + 2] = shape.gaps[trip.ai.key] or (0, -1)
        return found

    def _groups(self) -> Ints:
        found = np.zeros((len(self.needs) + 1, LONGEST + MOST_TRIPS), dtype=np.int32)
        found[:, FIRST], found[:, KIND : KIND + MOST_TRIPS] = self.options.firsts, OTHER
        for i, need in enumerate(self.needs):
            bound = {trip.key: gap for trip, gap in bound_trips(need)}
            kinds = [_kind(need, trip, bound) for trip in need.trips]
            order = sorted((k for k, kind in enumerate(kinds) if kind != AI), key=lambda k: (kinds[k], k))
            found[i, (RANCH, TIGHT, WORKS, TRIPS)] = need.place, need.tight, len(need.works), len(order)
            found[i, BARN] = need.group.needs_barn
            found[i, ORDER : ORDER + len(order)] = order
            for k, trip in enumerate(need.trips):
                found[i, (KIND + k, DAY + k)] = kinds[k], trip.day
                found[i, (LEAST + k, LONGEST + k)] = bound.get(trip.key, (0, 0))
        return found

    def _near(self) -> Ints:
        near = np.full((len(self.groups), NEIGHBOURS), -1, dtype=np.int32)
        for i, index in enumerate(self.groups):
            mine = [self.number[other] for other in self.search.near_of(index) if other in self.number]
            near[i, : len(mine)] = mine
        return near

    def _hardness(self) -> Floats:
        """How hard groups are to place: by head, by few days, by a far technician."""
        model = self.search.model
        far = [model.road(need.place)[model.people[need.able[0]].base][0] for need in self.needs]
        few = [-len(need.days) for need in self.needs]
        return np.array([[need.group.head for need in self.needs], few, far], dtype=np.float64)


class Phase:
    """One phase: who plays, where all others stand, and the way back to the search's own objects."""

    def __init__(self, standing: Standing) -> None:
        self.standing, self.state = standing, standing.state
        placed = [self.state.placed[index] for index in standing.groups]
        self.chosen = [standing.options.chosen(item) if item is not None else None for item in placed]
        self.plays = [item is None or chosen is not None for item, chosen in zip(placed, self.chosen, strict=True)]
        playing = {index for index, plays in zip(standing.groups, self.plays, strict=True) if plays}
        self.staying = [item for item in self.state.placed if item is not None and item.need.index not in playing]
        self.tables, visits = self._tables()
        self._others = visits

    def visit(self, number: int) -> Visit:
        """The search's own visit of a number."""
        known = len(self.standing.options.visit)
        return self._others[number - known] if number >= known else self.standing.options.visit_of(number)

    def numbers(self) -> dict[Visit, int]:
        """The numbers of all visits that somebody has now."""
        options = self.standing.options
        found = {visit: len(options.visit) + i for i, visit in enumerate(self._others)}
        for index, chosen in zip(self.standing.groups, self.chosen, strict=True):
            item = self.state.placed[index]
            if item is not None and chosen is not None:
                visits = options.option[list(chosen[1:]), VISIT].tolist()
                found.update(zip((visit for _, visit in item.stops), visits, strict=True))
        return found

    def _tables(self) -> tuple[Tables, list[Visit]]:
        standing, state = self.standing, self.state
        weights, last = standing.search.model.season.weights, standing.search.model.last_stop
        pinned, row, block = self._staying(standing.options.row.copy(), standing.options.block.copy())
        taken = [sorted(pinned.taken.get(place, ())) for place in range(standing.places)]
        group = standing.group.copy()
        group[:-1, PLAYS] = self.plays
        found = visit_rows(list(pinned.visits))
        for i, bounds in enumerate(pinned.visits.values()):
            found[i, (LOW, HIGH)] = bounds
        prices = (state.routes.per_km, state.routes.per_half, weights.worst_move, weights.unplaced, state.floor)
        tables = Tables(
            km=standing.km,
            minutes=standing.minutes,
            place=_columns([*last, False], standing.at[0], np.cumsum([0, *(len(spans) for spans in taken)])),
            at=standing.at[1],
            taken=_ints([span for spans in taken for span in spans]).reshape(-1, 2),
            day=standing.days,
            day_cost=np.array(state.routes.day_cost * standing.length, dtype=np.float64),
            visit=_stacked(standing.options.visit, found),
            block=block,
            fixed=standing.options.fixed,
            option=standing.options.option,
            alone=standing.options.alone,
            row=row,
            group=group,
            near=standing.near,
            hardness=standing.hardness,
            shape=standing.shape,
            gap=_ints(state.barn_gap),
            number=np.array(prices, dtype=np.float64),
        )
        return tables, list(pinned.visits)

    def _staying(self, row: Ints, block: Ints) -> tuple["_Pinned", Ints, Ints]:
        """Where those who do not play stand. Days on which one of them is settled are BESIDE; others' days are not OPEN."""
        state, standing = self.state, self.standing
        pinned = _Pinned()
        pinned.taken = {place: list(spans) for place, spans in state.blocked.items()}
        closed: dict[int, set[int]] = {}
        beside: dict[int, set[int]] = {}
        settled = {place: state.settled(place) or {} for place in {item.need.place for item in self.staying}}
        for item in self.staying:
            place, starts, tangled = item.need.place, state.starts(item), state.entangled(item)
            times = settled[place].get(item.need.index) if tangled else None
            for (_, visit), start in zip(item.stops, starts, strict=True):
                pinned.visits[visit] = (start, start) if tangled else (visit.low, visit.high)
            (closed if times is None else beside).setdefault(place, set()).update(item.days)
            if times is not None:
                pinned.taken.setdefault(place, []).extend(handled(state.visits, item, times, starts))
        shut = np.zeros(len(row), dtype=np.bool_)
        for days, where in ((closed, shut), (beside, row[:, BESIDE])):
            for place, on in days.items():
                first, last = standing.rows_at[0][place : place + 2]
                for i in standing.rows_at[1][first:last].tolist():
                    need, day = standing.options.rows[i]
                    if not on.isdisjoint(need.days_on(day)):
                        where[i] = True
        block[shut[block[:, ROW]], OPEN] = 0
        return pinned, row, block


class _Pinned:
    """Visits of those who stay with the starts they may have, and spans in which the chute is taken, by ranch."""

    def __init__(self) -> None:
        self.visits: dict[Visit, tuple[int, int]] = {}
        self.taken: dict[int, list[Span]] = {}


def _stacked(one: Ints, other: Ints) -> Ints:
    """Rows of both, as wide as the wider."""
    found = np.zeros((len(one) + len(other), max(one.shape[1], other.shape[1])), dtype=np.int32)
    found[: len(one), : one.shape[1]] = one
    found[len(one) :, : other.shape[1]] = other
    return found


def _ints(values: Any) -> Ints:
    return np.array(values, dtype=np.int32)


def _columns(*columns: Iterable[Any]) -> Ints:
    return np.array([list(column) for column in columns], dtype=np.int32).T.copy()


def _by_place(places: int, of: Sequence[int]) -> tuple[Ints, Ints]:
    """First positions and numbers, ranch by ranch."""
    rows: list[list[int]] = [[] for _ in range(places)]
    for i, place in enumerate(of):
        rows[place].append(i)
    return _ints(np.cumsum([0, *(len(row) for row in rows)])), _ints([i for row in rows for i in row])


def _kind(need: Need, trip: Trip, bound: dict[str, tuple[int, int]]) -> int:
    if trip.ai is not None:
        return AI
    if trip is need.anchor:
        return ANCHOR
    return BOUND if trip.key in bound else OTHER
