"""A plan's hours to the minute, with every group cut into lots as it pays: a program for given AI days and given ways.

Every lot has hands of its own at each session (one technician or two at once, in one of their stays) and hours of its own at
each trip. How many head it holds is for the program, none included. Kept is every rule that hours, head, stalls and barns are
under; trips that no rule of hours and no technician ties are placed afterwards (`placing`).
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from itertools import combinations, pairwise, product
from math import ceil, floor, inf

from scheduling.kernel.search.cut import Cut, CutLot, Handled, rule_of, tied_trips
from scheduling.kernel.search.exact.program import Floats, Program
from scheduling.kernel.search.exact.session import turns_of
from scheduling.kernel.search.exact.sharing import Shared, near_to_pace
from scheduling.kernel.search.exact.walks import Tour
from scheduling.kernel.search.model import Model, Need, Part, Trip, minute_of
from scheduling.kernel.search.routes import Routes
from scheduling.kernel.search.visits import Visits
from scheduling.kernel.season import Hands, Order
from scheduling.kernel.sessions import session_head
from scheduling.kernel.throughput import largest_lot

_NOON = time(12)
_HALF_HOUR = 30
_NODES = 1000
_TINY = 1e-6
# A group that could be cut into more kinds of lots (hands at each session) than this is left to others.
_MOST_KINDS = 12
_PAIR = 2
# Among plans of one cost, a lot by two technicians at once counts so much more than one by one.
_TOGETHER = 0.1


# A tour by its number and a stay on its way.
Stay = tuple[int, int]
# Who does a lot at each of the works: one stay, or two of two technicians at once.
Kind = tuple[tuple[Stay, ...], ...]


@dataclass(eq=False)
class _Lot:
    """Columns of a lot: head, whether there is any."""

    need: Need
    kind: Kind
    head: int
    used: int
    most: int
    events: dict[str, "_Event"] = field(default_factory=dict)


@dataclass(eq=False)
class _Event:
    """A lot at a trip: columns of its start and of its minutes, when it can be; who is there, in which stays; head booked."""

    lot: _Lot
    trip: Trip
    day: int
    start: int
    minutes: int
    low: float
    high: float
    ends: float
    longest: float
    stays: tuple[Stay, ...]
    booked: int
    shares: dict[int, int] = field(default_factory=dict)
    rate: float = 0.0

    @property
    def ai(self) -> bool:
        """AI by technicians, who can be two at two stalls."""
        return self.trip.ai is not None and bool(self.stays)


class Lots:
    """The program of some groups and the technicians' days that hold their works."""

    def __init__(
        self,
        model: Model,
        visits: Visits,
        routes: Routes,
        placed: Mapping[int, int],
        tours: Sequence[Tour],
        more: Mapping[int, int],
        whole: bool = True,
    ) -> None:
        self.model, self.visits, self.routes = model, visits, routes
        self.placed, self.tours, self.more, self.whole = placed, tours, more, whole
        self._a_km = 60 / model.season.travel.speed_kmh
        self.program = Program()
        self.base = 1440 * (min(self._days()) - date(1970, 1, 1).toordinal())
        self.comes: dict[Stay, int] = {}
        self.leaves: dict[Stay, int] = {}
        self.lots: list[_Lot] = []
        self.barns: dict[int, int] = {}
        self.possible = True
        for number, tour in enumerate(tours):
            self._way(number, tour)
        for index in sorted(placed):
            self._group(model.needs[index])
        self.events = [event for lot in self.lots for event in lot.events.values()]
        self._chutes()
        self._technicians()
        self._barns()
        self._half_hours()

    def _days(self) -> Iterator[int]:
        for index, ai_day in self.placed.items():
            yield from (ai_day + trip.day for trip in self.model.needs[index].trips)

    def solve(self, least: float, below: float) -> tuple[float, list[Cut]] | None:
        """The cheapest cut in half hours after noon, which cost at least so much, in fewest lots, and what it costs; None: not
        below. To be called once.
        """
        if not self.possible:
            return None
        program = self.program
        paid = {column: cost for column, cost in enumerate(program.costs) if cost}
        if paid:
            program.row(least - _TINY, inf, paid)
        result = program.minimise(nodes=_NODES, below=below)
        if result.values is None or result.cost >= below:
            return None
        return result.cost, self._cuts(self._fewest(paid, result.cost, result.values))

    def _fewest(self, paid: Mapping[int, float], cost: float, values: Floats) -> Floats:
        """The same cost with fewer lots, and fewer of them by two at once, as people want them; as given where none are."""
        program = self.program
        if paid:
            program.row(-inf, cost + _TINY, paid)
        for column in paid:
            program.costs[column] = 0.0
        for lot in self.lots:
            program.costs[lot.used] = 1.0 + _TOGETHER * sum(len(stays) - 1 for stays in lot.kind)
        now = sum(round(values[lot.used]) * program.costs[lot.used] for lot in self.lots)
        found = program.minimise(nodes=_NODES, below=now - _TOGETHER / 2)
        return values if found.values is None or found.cost > now - _TOGETHER / 2 else found.values

    # -- technicians' days ----------------------------------------------------------------------------------------
    def _way(self, number: int, tour: Tour) -> None:
        program, base = self.program, self.model.people[tour.person].base
        opens, closes = self.routes.hours(tour.person, tour.day)
        opens = max(opens, self.model.not_before)
        here = base
        for k, place in enumerate(tour.walk):
            home = self._drive(place, base)
            low, high = opens + home - self.base, closes - home - self.base
            self.possible &= low <= high and not (k and self.model.last_stop[here])
            come = self.comes[number, k] = program.column(0.0, low, max(low, high), whole=self.whole)
            leave = self.leaves[number, k] = program.column(0.0, low, max(low, high), whole=self.whole)
            program.row(0, inf, {leave: 1.0, come: -1.0})
            if k:
                program.row(self._drive(place, here), inf, {come: 1.0, self.leaves[number, k - 1]: -1.0})
            here = place

    def _drive(self, one: int, other: int) -> float:
        """Driving time between two places: whole minutes, or exactly."""
        km, minutes = self.model.road(one)[other]
        return minutes if self.whole else km * self._a_km

    # -- lots -----------------------------------------------------------------------------------------------------
    def _group(self, need: Need) -> None:
        ai_day = self.placed[need.index]
        kinds = list(product(*(self._hands(need, number, ai_day) for number in range(len(need.works)))))
        if not kinds or len(kinds) > _MOST_KINDS:
            self.possible = False
            return
        if need.group.ai_by is Hands.TECHNICIAN and need.sessions:
            self.barns[need.index] = self.program.column(
                0.0, 1.0 if need.group.needs_barn else 0.0, 1.0 if self.model.season.barns else 0.0
            )
            self.possible &= bool(self.model.season.barns) or not need.group.needs_barn
        counts = [self._count(need, kind) for kind in kinds]
        alone = len(kinds) == 1 and counts == [1]
        made = [self._lot(need, kind, alone) for kind, count in zip(kinds, counts, strict=True) for _ in range(count)]
        self.program.row(need.group.head, need.group.head, {lot.head: 1.0 for lot in made})
        for one, other in pairwise(made):
            if one.kind == other.kind:
                self._in_turn(one, other)

    def _hands(self, need: Need, number: int, ai_day: int) -> list[tuple[Stay, ...]]:
        """Who can do a lot at one of the works, in which stays."""
        work = need.works[number]
        stays = [
            (i, k)
            for i, tour in enumerate(self.tours)
            if tour.day == ai_day + work.day and (need.index, number) in tour.works and tour.person in need.able
            for k, place in enumerate(tour.walk)
            if place == need.place
        ]
        found: list[tuple[Stay, ...]] = [(stay,) for stay in stays]
        stalls = max([need.ranch.ai_stalls, *(barn.stalls for barn in self.model.season.barns.values())])
        if work.part is Part.AI and stalls > 1:
            found += [(one, other) for one, other in combinations(stays, 2) if one[0] != other[0]]
        return found

    def _rate(self, need: Need, kind: Kind, trip: Trip) -> float:
        """Head per hour of a lot at a trip."""
        if trip.ai is None:
            return need.ranch.treat_rate
        if need.group.ai_by is Hands.RANCH:
            return need.ranch.ai_rate
        return sum(self.model.people[self.tours[i].person].rate for i, _ in self._at(need, kind, trip))

    def _at(self, need: Need, kind: Kind, trip: Trip) -> tuple[Stay, ...]:
        for number, work in enumerate(need.works):
            if work.trip is not None and work.trip.key == trip.key:
                return kind[number]
        return ()

    def _count(self, need: Need, kind: Kind) -> int:
        """So many lots of a kind: as many as the whole group would be cut into at least, and some more."""
        most = need.group.head
        for trip in need.sessions:
            assert trip.ai is not None and trip.ai.after is not None  # noqa: PT018
            pace = need.pace(self._rate(need, kind, trip))
            most = min(most, largest_lot(trip.ai.after.window, pace, most))
        return min(need.group.head, -(-need.group.head // most) + self.more.get(need.index, 0))

    def _lot(self, need: Need, kind: Kind, alone: bool) -> _Lot:
        program, most = self.program, need.group.head
        head = program.column(0.0, most if alone else 0, most)
        used = program.column(0.0, 1.0 if alone else 0.0)
        lot = _Lot(need, kind, head, used, most)
        if not alone:
            program.row(-inf, 0, {head: 1.0, used: -float(most)})
            program.row(0, inf, {head: 1.0, used: -1.0})
        self.lots.append(lot)
        for trip in tied_trips(need):
            lot.events[trip.key] = self._event(lot, trip, alone)
        for trip in tied_trips(need):
            self._interval(lot, trip)
        return lot

    def _event(self, lot: _Lot, trip: Trip, alone: bool) -> _Event:
        need, program = lot.need, self.program
        day = self.placed[need.index] + trip.day
        rate, stays = self._rate(need, lot.kind, trip), self._at(need, lot.kind, trip)
        booked, fewest, most = self._booked(lot, trip, alone)
        shortest, longest = self._up(60 * fewest / rate), self._up(60 * most / rate)
        opens, closes = self.visits.hours(need, day, 0)
        first, last = turns_of(need, self.placed[need.index])[trip.key]
        low, ends = max(opens, self._up(first)) - self.base, min(closes, self._up(last + 60 / rate)) - self.base
        high = ends - shortest
        self.possible &= low <= high
        start = program.column(0.0, low, max(low, high), whole=self.whole)
        minutes = program.column(0.0, shortest, longest, whole=self.whole)
        if shortest < longest:
            program.row(-_TINY, inf, {minutes: 1.0, booked: -60 / rate})
            program.row(-inf, ends, {start: 1.0, minutes: 1.0})
        event = _Event(lot, trip, day, start, minutes, low, max(low, high), ends, longest, stays, booked, {}, rate)
        for stay in stays:
            program.row(0, inf, {start: 1.0, self.comes[stay]: -1.0})
            program.row(-inf, 0, {start: 1.0, minutes: 1.0, self.leaves[stay]: -1.0})
        if trip.ai is not None and stays:
            self._shares(event)
        return event

    def _up(self, minutes: float) -> float:
        """Whole minutes, where they are to be whole."""
        return ceil(minutes - 1e-9) if self.whole else minutes

    def _booked(self, lot: _Lot, trip: Trip, alone: bool) -> tuple[int, int, int]:
        """The column of the head that comes to a trip; how many at least and at most."""
        need, most = lot.need, lot.need.group.head
        if trip.ai is None or need.group.ai_by is Hands.RANCH or len(need.protocol.ai_steps) < 2:
            return lot.head, most if alone else 0, most
        heads = [0, *(session_head(need.protocol, trip.ai, head) for head in range(1, most + 1))]
        if alone:
            return self.program.column(0.0, heads[most], heads[most]), heads[most], heads[most]
        booked = self.program.column(0.0, 0.0, max(heads))
        chosen = [self.program.column(0.0) for _ in heads]
        self.program.row(1, 1, dict.fromkeys(chosen, 1.0))
        self.program.row(0, 0, {lot.head: -1.0, **{column: float(n) for n, column in enumerate(chosen) if n}})
        self.program.row(0, 0, {booked: -1.0, **{column: float(heads[n]) for n, column in enumerate(chosen) if n}})
        return booked, 0, max(heads)

    def _shares(self, event: _Event) -> None:
        """Head that each technician books: one at least."""
        program = self.program
        if len(event.stays) == 1:
            event.shares[event.stays[0][0]] = event.booked
            return
        for tour, _ in event.stays:
            column = event.shares[tour] = program.column(0.0, 0.0, event.lot.most)
            program.row(0, inf, {column: 1.0, event.lot.used: -1.0})
        program.row(0, 0, {event.booked: -1.0, **dict.fromkeys(event.shares.values(), 1.0)})
        if event.lot.need.ranch.ai_stalls < len(event.stays):
            program.row(0, inf, {self.barns[event.lot.need.index]: 1.0, event.lot.used: -1.0})

    def _interval(self, lot: _Lot, trip: Trip) -> None:
        """Hours from one trip to another for every animal of the lot."""
        need, step = lot.need, rule_of(trip)
        if step is None or step.after is None:
            return
        base = next((other for other in lot.events.values() if step.after.step in other.trip.keys), None)
        if base is None:
            self.possible = False
            return
        event = lot.events[trip.key]
        low, high = 60 * step.after.window[0] - _TINY, 60 * step.after.window[1] + _TINY
        gap = {event.start: 1.0, base.start: -1.0}
        treat, slow = 60 / need.ranch.treat_rate, 60 / event.rate
        if need.group.order is Order.KEPT:
            each = slow - treat
            self._gap(lot, event.booked, gap, (low, high), 0.0)
            self._gap(lot, event.booked, gap, (low, high), each)
        else:
            self._gap(lot, lot.head, gap, (low, inf), -treat)
            self._gap(lot, event.booked, gap, (-inf, high), slow)

    def _gap(self, lot: _Lot, head: int, gap: Mapping[int, float], window: tuple[float, float], each: float) -> None:
        """The gap, with so many minutes for each animal after the first of those that a column counts, lies in the window."""
        entries = {**gap, head: each, lot.used: -each} if each else dict(gap)
        self.program.row(window[0], window[1], entries)

    def _in_turn(self, one: _Lot, other: _Lot) -> None:
        """Of two lots of a kind the first comes first, everywhere; where only one is used, it is the first."""
        self.program.row(0, inf, {one.used: 1.0, other.used: -1.0})
        for key, event in one.events.items():
            after = other.events[key]
            self.program.row(0, inf, {after.start: 1.0, event.start: -1.0, event.minutes: -1.0})

    # -- one thing at a time --------------------------------------------------------------------------------------
    def _chutes(self) -> None:
        """One handling at a time at a ranch, but for AI at so many stalls."""
        by_day: dict[tuple[int, int], list[_Event]] = defaultdict(list)
        for event in self.events:
            by_day[event.lot.need.place, event.day].append(event)
        for events in by_day.values():
            for one, other in combinations(events, 2):
                alike = one.lot.need is other.lot.need and one.lot.kind == other.lot.kind
                if not alike or one.trip is not other.trip:
                    self._apart(one, other, self._beside(one, other))

    def _beside(self, one: _Event, other: _Event) -> list[int] | None:
        """Columns of barns that let two be at work at once: none where the ranch's stalls do; None: never."""
        hands = len(one.stays) + len(other.stays)
        if not one.ai or not other.ai or {i for i, _ in one.stays} & {i for i, _ in other.stays}:
            return None
        if hands <= one.lot.need.ranch.ai_stalls:
            return []
        stalls = max((barn.stalls for barn in self.model.season.barns.values()), default=0)
        return sorted({self.barns[item.lot.need.index] for item in (one, other)}) if hands <= stalls else None

    def _apart(self, one: _Event, other: _Event, beside: list[int] | None) -> None:
        """One is over before the other begins; with all the barns, they may be at once."""
        if beside == []:
            return
        if one.ends <= other.low or other.ends <= one.low:
            return
        program, flag = self.program, self.program.column(0.0)
        wide = float(max(one.ends - other.low, other.ends - one.low))
        first = {other.start: 1.0, one.start: -1.0, one.minutes: -1.0, flag: -wide}
        then = {one.start: 1.0, other.start: -1.0, other.minutes: -1.0, flag: wide}
        if beside:
            free = program.column(0.0)
            for barn in beside:
                program.row(-inf, 0, {free: 1.0, barn: -1.0})
            first[free] = then[free] = wide
        program.row(-wide, inf, first)
        program.row(0, inf, then)

    def _technicians(self) -> None:
        """One thing at a time, and no more head than the day may have."""
        for number, tour in enumerate(self.tours):
            mine = [event for event in self.events if any(i == number for i, _ in event.stays)]
            shares: dict[int, float] = defaultdict(float)
            for event in mine:
                if number in event.shares:
                    shares[event.shares[number]] += 1.0
            self.program.row(-inf, self.model.people[tour.person].technician.max_head_per_day, shares)
            for one, other in combinations(mine, 2):
                if one.lot.need.place != other.lot.need.place:
                    continue  # in another stay
                apart = one.day == other.day and one.lot.need.place == other.lot.need.place
                if not apart:
                    self._apart(one, other, None)

    def _barns(self) -> None:
        """A barn is at one ranch a day. Only one barn is counted on."""
        by_day: dict[int, set[int]] = defaultdict(set)
        for index in self.barns:
            need = self.model.needs[index]
            for trip in need.sessions:
                by_day[self.placed[index] + trip.day].add(index)
        for some in by_day.values():
            for one, other in combinations(sorted(some), 2):
                if self.model.needs[one].place != self.model.needs[other].place:
                    self.program.row(-inf, 1, {self.barns[one]: 1.0, self.barns[other]: 1.0})

    # -- cost -----------------------------------------------------------------------------------------------------
    def _half_hours(self) -> None:
        """Started half hours of AI after noon, for every lot and everybody at work on it."""
        for event in self.events:
            if not event.ai or not self.routes.per_half:
                continue
            noon = minute_of(date.fromordinal(event.day), _NOON, event.lot.need.ranch.zone) - self.base
            if event.ends <= noon:
                continue
            program = self.program
            count = program.column(self.routes.per_half * len(event.stays), 0.0, ceil(event.longest / _HALF_HOUR))
            if event.low >= noon:
                program.row(0, inf, {count: float(_HALF_HOUR), event.minutes: -1.0})
                continue
            late = program.column(0.0)
            wide = float(max(0, event.high - noon))
            program.row(-noon, inf, {count: 30.0, event.start: -1.0, event.minutes: -1.0, late: wide})
            program.row(-event.longest, inf, {count: 30.0, event.minutes: -1.0, late: -float(event.longest)})

    # -- what came out --------------------------------------------------------------------------------------------
    def _cuts(self, values: Floats) -> list[Cut]:
        lots: dict[int, list[CutLot]] = defaultdict(list)
        heads = self._heads(values)
        for lot in self.lots:
            head = round(values[lot.head])
            if head:
                handled = {key: self._handled(event, values, heads) for key, event in lot.events.items()}
                lots[lot.need.index].append(CutLot(head, handled))
        needs = [self.model.needs[index] for index in sorted(self.placed)]
        return [Cut(need, self.placed[need.index], tuple(lots[need.index]), self._barn(need, lots)) for need in needs]

    def _barn(self, need: Need, lots: Mapping[int, Sequence[CutLot]]) -> bool:
        """Whether the group uses the barn: it asks for it, or there are more at work at once than the ranch has stalls."""
        if need.index not in self.barns:
            return False
        here = [
            item
            for index, some in lots.items()
            if self.model.needs[index].place == need.place
            for lot in some
            for item in lot.handled.values()
            if item.trip.ai is not None and item.hands
        ]
        mine = [item for lot in lots[need.index] for item in lot.handled.values() if item in here]
        beside = (sum(len(some.hands) for some in here if some.during(item)) for item in mine)
        return need.group.needs_barn or max(beside, default=0) > need.ranch.ai_stalls

    def _heads(self, values: Floats) -> dict[int, int]:
        """Head by the columns of shares: those of two at one lot as near to their paces as it can be."""
        heads = {column: round(values[column]) for event in self.events for column in event.shares.values()}
        people = [self.model.people[tour.person] for tour in self.tours]
        room = {number: person.technician.max_head_per_day for number, person in enumerate(people)}
        shared: list[tuple[tuple[int, int], Shared]] = []
        for event in self.events:
            for tour, column in event.shares.items():
                room[tour] -= heads[column]
            if len(event.shares) == _PAIR and sum(heads[column] for column in event.shares.values()):
                (one, mine), (other, theirs) = event.shares.items()
                pace = people[one].rate, people[other].rate
                shared.append(((mine, theirs), Shared((one, other), pace, (heads[mine], heads[theirs]))))
        near_to_pace((some for _, some in shared), room)
        return heads | {column: head for both, some in shared for column, head in zip(both, some.heads, strict=True)}

    def _handled(self, event: _Event, values: Floats, heads: Mapping[int, int]) -> Handled:
        begins = round(values[event.start]) if self.whole else values[event.start]
        length = self._up(60 * round(values[event.booked]) / event.rate)
        hands = []
        for tour, _ in event.stays:
            hands.append((self.tours[tour].person, heads[event.shares[tour]] if tour in event.shares else 0))
        start, end = self.base + _written(begins), self.base + _written(begins + length)
        return Handled(event.trip, start, end, tuple(hands))


def _written(minutes: float) -> int:
    """The minute that stands in a plan: the nearest."""
    return floor(minutes + 0.5 + _TINY)
