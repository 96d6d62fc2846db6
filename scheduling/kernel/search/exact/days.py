"""Every technician-day: which stops can share it, in which orders, at which hours."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from math import inf

from scheduling.kernel.search.exact.options import Stop
from scheduling.kernel.search.exact.session import Key
from scheduling.kernel.search.routes import Routes

# End of the last stop, km and half hours so far: what is later and dearer than another is dropped.
_Label = tuple[int, float]
_Labels = dict[tuple[int, int], list[_Label]]


class TooMany(Exception):
    """More technician-days than the proof takes on."""


@dataclass(frozen=True, eq=False)
class Row:
    """Stops in an order that can be driven: earliest starts, km and what the row costs at those hours."""

    stops: tuple[Stop, ...]
    starts: tuple[int, ...]
    km: float
    cost: float


@dataclass(eq=False)
class Work:
    """A technician's day with a set of stops, and what it costs at least."""

    on: "Day"
    stops: frozenset[Stop]
    cost: float
    _rows: list[Row] = field(default_factory=list)

    @property
    def person(self) -> int:
        """The technician."""
        return self.on.person

    @property
    def day(self) -> int:
        """The day's ordinal."""
        return self.on.day

    @property
    def keys(self) -> frozenset[Key]:
        """The works that it is for."""
        return frozenset(stop.key for stop in self.stops)

    @property
    def in_order(self) -> list[Stop]:
        """The stops in an order that is the same in every run, which that of a set is not."""
        return sorted(self.stops, key=lambda stop: (stop.option.need.index, stop.number))

    @property
    def rows(self) -> list[Row]:
        """Every order that can be driven, the cheapest first."""
        if not self._rows:
            stops = self.in_order
            whole = (row for row in self.on.rows(stops) if len(row.stops) == len(stops))
            self._rows = sorted(whole, key=lambda row: row.cost)
        return self._rows


class Day:
    """One technician on one day: driving times and hours."""

    def __init__(self, routes: Routes, person: int, day: int) -> None:
        self.model, self.person, self.day = routes.model, person, day
        self.base = self.model.people[person].base
        self.most = self.model.people[person].technician.max_head_per_day
        self.opens, self.closes = routes.hours(person, day)
        self.day_cost, self.per_km, self.per_half = routes.day_cost[person], routes.per_km, routes.per_half

    # -- sets -----------------------------------------------------------------------------------------------------
    def works(
        self,
        stops: Sequence[Stop],
        most: int,
        near: Sequence[frozenset[Key]] | None = None,
        left: Callable[[], float] = lambda: inf,
    ) -> list[Work]:
        """Every set of the stops that makes a day, with its cheapest order.

        With `near`, only those with no other works than one of these sets. Raises `TooMany` past so many, or with no seconds
        left.
        """
        alike: dict[tuple[object, ...], list[Stop]] = defaultdict(list)
        for stop in stops:
            alike[stop.option.need, stop.number, stop.low, stop.high, stop.spans, stop.head, stop.ai, stop.noon].append(
                stop
            )
        kinds = list(alike.values())
        found: list[Work] = []
        inside = None if near is None else _Inside([rows[0].key for rows in kinds], near)
        several = sum(1 << i for i, rows in enumerate(kinds) if len(rows) > 1)
        for mask, cost in self._sets(kinds, most, inside, left).items():
            chosen = (rows for i, rows in enumerate(kinds) if mask >> i & 1)
            found.extend(
                Work(self, frozenset(row), cost)
                for row in product(*chosen)
                if not mask & several or all(_agrees(stop, row[:i]) for i, stop in enumerate(row))
            )
            if len(found) > most or left() <= 0:
                raise TooMany
        return found

    def _sets(
        self, kinds: Sequence[Sequence[Stop]], most: int, inside: "_Inside | None", left: Callable[[], float]
    ) -> dict[int, float]:
        """The least cost of every set of kinds of stops (as bits) that can be driven."""
        stops = [rows[0] for rows in kinds]
        never = [_never(i, kinds) | 1 << i for i in range(len(kinds))]
        road, places = self.model.road, [stop.place for stop in stops]
        home = [road(place)[self.base] for place in places]
        way = [[road(one)[other] if one != other else (0.0, 0) for other in places] for one in places]
        cost: dict[int, float] = {}
        onward: dict[int, list[tuple[int, int]]] = {}
        labels: _Labels = {}
        for i, whole in self._onward(0, stops, never, inside):
            start = max(self.opens + home[i][1], stops[i].low)
            if start <= stops[i].high:
                paid = self.per_km * home[i][0] + self._late(stops[i], start)
                labels[whole, i] = [(start + stops[i].length, paid)]
        count = 0
        while labels:
            count += sum(map(len, labels.values()))
            if count > most or left() <= 0:
                raise TooMany
            after: _Labels = {}
            for (mask, last), rows in labels.items():
                km, minutes = home[last]
                least = min((paid for end, paid in rows if end + minutes <= self.closes), default=inf)
                if least < inf:
                    cost[mask] = min(cost.get(mask, inf), self.day_cost + least + self.per_km * km)
                if mask not in onward:
                    onward[mask] = self._onward(mask, stops, never, inside)
                self._extend(stops, onward[mask], last, rows, way[last], after)
            labels = after
        return cost

    def _onward(
        self, mask: int, stops: Sequence[Stop], never: Sequence[int], inside: "_Inside | None"
    ) -> list[tuple[int, int]]:
        """The stops that can be had beside a set (bits), each with the set that comes of it."""
        free = self.most - sum(stop.head for i, stop in enumerate(stops) if mask >> i & 1)
        found = [(i, mask | 1 << i) for i, stop in enumerate(stops) if not mask & never[i] and stop.head <= free]
        return found if inside is None else [(i, whole) for i, whole in found if inside(whole)]

    def _extend(
        self,
        stops: Sequence[Stop],
        onward: Sequence[tuple[int, int]],
        last: int,
        rows: Sequence[_Label],
        way: Sequence[tuple[float, int]],
        after: _Labels,
    ) -> None:
        """Drive on from the last stop to every other."""
        here = stops[last].place
        closed = self.model.last_stop[here]
        soonest = min(end for end, _ in rows)
        for i, whole in onward:
            (km, minutes), stop = way[i], stops[i]
            low, high, length = stop.low, stop.high, stop.length
            if soonest + minutes > high or (closed and stop.place != here):
                continue
            cost = self.per_km * km
            for end, paid in rows:
                start = max(end + minutes, low)
                if start <= high:
                    label = start + length, paid + cost + self._late(stop, start)
                    _keep(after.setdefault((whole, i), []), label)

    def _late(self, stop: Stop, start: int) -> float:
        return self.per_half * stop.halves(start) if stop.ai and start + stop.length > stop.noon else 0.0

    def work(self, stops: frozenset[Stop]) -> Work:
        """The technician-day with these stops, which some order of them can be driven."""
        made = Work(self, stops, inf)
        made.cost = made.rows[0].cost
        return made

    # -- orders ---------------------------------------------------------------------------------------------------
    def rows(self, stops: Sequence[Stop]) -> Iterator[Row]:
        """Every order of some or all of the stops that can be driven, at the earliest."""
        return self._rows(stops, [], [], self.opens)

    def _rows(self, stops: Sequence[Stop], row: list[Stop], starts: list[int], at: int) -> Iterator[Row]:
        """Every order that begins with `row`, which ends at minute `at`."""
        if row:
            made = self._whole(row, starts, at)
            if made is not None:
                yield made
        here = row[-1].place if row else self.base
        closed = bool(row) and self.model.last_stop[here]
        road = self.model.road(here)
        for stop in stops:
            if stop in row or (closed and stop.place != here):
                continue
            start = max(at + (road[stop.place][1] if stop.place != here else 0), stop.low)
            if start <= stop.high:
                yield from self._rows(stops, [*row, stop], [*starts, start], start + stop.length)

    def _whole(self, row: list[Stop], starts: list[int], at: int) -> Row | None:
        if at + self.model.road(row[-1].place)[self.base][1] > self.closes:
            return None
        places = [self.base, *(stop.place for stop in row), self.base]
        km = sum(self.model.road(one)[other][0] for one, other in pairwise(places) if one != other)
        halves = sum(stop.halves(start) for stop, start in zip(row, starts, strict=True))
        return Row(tuple(row), tuple(starts), km, self.day_cost + self.per_km * km + self.per_half * halves)


def _keep(rows: list[_Label], label: _Label) -> None:
    """Add a label unless another is as early and as cheap; drop those that it beats."""
    end, paid = label
    for other in rows:
        if other[0] <= end and other[1] <= paid:
            return
    rows[:] = [other for other in rows if other[0] < end or other[1] < paid]
    rows.append(label)


class _Inside:
    """Whether a set of kinds of stops (bits) has no other works than one of the sets that are near."""

    def __init__(self, keys: Sequence[Key], near: Sequence[frozenset[Key]]) -> None:
        bits = {key: 1 << i for i, key in enumerate(dict.fromkeys(keys))}
        self._bits = [bits[key] for key in keys]
        self._subsets = _subsets({sum(bits.get(key, 0) for key in some) for some in near})
        self._known: dict[int, bool] = {}

    def __call__(self, mask: int) -> bool:
        found = self._known.get(mask)
        if found is None:
            works = 0
            for i, bit in enumerate(self._bits):
                if mask >> i & 1:
                    works |= bit
            found = self._known[mask] = works in self._subsets
        return found


def _subsets(sets: set[int]) -> set[int]:
    """All subsets of some sets (bits)."""
    found, open_ = set(sets), list(sets)
    while open_:
        mask = rest = open_.pop()
        while rest:
            bit = rest & -rest
            rest ^= bit
            if mask ^ bit not in found:
                found.add(mask ^ bit)
                open_.append(mask ^ bit)
    return found


def _never(number: int, kinds: Sequence[Sequence[Stop]]) -> int:
    """Kinds of stops (as bits) of which none goes with one of this kind."""
    mine = kinds[number]
    return sum(
        1 << i
        for i, rows in enumerate(kinds)
        if rows[0].option.need.index == mine[0].option.need.index
        and not any(_agrees(one, (other,)) for one in mine for other in rows)
    )


def _agrees(stop: Stop, row: Sequence[Stop]) -> bool:
    """A group has one option, and each of its works once."""
    return all(
        other.option.need.index != stop.option.need.index
        or (other.option is stop.option and other.number != stop.number)
        for other in row
    )
