"""What clock times add: chosen technician-days and options, every hour that ties them together, as cheap as can be.

Hours are whole minutes. Two groups may be in the chute at once where stalls allow it, so that nothing is dearer than it is.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf

from scheduling.kernel.search.exact.days import Work
from scheduling.kernel.search.exact.options import Crew, Option, Stop, bounds, own_trips
from scheduling.kernel.search.exact.program import Program
from scheduling.kernel.search.routes import Routes
from scheduling.kernel.search.visits import Visits

_NODES = 20_000


@dataclass(frozen=True)
class Times:
    """The least cost of the technician-days with all hours kept; the start of every stop and of every treatment."""

    cost: float
    stops: Mapping[Stop, int]
    treated: Mapping[Option, int]
    rows: Mapping[Work, tuple[Stop, ...]]


@dataclass(frozen=True)
class _Handling:
    """Something that is in a ranch's chute: a start (column) and spans from it; `ai` by so many technicians, else 0."""

    start: int
    spans: tuple[tuple[int, int], ...]
    window: tuple[int, int]
    hands: int
    stalls: int


class Timing:
    """Settles clock times exactly, and remembers."""

    def __init__(self, visits: Visits, routes: Routes) -> None:
        self.visits, self.routes, self.model = visits, routes, visits.model
        self._known: dict[tuple[frozenset[Work], frozenset[Option]], Times | None] = {}
        self.unsure = False

    def least(self, works: Iterable[Work], options: Iterable[Option]) -> Times | None:
        """The cheapest times for technician-days, and for options with all the handling that the ranch does itself.

        An option's work that no technician-day given holds is left away. None where there are none.
        """
        key = frozenset(works), frozenset(options)
        if key not in self._known:
            self._known[key] = _Clock(self, key[0], key[1]).solve()
        return self._known[key]


class _Clock:
    """One program of clock times. Minutes are counted from a base, so that numbers stay small."""

    def __init__(self, timing: Timing, works: frozenset[Work], options: frozenset[Option]) -> None:
        self.timing, self.visits, self.model = timing, timing.visits, timing.model
        self.program = Program()
        self.works = sorted(works, key=lambda work: (work.day, work.person))
        self.options = sorted(options, key=lambda option: option.need.index)
        days = [timing.routes.hours(work.person, work.day)[0] for work in self.works]
        days += [self.visits.hours(option.need, option.ai_day, 0)[0] for option in self.options]
        self.base = min(days, default=0)
        self.starts: dict[Stop, int] = {}
        self.treated: dict[Option, int] = {}
        self.orders: dict[Work, list[tuple[int, tuple[Stop, ...]]]] = {}
        self.handled: dict[int, list[_Handling]] = defaultdict(list)

    def solve(self) -> Times | None:
        for work in self.works:
            self._day(work)
        self._together()
        for option in self.options:
            self._option(option)
        for handlings in self.handled.values():
            for one, other in combinations(handlings, 2):
                self._apart(one, other)
        if not self.program.costs:
            return Times(0.0, {}, {}, {})
        result = self.program.minimise(nodes=_NODES)
        if result.values is None:
            self.timing.unsure |= not result.done
            return None
        values = result.values
        self.timing.unsure |= not result.done
        stops = {stop: round(values[column]) + self.base for stop, column in self.starts.items()}
        treated = {option: round(values[column]) + self.base for option, column in self.treated.items()}
        rows = {
            work: next(order for column, order in orders if values[column] > 0.5)
            for work, orders in self.orders.items()
        }
        days = sum(self.timing.routes.day_cost[work.person] for work in self.works)
        return Times(days + (result.cost if result.done else result.bound), stops, treated, rows)

    # -- technician-days ------------------------------------------------------------------------------------------
    def _day(self, work: Work) -> None:
        """Stops in one of the orders that can be driven; half hours after noon are paid."""
        program, routes = self.program, self.timing.routes
        opens, closes = routes.hours(work.person, work.day)
        base = self.model.people[work.person].base
        road = self.model.road(base)
        for stop in work.in_order:
            low = max(stop.low, opens + road[stop.place][1])
            high = min(stop.high, closes - road[stop.place][1] - stop.length)
            column = program.column(0.0, low - self.base, high - self.base)
            self.starts[stop] = column
            self._halves(stop, column, high)
        best: dict[tuple[Stop, ...], float] = {row.stops: row.km * routes.per_km for row in work.rows}
        chosen = [(program.column(cost), order) for order, cost in best.items()]
        self.orders[work] = chosen
        program.row(1, 1, {column: 1.0 for column, _ in chosen})
        for one in work.in_order:
            for other in work.in_order:
                if one is not other:
                    self._follows(one, other, [c for c, order in chosen if order.index(one) < order.index(other)])

    def _follows(self, one: Stop, other: Stop, columns: Sequence[int]) -> None:
        """Where an order puts one before other: other starts when one is done and the way between is driven."""
        if not columns:
            return
        drive = self.model.road(one.place)[other.place][1] if one.place != other.place else 0
        need = one.length + drive
        most = need + self.program.highs[self.starts[one]] - self.program.lows[self.starts[other]]
        if most <= 0:
            return
        entries = {self.starts[other]: 1.0, self.starts[one]: -1.0}
        entries.update(dict.fromkeys(columns, -most))
        self.program.row(need - most, inf, entries)

    def _halves(self, stop: Stop, column: int, high: int) -> None:
        if not stop.ai or not self.timing.routes.per_half:
            return
        for offset, length in stop.spans:
            whole = -(-length // 30)
            late = high + offset + length - stop.noon
            if late <= 0:
                continue
            halves = self.program.column(self.timing.routes.per_half, 0.0, whole)
            # 30 x halves >= start + offset + length - noon, but never more than the lot's own length asks for
            over = max(0, late - 30 * whole)
            entries = {halves: 30.0, column: -1.0}
            if over:
                entries[self.program.column(0.0, 0.0, over, whole=False)] = 1.0
            self.program.row(offset + length - stop.noon + self.base, inf, entries)
            if over:  # the rest is free only once the whole lot is late
                rest = len(self.program.costs) - 1
                self.program.row(-inf, 0, {rest: 1.0, self._all_late(halves, whole): -float(over)})

    def _all_late(self, halves: int, whole: int) -> int:
        flag = self.program.column(0.0)
        self.program.row(-inf, 0, {flag: float(whole), halves: -1.0})
        return flag

    def _together(self) -> None:
        """Two technicians of one crew start at once."""
        by_crew: dict[Crew, list[Stop]] = defaultdict(list)
        for stop in self.starts:
            by_crew[stop.crew].append(stop)
        for stops in by_crew.values():
            for other in stops[1:]:
                self.program.row(0, 0, {self.starts[stops[0]]: 1.0, self.starts[other]: -1.0})

    # -- groups ---------------------------------------------------------------------------------------------------
    def _option(self, option: Option) -> None:
        """A group's treatments, its hours to AI, and what is in the chute."""
        need, visits = option.need, self.visits
        mine = {stop.number: stop for stop in self.starts if stop.option is option}
        shape = option.shape
        at: dict[str, int] = {}
        for number, stop in mine.items():
            work = need.works[number]
            if work.trip is not None:
                at[work.trip.key] = self.starts[stop]
            self._handle(stop)
        for trip in own_trips(option):
            pattern = shape.patterns[trip.key]
            low, high = visits.hours(need, option.ai_day + trip.day, pattern.length)
            at[trip.key] = self.program.column(0.0, low - self.base, high - self.base)
            spans = tuple(zip(pattern.offsets, pattern.lengths, strict=True))
            self.handled[need.place].append(_Handling(at[trip.key], spans, (low, high), 0, 0))
        anchor = need.anchor
        if anchor is None:
            return
        if anchor.key not in at:
            self._stand_in(option, at)
        begun = at[anchor.key]
        self.treated[option] = begun
        for key, (least, most) in bounds(need).items():
            if key in at:
                self.program.row(least, most, {at[key]: 1.0, begun: -1.0})
        for number, work in enumerate(need.works):
            gap = mine[number].crew.gap if number in mine else None
            if gap is not None and work.trip is not None:
                self.program.row(gap[0], gap[1], {at[work.trip.key]: 1.0, begun: -1.0})
        for trip in own_trips(option):
            own = shape.gaps[trip.ai.key] if trip.ai is not None else None
            if trip.ai is not None and own is None:
                self.program.row(1, inf, {})  # no hour suits every lot
            elif own is not None:
                self.program.row(own[0], own[1], {at[trip.key]: 1.0, begun: -1.0})

    def _stand_in(self, option: Option, at: dict[str, int]) -> None:
        """A treatment by a technician whose day is not given: at any hour of the ranch."""
        anchor = option.need.anchor
        assert anchor is not None
        low, high = self.visits.hours(option.need, option.ai_day + anchor.day, option.shape.patterns[anchor.key].length)
        at[anchor.key] = self.program.column(0.0, low - self.base, high - self.base)

    def _handle(self, stop: Stop) -> None:
        crew = stop.crew
        if crew.stops[0] is not stop and crew.stops[0] in self.starts:
            return  # the second of two
        need = stop.option.need
        stalls = max([need.ranch.ai_stalls, *(barn.stalls for barn in self.model.season.barns.values())])
        hands = len(crew.people) if stop.ai else 0
        self.handled[need.place].append(_Handling(self.starts[stop], stop.spans, (stop.low, stop.high), hands, stalls))

    def _apart(self, one: _Handling, other: _Handling) -> None:
        """Two handlings at one ranch, lot by lot: one is over before the other begins."""
        if one.hands and other.hands and one.hands + other.hands <= min(one.stalls, other.stalls):
            return
        for offset, length in one.spans:
            for off, long in other.spans:
                self._before_or_after((one, offset, length), (other, off, long))

    def _before_or_after(self, a: tuple[_Handling, int, int], b: tuple[_Handling, int, int]) -> None:
        (one, offset, length), (other, off, long) = a, b
        first_ends, second_ends = offset + length - off, off + long - offset
        # one before other: start(other) - start(one) >= first_ends
        if other.window[0] - one.window[1] >= first_ends or one.window[0] - other.window[1] >= second_ends:
            return
        flag = self.program.column(0.0)
        wide = one.window[1] - other.window[0] + first_ends
        self.program.row(first_ends - wide, inf, {other.start: 1.0, one.start: -1.0, flag: -float(wide)})
        wide = other.window[1] - one.window[0] + second_ends
        self.program.row(second_ends, inf, {one.start: 1.0, other.start: -1.0, flag: float(wide)})
