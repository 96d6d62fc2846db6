"""What a day's work costs at least, for every set of sessions, whoever has how much of each. Two technicians at most.

Left away are the ranch's chute and stalls, the barn, and most of what treatment and AI ask of each other. Kept are technicians'
hours, head and skills, the way past the ranches, half hours after noon, hours that no animal's AI can have, and that a session
in two hands brings both of them. Costs are first too low and are worked out for the sets that matter (`settle`).
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from math import ceil, inf

import numpy as np

from scheduling.kernel.search.exact.days import TooMany
from scheduling.kernel.search.exact.hours import all_below, least, least_on
from scheduling.kernel.search.exact.known import Known
from scheduling.kernel.search.exact.program import Floats, Ints
from scheduling.kernel.search.exact.session import Session
from scheduling.kernel.search.exact.stays import Day
from scheduling.kernel.search.exact.touring import HALF_HOUR, Morning, Touring, halves, subsets
from scheduling.kernel.search.exact.walks import Walk
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.routes import Routes

# With more sessions on a day, or more ways for one technician, the proof is not tried.
_MOST_SESSIONS = 18
_MOST_WAYS = 20_000
_TINY = 1e-6

# What a day costs, and the minutes of shared AI that then cost no more.
Frontier = list[tuple[float, float]]
# Ways of both technicians, and what they cost at least.
Ridden = list[tuple[float, tuple[Walk, ...]]]


class Ways:
    """One technician's ways to touch sets of sessions (bits) on a day.

    `driven` is what a set costs at least, `whole` tells those for which all of the work fits into the day.
    """

    def __init__(
        self,
        model: Model,
        routes: Routes,
        touring: Touring,
        day: int,
        sessions: Sequence[Session],
        tick: Callable[[], None],
    ) -> None:
        someone = model.people[touring.person]
        self.tick = tick
        self.touring, self.sessions, self.rate = touring, sessions, someone.rate
        self.most = someone.technician.max_head_per_day
        # No set that is shared by everybody holds more than this.
        self.together = sum(person.technician.max_head_per_day for person in model.people)
        self.opens, self.closes = routes.hours(touring.person, day)
        self.cost, self.per_km, self.per_half = routes.day_cost[touring.person], routes.per_km, routes.per_half
        self.work = [item.minutes(self.rate) for item in sessions]
        self.windows = [self._window(item) for item in sessions]
        starts: dict[int, float] = {}
        for item, (low, _) in zip(sessions, self.windows, strict=True):
            starts[item.place] = min(low, starts.get(item.place, inf))
        self.morning = Morning(touring, starts, {item.place: item.noon for item in sessions})
        off = day in someone.days_off
        self.able = [
            not off and touring.person in item.need.able and low <= high + _TINY
            for item, (low, high) in zip(sessions, self.windows, strict=True)
        ]
        self.forced = [self._forced(i) for i in range(len(sessions))]
        self.apart = apart(sessions)
        self.driven: dict[int, float] = {}
        self.time: dict[int, float] = {}
        self.whole: set[int] = set()
        # Half hours of days on ways, of which the first is one of these, as `hours` found them.
        self.known = Known()
        self._frontiers: dict[tuple[int, int], Frontier] = {}
        self._grow(0, 0, frozenset(), 0, 0.0)

    def _window(self, item: Session) -> tuple[float, float]:
        """When the technician can be at work there."""
        way = self.touring.minutes(self.touring.base, item.place)
        return max(item.low, self.opens + way), min(item.high, self.closes - way)

    def _forced(self, i: int) -> float:
        """Minutes of AI that cannot be before noon where the technician does it all."""
        item = self.sessions[i]
        return max(0.0, self.work[i] - max(0.0, item.noon - self.windows[i][0])) if item.ai else 0.0

    def _grow(self, mask: int, at: int, places: frozenset[int], head: int, minutes: float) -> None:
        """Every set whose way fits into the day."""
        for i in range(at, len(self.sessions)):
            item = self.sessions[i]
            if not self.able[i] or mask & self.apart[i]:
                continue
            there = places | {item.place}
            km = self.touring.tour(frozenset(), there)
            left = self.closes - self.opens - km * self.touring.per_km
            now, booked, more = mask | 1 << i, head + item.head, minutes + self.work[i]
            if left < -_TINY or booked > self.together:
                continue
            self.driven[now] = self.cost + self.per_km * km
            self.time[now] = left
            if len(self.driven) > _MOST_WAYS:
                raise TooMany
            low, high = self.windows[i]
            alone = mask in self.whole or not mask
            if alone and booked <= self.most and more <= left + _TINY and self.work[i] <= high - low + _TINY:
                self.whole.add(now)
            self._grow(now, i + 1, there, booked, more)

    def room(self, masks: Ints) -> Floats:
        """Minutes of AI before noon at most, in whatever order, for sets."""
        last, first = np.full(len(masks), -inf), np.full(len(masks), inf)
        for i in self.early((1 << len(self.sessions)) - 1):
            there = (masks >> i & 1) > 0
            last[there] = np.maximum(last[there], self.sessions[i].noon)
            first[there] = np.minimum(first[there], self.windows[i][0])
        found: Floats = np.where(first < inf, last - np.where(first < inf, first, 0.0), 0.0)
        return found

    def of(self, mask: int) -> list[Session]:
        """The sessions of a set."""
        return [self.sessions[i] for i in _bits(mask)]

    def frontier(self, mask: int, shared: int) -> Frontier:
        """What the day costs, and the minutes of shared AI that then cost no more: the more, the dearer."""
        key = mask, shared
        if key not in self._frontiers:
            self._frontiers[key] = self._frontier(mask, shared)
        return self._frontiers[key]

    def _frontier(self, mask: int, shared: int) -> Frontier:
        work: dict[int, list[tuple[float, float]]] = defaultdict(list)
        for i in _bits(mask & ~shared):
            if self.sessions[i].ai:
                work[self.sessions[i].place].append((self.work[i], self.forced[i]))
        theirs = frozenset(self.sessions[i].place for i in self.early(shared))
        places = frozenset(item.place for item in self.of(mask))
        found = [self._paid(work, early, places, theirs) for early in subsets(work.keys() | theirs)]
        best: Frontier = []
        for cost, room in sorted(found, key=lambda item: (item[0], -item[1])):
            if not best or room > best[-1][1]:
                best.append((cost, room))
        return best

    def _paid(
        self,
        work: dict[int, list[tuple[float, float]]],
        early: frozenset[int],
        places: frozenset[int],
        theirs: frozenset[int],
    ) -> tuple[float, float]:
        """The cost where so many places are come to before noon, and the room that is left."""
        late = self.morning.late(work, early)
        cost = self.cost + self.per_km * self.touring.tour(early, places - early) + self.per_half * late
        if not theirs & early:
            return cost, 0.0
        done = sum(minutes for place in early for minutes, _ in work.get(place, ()))
        return cost, max(0.0, self.morning.room(early) - done + HALF_HOUR * late)

    def early(self, mask: int) -> list[int]:
        """The sessions of a set of which some AI can be before noon."""
        return [i for i in _bits(mask) if self.sessions[i].ai and self.windows[i][0] < self.sessions[i].noon]


class _Table:
    """A technician's sets as arrays: cost of the way, minutes beside it, minutes before noon; by bits: work, half hours."""

    def __init__(self, ways: Ways) -> None:
        self.masks: Ints = np.array(sorted(ways.driven), dtype=np.int64)
        rows = self.masks.tolist()
        self.number = {mask: i for i, mask in enumerate(rows)}
        self.driven = np.array([ways.driven[mask] for mask in rows])
        self.time = np.array([ways.time[mask] for mask in rows])
        self.whole = np.array([mask in ways.whole for mask in rows], dtype=bool)
        self.room = ways.room(self.masks)
        self.work = _summed(ways.work)
        self.forced = _summed([ways.per_half * halves(minutes) for minutes in ways.forced])
        self.least = self.driven + self.forced[self.masks]


class Daily:
    """The least costs of sets of sessions on one day, by bits (infinite: not possible).

    `tick` is called again and again, and raises `TooMany` where there is no more time.
    """

    def __init__(
        self,
        model: Model,
        routes: Routes,
        tourings: Sequence[Touring],
        day: int,
        sessions: Sequence[Session],
        tick: Callable[[], None],
    ) -> None:
        if len(sessions) > _MOST_SESSIONS or len(tourings) != 2:
            raise TooMany
        self.day, self.sessions = day, sessions
        self.one, self.other = (Ways(model, routes, touring, day, sessions, tick) for touring in tourings)
        self.costs: Floats = np.full(1 << len(sessions), inf)
        self.heads = _summed([float(item.head) for item in sessions])
        self.treated = _summed([0.0 if item.ai else item.minutes(1.0) for item in sessions])
        self.mine, self.theirs = _Table(self.one), _Table(self.other)
        self._known: dict[tuple[int, int], tuple[float, float]] = {}
        # By set and places of both: up to which cost ways were looked for, those found, and what others cost at least.
        self._wide: dict[tuple[int, int, int], tuple[float, Ridden, float]] = {}
        self._places = {place: 1 << i for i, place in enumerate(sorted({item.place for item in sessions}))}
        self._lowest()

    def of(self, mask: int) -> list[Session]:
        """The sessions of a set."""
        return [self.sessions[i] for i in _bits(mask)]

    def _lowest(self) -> None:
        """Costs that are too low: who touches what, and the half hours that there is no room for in any order."""
        for table in (self.mine, self.theirs):
            there = table.whole
            np.minimum.at(self.costs, table.masks[there], table.least[there])
        for i in np.argsort(self.mine.driven, kind="stable").tolist():
            union = self.theirs.masks | self.mine.masks[i]
            driven = self.mine.driven[i] + self.theirs.driven  # no pair costs less: what is known to be as cheap stays
            others = np.flatnonzero((self.heads[union] <= self.one.together) & (driven < self.costs[union]))
            base = self._base(np.full(len(others), i), others)
            fits = np.isfinite(base)
            np.minimum.at(self.costs, union[others[fits]], base[fits])
        possible = np.flatnonzero(np.isfinite(self.costs))
        for i, beside in enumerate(self.one.apart):
            self.costs[possible[((possible >> i & 1) > 0) & ((possible & beside) > 0)]] = inf

    def _base(self, i: Ints, others: Ints) -> Floats:
        """What sets of the one and of the other, pair by pair, cost at least; infinite where hours or head forbid it."""
        mine, theirs, one, other = self.mine, self.theirs, self.one, self.other
        mask, masks = mine.masks[i], theirs.masks[others]
        both = masks & mask
        alone, rest = mask & ~both, masks & ~both
        head, more, shared = self.heads[alone], self.heads[rest], self.heads[both]
        time, left = mine.time[i] - mine.work[alone], theirs.time[others] - theirs.work[rest]
        fits = (head <= one.most) & (more <= other.most) & (head + more + shared <= one.most + other.most)
        fits &= (time >= -_TINY) & (left >= -_TINY) & (time + left >= self.treated[both] - _TINY)
        fits &= (time * one.rate + left * other.rate) / 60.0 >= shared - _TINY
        fits &= (both > 0) | (mine.whole[i] & theirs.whole[others])
        early = (np.maximum(mine.room[i], 0.0) * one.rate + np.maximum(theirs.room[others], 0.0) * other.rate) / 60.0
        late = np.maximum(0.0, head + more + shared - early) / (max(one.rate, other.rate) * HALF_HOUR / 60.0)
        forced = np.where(both > 0, mine.forced[alone] + theirs.forced[rest], mine.forced[mask] + theirs.forced[masks])
        base = mine.driven[i] + theirs.driven[others] + np.maximum(forced, min(one.per_half, other.per_half) * late)
        return np.where(fits, base, inf)

    def settle(self, mask: int, below: float) -> bool:
        """Work out what a set costs at least, as far as that is below a cost; whether it is."""
        least = inf
        for base, mine, theirs in sorted(self._pairs(mask, below)):
            if base >= least - _TINY:
                break
            least = min(least, self._paid(mine, theirs))
        self.costs[mask] = min(least, max(below, self.costs[mask]))
        return least < below

    def strict(self, mask: int, below: float) -> float:
        """What a set of sessions costs at least with hours in order, as far as that is below a cost; else `below`."""
        found = below
        for base, mine, theirs in sorted(self._pairs(mask, below)):
            if base >= found - _TINY:
                break
            paid = self._paid(mine, theirs)
            if paid < found - _TINY:
                found = min(found, max(paid, self.in_order(mine, theirs, found)))
        return found

    def _at_places(self, mine: int, theirs: int, below: float) -> tuple[Ridden, float] | None:
        """Ways that cost less than so much where both are at the places of what they touch; what others cost at least.

        Of sessions at places of both either or both may do anything: that covers all the ways to share them out, so that on no
        way these cost less. None where it says no more than they do.
        """
        mask, one, other = mine | theirs, self._at(mine), self._at(theirs)
        here = {i: self._places[self.sessions[i].place] for i in _bits(mask)}
        wide = sum(1 << i for i, place in here.items() if place & one and self.one.able[i])
        beside = sum(1 << i for i, place in here.items() if place & other and self.other.able[i])
        both = wide & beside
        if both.bit_count() < 2:
            return None
        known = self._wide.get((mask, one, other))
        if known is None or known[0] < below:
            days = [Day(self.one, wide, both, free=True), Day(self.other, beside, both, free=True)]
            known = self._wide[mask, one, other] = below, *all_below(days, below)
        return known[1], known[2]

    def _at(self, mask: int) -> int:
        """The places of a set (bits)."""
        found = 0
        for i in _bits(mask):
            found |= self._places[self.sessions[i].place]
        return found

    def shared_out(self, mask: int, below: float) -> list[tuple[float, int, int]]:
        """Who can touch what of a set for less than so much, and what that costs at least by itself, the cheapest first."""
        found = []
        for base, mine, theirs in self._pairs(mask, below):
            known, upto = self._known.get((mine, theirs), (base, base))
            cost = max(base, self._paid(mine, theirs), min(known, upto))
            if cost < below:
                found.append((cost, mine, theirs))
        return sorted(found)

    def by_person(self, mine: int, theirs: int) -> list[Day]:
        """The days of the technicians who touch something."""
        both = mine & theirs
        return [day for day in (Day(self.one, mine, both), Day(self.other, theirs, both)) if day.mask]

    def in_order(self, mine: int, theirs: int, below: float) -> float:
        """What it costs at least that the one touches some sessions and the other some, as far as that is below so much."""
        key = mine, theirs
        known = self._known.get(key)
        if known is not None and (known[0] < known[1] - _TINY or known[1] >= below):
            return min(below, known[0])
        days = self.by_person(mine, theirs)
        wide = self._at_places(mine, theirs, below) if mine & theirs else None
        if wide is not None:
            cost = min(below, wide[1])
            for least_there, walks in wide[0]:
                if least_there >= cost - _TINY:
                    break
                cost = min(cost, max(least_there, least_on(days, walks, cost)))
        elif mine & theirs:
            cost = least(days, below)
        else:
            cost = 0.0
            for day in days:
                cost += least([day], below - cost)
        self._known[key] = cost, below
        return cost

    def ridden(self, mask: int, below: float) -> tuple[list[tuple[float, tuple[Sequence[Day], Sequence[Walk]]]], float]:
        """A set's days on ways that cost less than so much, whoever touches what; what others cost at least."""
        found, most = [], inf
        for least_known, mine, theirs in self.shared_out(mask, below):
            if self.in_order(mine, theirs, below) >= below - _TINY:
                continue
            days = self.by_person(mine, theirs)
            ways = self._at_places(mine, theirs, below) if mine & theirs else None
            if ways is None:
                ways = all_below(days, below)
            most = min(most, ways[1])
            for cost, walks in ways[0]:
                if cost < below:
                    there = max(least_known, cost, least_on(days, walks, below))
                    if there < below - _TINY:
                        found.append((there, (days, walks)))
        return sorted(found, key=lambda item: item[0]), most

    def _pairs(self, mask: int, below: float) -> Iterator[tuple[float, int, int]]:
        """Who touches what for less than a cost, and what that costs at least."""
        for table, turned in ((self.mine, False), (self.theirs, True)):
            i = table.number.get(mask)
            if i is not None and table.whole[i]:
                yield (float(table.least[i]), 0, mask) if turned else (float(table.least[i]), mask, 0)
        some = np.flatnonzero((self.mine.masks & ~mask) == 0)
        others = np.flatnonzero((self.theirs.masks & ~mask) == 0)
        rows, columns = np.nonzero((self.mine.masks[some][:, None] | self.theirs.masks[others][None, :]) == mask)
        base = self._base(some[rows], others[columns])
        for k in np.flatnonzero(base < below).tolist():
            mine, theirs = self.mine.masks[some[rows[k]]], self.theirs.masks[others[columns[k]]]
            yield float(base[k]), int(mine), int(theirs)

    def _paid(self, mine: int, theirs: int) -> float:
        if mine & theirs:
            return self._shared(mine, theirs)
        costs = (ways.frontier(mask, 0)[0][0] for ways, mask in ((self.one, mine), (self.other, theirs)) if mask)
        return sum(costs)

    def _shared(self, mine: int, theirs: int) -> float:
        """What both days cost at least where they share what both touch."""
        one, other, both = self.one, self.other, mine & theirs
        return min(
            cost + dear + self._halves(both, room, space)
            for cost, room in one.frontier(mine, both)
            for dear, space in other.frontier(theirs, both)
        )

    def _halves(self, both: int, room: float, space: float) -> float:
        """What half hours cost for the shared head that finds no room before noon."""
        one, other = self.one, self.other
        head = [sum(self.sessions[i].head for i in ways.early(both)) for ways in (one, other)]
        free = min(room * one.rate / 60.0, head[0]) + min(space * other.rate / 60.0, head[1])
        left = sum(item.head for item in self.of(both)) - free
        fast = max(one.rate, other.rate) * HALF_HOUR / 60.0
        return min(one.per_half, other.per_half) * max(0, ceil(left / fast - _TINY))


def apart(sessions: Sequence[Session]) -> list[int]:
    """For each session the others (bits) that do not go with it."""
    return [
        sum(1 << j for j, other in enumerate(sessions) if other is not item and not item.agrees([other]))
        for item in sessions
    ]


def _bits(mask: int) -> list[int]:
    return [i for i in range(mask.bit_length()) if mask >> i & 1]


def _summed(values: Sequence[float]) -> Floats:
    """The sum over the bits of every number."""
    found = np.zeros(1 << len(values))
    for i, value in enumerate(values):
        found[1 << i : 2 << i] = found[: 1 << i] + value
    return found
