"""Finding a place for one group on one AI day: clock times of every trip, technicians, chute, barn.

All the contract's rules about hours are settled here, so that a plan never holds a placement that breaks one.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor

from scheduling.kernel.protocol import Step
from scheduling.kernel.search.model import Need, Trip, minute_of
from scheduling.kernel.search.shape import Pattern, Shape, hour_anchor
from scheduling.kernel.search.state import LotTimes, Placement, State, Stop
from scheduling.kernel.season import Hands
from scheduling.kernel.sessions import session_head

GRID = 15
NEAREST = 8


@dataclass(frozen=True)
class Crew:
    """Who inseminates at once: none (the ranch), one technician, or two on two stalls."""

    technicians: tuple[str, ...]
    rate: float


class Placer:
    """Tries one group on one day with one crew against a state."""

    def __init__(self, state: State, need: Need, day: date, crew: Crew, late: float = 0.0) -> None:
        self.state, self.need, self.day, self.crew, self.late = state, need, day, crew, late
        self.taken: list[tuple[int, int]] = []
        self.stops: list[tuple[str, Stop]] = []
        self.times: dict[str, tuple[int, Pattern]] = {}
        self.cost = 0.0
        self.shape = state.shape_of(need, crew.rate)
        self.lots = self.shape.lots

    def pattern(self, trip: Trip) -> Pattern:
        """The trip's lots from its start."""
        return self.shape.patterns[trip.key]

    def _gap_minutes(self, ai: Step) -> tuple[int, int] | None:
        """Allowed minutes from treatment start to AI start that suit every lot."""
        return self.shape.gaps[ai.key]

    # -- the search -----------------------------------------------------------------------------------------------
    def place(self) -> Placement | None:
        """A placement, or None. AI as early in the day as it can be; treatment so that waits sit mid-window."""
        ai_trips = [trip for trip in self.need.trips if trip.ai is not None]
        if not ai_trips:
            return self._rest(self.need.trips[0], None) if self.need.trips else self._finish()
        first = ai_trips[0]
        anchor = self._anchor(first)
        for start in self._ai_starts(first, anchor):
            found = self._try(first, anchor, start)
            if found is not None:
                return found
        return None

    def _anchor(self, trip: Trip) -> Trip:
        assert trip.ai is not None and trip.ai.after is not None  # noqa: PT018
        key = trip.ai.after.step
        return next(other for other in self.need.trips if key in other.keys)

    def _hours(self, trip: Trip, length: int) -> tuple[int, int]:
        """Earliest and latest start of a trip inside the ranch's handling hours."""
        ranch, day = self.need.ranch, self.day + timedelta(days=trip.day)
        return minute_of(day, ranch.opens, ranch.zone), minute_of(day, ranch.closes, ranch.zone) - length

    def _ai_starts(self, trip: Trip, anchor: Trip) -> Iterator[int]:
        assert trip.ai is not None
        pattern, gap = self.pattern(trip), self._gap_minutes(trip.ai)
        if gap is None:
            return
        low, high = self._hours(trip, pattern.length)
        fixed = self._fixed(anchor)
        if fixed is None:
            treat = self._hours(anchor, self.pattern(anchor).length)
            low, high = max(low, treat[0] + gap[0]), min(high, treat[1] + gap[1])
        else:
            low, high = max(low, fixed + gap[0]), min(high, fixed + gap[1])
        own = self._fixed(trip)
        if own is not None:
            yield own
            return
        for first, last in self._crew_windows(trip, pattern, low, high):
            yield from _grid(first + int((last - first) * self.late), last)
            if self.late:
                yield from _grid(first, last)

    def _crew_windows(self, trip: Trip, pattern: Pattern, low: int, high: int) -> Sequence[tuple[int, int]]:
        """Start windows in which all of the crew are free, the earliest first."""
        windows = [(low, high)] if low <= high else []
        day = self.day + timedelta(days=trip.day)
        for technician, head in zip(self.crew.technicians, self._day_heads(trip), strict=True):
            free = self.state.gaps(technician, day, f"R{self.need.ranch.id}", pattern.length, head)
            both = ((max(one[0], gap[0]), min(one[1], gap[1])) for one in windows for gap in free)
            windows = sorted(window for window in both if window[0] <= window[1])
        return windows

    def _day_heads(self, trip: Trip) -> tuple[int, ...]:
        """Head of each of the crew over all lots, as they will be booked."""
        return tuple(sum(heads) for heads in zip(*(self._heads(trip, lot) for lot in self.lots), strict=True))

    def _heads(self, trip: Trip, head: int) -> tuple[int, ...]:
        """Head at the session for each of the crew, by their rates; the sum is exact."""
        if not self.crew.technicians:
            return ()
        total = session_head(self.need.protocol, trip.ai, head) if trip.ai else head
        if len(self.crew.technicians) == 1:
            return (total,)
        people = self.state.model.season.technicians
        one = round(total * people[self.crew.technicians[0]].ai_rate / self.crew.rate)
        return one, total - one

    def _try(self, trip: Trip, anchor: Trip, start: int) -> Placement | None:
        self.taken, self.stops, self.times, self.cost = [], [], {}, 0.0
        if not self._take(trip, start):
            return None
        gap = self._gap_minutes(trip.ai) if trip.ai else None
        fixed = self._fixed(anchor)
        if fixed is not None:
            return self._rest(anchor, fixed)
        if gap is None:
            return None
        kept = (list(self.taken), list(self.stops), dict(self.times))
        if self.need.group.steps_by is Hands.TECHNICIAN:
            middle = start - (gap[0] + gap[1]) // 2
            found = self._take_treatment(anchor, start - gap[1], start - gap[0], middle)
            return self._rest(anchor, None) if found else None
        for treat in _centred(start - gap[1], start - gap[0]):
            self.taken, self.stops, self.times = list(kept[0]), list(kept[1]), dict(kept[2])
            placement = self._rest(anchor, treat)
            if placement is not None:
                return placement
        return None

    def _rest(self, anchor: Trip, start: int | None) -> Placement | None:
        """Place the treatment that hours are counted from, then every other trip."""
        if start is not None and not self._take_treatment(anchor, start, start):
            return None
        for trip in self.need.trips:
            if trip.key not in self.times and not self._take_other(trip, anchor):
                return None
        return self._finish()

    def _take_other(self, trip: Trip, anchor: Trip) -> bool:
        fixed = self._fixed(trip)
        if fixed is not None:
            return self._take(trip, fixed)
        pattern = self.pattern(trip)
        low, high = self._hours(trip, pattern.length)
        if trip.ai is not None:
            return self._take_second_session(trip, low, high)
        rule = hour_anchor(trip)
        if rule is not None and rule.after is not None:
            base = next(other for other in self.need.trips if rule.after.step in other.keys)
            if base.key in self.times:
                slack = self._order_slack()
                low = max(low, self.times[base.key][0] + ceil(rule.after.window[0] * 60) + slack)
                high = min(high, self.times[base.key][0] + floor(rule.after.window[1] * 60) - slack)
        wish = self._same_clock(trip, anchor, low)
        return self._take_treatment(trip, low, high, wish)

    def _order_slack(self) -> int:
        """Minutes that any order through the chute adds on both sides of a treatment-to-treatment interval."""
        if self.need.group.order.value == "kept":
            return 0
        return ceil((max(self.lots) - 1) / self.need.ranch.treat_rate * 60)

    def _same_clock(self, trip: Trip, anchor: Trip, low: int) -> int:
        """The hour of the treatment that hours are counted from, on this trip's day."""
        if anchor.key not in self.times:
            return low + 60
        days = timedelta(days=trip.day - anchor.day)
        return self.times[anchor.key][0] + int(days.total_seconds() // 60)

    def _take_second_session(self, trip: Trip, low: int, high: int) -> bool:
        """Place the second session of split-time AI: with the first's crew, or with one technician for whom it costs least."""
        mine = (self.crew, self.shape)
        for crew in (self.crew, *self._others(trip)):
            self.crew, self.shape = crew, self.state.shape_of(self.need, crew.rate)
            placed = self._keeps_step(trip, mine[1]) and self._take_session(trip, low, high)
            self.crew, self.shape = mine
            if placed:
                return True
        return False

    def _keeps_step(self, trip: Trip, first: Shape) -> bool:
        """Whether this crew takes the lots at the distances of the first crew: else later lots would wait differently."""
        return self.shape.lots == first.lots and self.pattern(trip).offsets == first.patterns[trip.key].offsets

    def _others(self, trip: Trip) -> list[Crew]:
        """Single technicians who could come, the cheapest first."""
        if not self.crew.technicians:
            return []
        day, place = self.day + timedelta(days=trip.day), f"R{self.need.ranch.id}"
        offers = []
        for rank, name in enumerate(self.state.model.crews[self.need.group.id][:NEAREST]):
            costs = [cost for _, _, cost in self.state.gaps(name, day, place, 1, 1)]
            if costs and (name,) != self.crew.technicians:
                offers.append((min(costs), rank, name))
        people = self.state.model.season.technicians
        return [Crew((name,), people[name].ai_rate) for _, _, name in sorted(offers)]

    def _take_session(self, trip: Trip, low: int, high: int) -> bool:
        assert trip.ai is not None and trip.ai.after is not None  # noqa: PT018
        gap, pattern = self._gap_minutes(trip.ai), self.pattern(trip)
        anchor = self._anchor(trip)
        if gap is None or anchor.key not in self.times:
            return False
        base = self.times[anchor.key][0]
        for first, last in self._crew_windows(trip, pattern, max(low, base + gap[0]), min(high, base + gap[1])):
            for start in _grid(first, last):
                if self._take(trip, start):
                    return True
        return False

    def _take_treatment(self, trip: Trip, low: int, high: int, wish: int | None = None) -> bool:
        """Place a treatment trip between two starts, near the wish; with a technician where the group buys the service."""
        pattern = self.pattern(trip)
        opens, closes = self._hours(trip, pattern.length)
        if trip.key not in self.need.fixed and not set(trip.keys) & set(self.need.fixed):
            low, high = max(low, opens), min(high, closes)
        if low > high:
            return False
        if self.need.group.steps_by is Hands.RANCH:
            return any(self._take(trip, start) for start in _near(low, high, low if wish is None else wish))
        return self._take_service(trip, pattern, low, high, wish)

    def _take_service(self, trip: Trip, pattern: Pattern, low: int, high: int, wish: int | None) -> bool:
        day = self.day + timedelta(days=trip.day)
        offers = []
        for rank, technician in enumerate(self.state.model.crews[self.need.group.id][:NEAREST]):
            for first, last, cost in self.state.gaps(technician, day, f"R{self.need.ranch.id}", pattern.length, 0):
                if max(first, low) <= min(last, high):
                    offers.append((cost, rank, max(first, low), min(last, high), technician))
        for cost, _, first, last, technician in sorted(offers):
            for start in _near(first, last, first if wish is None else wish):
                if self._take(trip, start, (technician,)):
                    self.cost += cost
                    return True
        return False

    def _fixed(self, trip: Trip) -> int | None:
        return next((self.need.fixed[key] for key in trip.keys if key in self.need.fixed), None)

    def _take(self, trip: Trip, start: int, service: tuple[str, ...] = ()) -> bool:
        """Occupy the chute (and the crew, for AI) at `start`; False where the chute or a barn is not free."""
        pattern = self.pattern(trip)
        spans = list(pattern.spans(start))
        ranch = self.need.ranch.id
        for begin, end in spans:
            if not self.state.chute_free(ranch, begin, end):
                return False
            if any(begin < other_end and other < end for other, other_end in self.taken):
                return False
        barn = ""
        people = self.crew.technicians if trip.ai is not None else service
        if trip.ai is not None and people:
            stalls = len(people)
            if self.need.group.needs_barn:
                found = self.state.barn_for(ranch, spans[0][0], spans[-1][1], stalls)
                if found is None:
                    return False
                barn = found
            elif stalls > self.need.ranch.ai_stalls:
                return False
        if not self._fixed_or_free(trip, people, start, pattern):
            return False
        self._book(trip, spans, people, barn)
        self.taken += spans
        self.times[trip.key] = (start, pattern)
        return True

    def _fixed_or_free(self, trip: Trip, people: tuple[str, ...], start: int, pattern: Pattern) -> bool:
        """Nobody of the crew is elsewhere because of this very placement (an earlier stop of the same day)."""
        return all(
            start >= stop.end or start + pattern.length <= stop.start
            for person in people
            for technician, stop in self.stops
            if technician == person
        )

    def _book(self, trip: Trip, spans: list[tuple[int, int]], people: tuple[str, ...], barn: str) -> None:
        place, group = f"R{self.need.ranch.id}", self.need.group.id
        for lot, (begin, end) in enumerate(spans):
            heads = self._heads(trip, self.lots[lot]) if trip.ai is not None else (self.lots[lot],) * len(people)
            for person, head in zip(people, heads, strict=True):
                key = trip.ai.key if trip.ai is not None else trip.key
                ai_head = head if trip.ai is not None else 0
                self.stops.append((person, Stop(begin, end, place, group, lot, key, head, ai_head, barn)))

    def _finish(self) -> Placement | None:
        lots = []
        for number, head in enumerate(self.lots):
            spans = tuple((step.key, *self._span(step, number)) for step in self.need.protocol.steps)
            lots.append(LotTimes(head, spans))
        return Placement(
            self.need.group.id,
            self.day,
            tuple(lots),
            tuple(self.stops),
            tuple(self.taken),
            self.crew.rate,
        )

    def _span(self, step: Step, lot: int) -> tuple[int, int]:
        for trip in self.need.trips:
            if step.key in trip.keys:
                start, pattern = self.times[trip.key]
                return list(pattern.spans(start))[lot]
        if step.key in self.need.fixed:
            return self.need.fixed[step.key], self.need.fixed[step.key]
        day = self.day + timedelta(days=step.day - self.need.protocol.reference_day)
        moment = minute_of(day, self.need.ranch.opens, self.need.ranch.zone) + 60
        return moment, moment


def _grid(first: int, last: int) -> Iterator[int]:
    """Starts to try: the first, then on the quarter hour, then on the half, at most a dozen."""
    yield first
    start, tries = first - first % GRID + GRID, 0
    while start <= last and tries < 12:
        yield start
        tries += 1
        start += GRID if tries < 4 else 2 * GRID


def _near(low: int, high: int, wish: int) -> Iterator[int]:
    """Starts between two minutes, the nearest to the wish first, in quarter hours."""
    centre = min(max(wish, low), high)
    yield centre
    for step in range(GRID, max(centre - low, high - centre) + GRID, GRID):
        if centre - step >= low:
            yield centre - step
        if centre + step <= high:
            yield centre + step


def _centred(low: int, high: int) -> Iterator[int]:
    """Starts between two minutes, from the middle outwards."""
    if low <= high:
        yield from _near(low, high, (low + high) // 2)
