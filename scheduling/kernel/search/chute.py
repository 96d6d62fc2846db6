"""Clock times at a ranch: every trip of its groups that no technician's route fixes, one handling at a time."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from scheduling.kernel.plan import GroupPlan
from scheduling.kernel.search.model import Need, Part, Trip
from scheduling.kernel.search.shape import Pattern, Shape
from scheduling.kernel.search.visits import Treatment, Visit, Visits, bound_trips

GRID = 15
_TRIES = 400
_EARLY_TRIES = 12
_MOST_REMEMBERED = 200_000

Times = dict[str, int]
Span = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Kept:
    """A group's place exactly as an earlier plan has it: the start of its trips' first lots, and all its handling.

    `at_stalls` tells of spans of AI by technicians how many are there, on how many stalls: others kept may be beside them;
    `done` are the spans of what was carried out, whatever was in the chute with it.
    """

    plan: GroupPlan
    times: Times
    spans: tuple[Span, ...]
    at_stalls: Mapping[Span, tuple[int, int]] = field(default_factory=dict)
    done: frozenset[Span] = frozenset()

    @property
    def lots(self) -> tuple[int, ...]:
        """The head of each lot."""
        return tuple(lot.head for lot in self.plan.lots)

    def beside(self, span: Span, other: "Kept", there: Span) -> bool:
        """Whether a span and one of another group can be at the same time."""
        hands, stalls = self.at_stalls.get(span, (1, 0))
        more, least = other.at_stalls.get(there, (1, 0))
        return hands + more <= min(stalls, least)


class Assignment:
    """Where a group is put: AI day, treatment, the first crew's rate (None: no timed AI by technicians), who comes.

    `stops` are (technician, visit) in the order of the need's works; `kept` where an earlier plan is followed to the minute.
    """

    __slots__ = ("ai_day", "barn", "change", "crew_rate", "days", "kept", "key", "moved", "need", "stops", "treatment")

    def __init__(
        self,
        need: Need,
        ai_day: int,
        treatment: Treatment,
        crew_rate: float,
        stops: tuple[tuple[int, Visit], ...],
        kept: Kept | None = None,
        barn: int = -1,
    ) -> None:
        self.need, self.ai_day, self.treatment, self.crew_rate = need, ai_day, treatment, crew_rate
        self.stops, self.kept, self.barn = stops, kept, barn
        self.days = need.days_on(ai_day)
        self.moved = abs(ai_day - need.wanted)
        self.change = 0.0
        self.key = (need, ai_day, treatment, crew_rate, kept)

    @property
    def past(self) -> tuple[tuple[int, Visit], ...]:
        """Who came to what was carried out."""
        return tuple((person, visit) for person, visit in self.stops if visit.key in self.need.past_keys)

    def without_past(self) -> "Assignment":
        """The same without them: what people tick off may be closer together than anybody can drive."""
        stops = tuple(stop for stop in self.stops if stop not in self.past)
        barn = self.barn if any(work.part is Part.AI for work in self.need.works) else -1
        kept = self.kept and replace(
            self.kept,
            at_stalls={span: there for span, there in self.kept.at_stalls.items() if span not in self.kept.done},
        )
        return Assignment(self.need, self.ai_day, self.treatment, self.crew_rate, stops, kept, barn)


Item = tuple[Assignment, tuple[int, ...]]


class Chute:
    """Settles clock times and remembers the answers."""

    def __init__(self, visits: Visits) -> None:
        self.visits = visits
        self._known: dict[tuple[object, ...], tuple[Times, ...] | None] = {}

    def settle(self, items: Sequence[Item], blocked: tuple[Span, ...] = ()) -> tuple[Times, ...] | None:
        """The start of every trip for groups of one ranch, given when their technicians start; None where they collide.

        `items` pairs each assignment with the starts of its stops, in their order; in `blocked` spans the chute is taken.
        """
        key = tuple((item.key, starts) for item, starts in items)
        if key not in self._known:
            if len(self._known) > _MOST_REMEMBERED:
                self._known.clear()
            self._known[key] = self._settle(items, blocked)
        return self._known[key]

    def _settle(self, items: Sequence[Item], blocked: tuple[Span, ...]) -> tuple[Times, ...] | None:
        kept = [item.kept for item, _ in items if item.kept is not None]
        done = [span for item, _ in items for span in self._done(item)]
        planned = [span for some in kept for span in some.spans if span not in some.done]
        taken = [*blocked, *done]
        if not _all_free(planned, taken) or not all(_agree(one, other) for one, other in combinations(kept, 2)):
            return None
        # All that stays first, whoever's visit comes before.
        busy = [*taken, *(span for some in kept for span in some.spans)]
        known: list[Times] = []
        for item, starts in items:
            times = dict(item.kept.times) if item.kept is not None else self._fixed(item, starts, busy)
            if times is None:
                return None
            known.append(times)
        ordered = sorted(range(len(items)), key=lambda i: (items[i][0].need.sessions == (), i))
        for order in (ordered, ordered[::-1]) if len(items) > 1 else (ordered,):
            taken, times_of = list(busy), [dict(times) for times in known]
            if all(_Placing(self.visits, items[i][0], times_of[i], taken).place() for i in order):
                return tuple(times_of)
        return None

    def _done(self, item: Assignment) -> Iterator[Span]:
        """Steps that were carried out: nobody moves them, and nothing else goes there."""
        for trip in item.need.trips if item.kept is None else ():
            done = item.need.fixed_start(trip)
            if done is not None:
                yield from _spans(self.visits.shape(item.need, item.crew_rate).patterns[trip.key], done)

    def _fixed(self, item: Assignment, starts: tuple[int, ...], busy: list[Span]) -> Times | None:
        """What cannot move: technicians' starts, steps that were carried out. None on a collision."""
        times: Times = {}
        for trip in item.need.trips:
            done = item.need.fixed_start(trip)
            if done is not None:
                times[trip.key] = done
        for (_, visit), start in zip(item.stops, starts, strict=True):
            there = next((trip for trip in item.need.trips if visit.key in trip.keys), None)
            if visit.key in item.need.past_keys or (there is not None and times.get(there.key) == start):
                continue  # done, or the second of two technicians
            spans = [(start + offset, start + offset + length) for offset, length in visit.spans]
            if not _all_free(spans, busy):
                return None
            busy += spans
            if there is not None:
                times[there.key] = start
        return times


def handled(visits: Visits, item: Assignment, times: Times, starts: Sequence[int]) -> Iterator[Span]:
    """Every span in which a group is in the chute."""
    if item.kept is not None:
        yield from item.kept.spans
        return
    patterns = visits.shape(item.need, item.crew_rate).patterns
    for trip in item.need.trips:
        if trip.key in times:
            yield from _spans(patterns[trip.key], times[trip.key])
    for (_, visit), start in zip(item.stops, starts, strict=True):
        yield from ((start + offset, start + offset + length) for offset, length in visit.spans)


class _Placing:
    """Backtracking over the trips of one group that are still open."""

    def __init__(self, visits: Visits, item: Assignment, times: Times, busy: list[Span]) -> None:
        self.visits, self.item, self.times, self.busy = visits, item, times, busy
        self.need: Need = item.need
        self.shape: Shape = visits.shape(item.need, item.crew_rate)
        self.bound = {trip.key: (trip, gap) for trip, gap in bound_trips(item.need)}
        self.left = _TRIES

    def place(self) -> bool:
        """Settle every open trip into `times`, and occupy the chute."""
        open_trips = [trip for trip in self.need.trips if trip.key not in self.times]
        anchor = self.need.anchor
        open_trips.sort(key=lambda trip: self._rank(trip, anchor))
        return self._next(open_trips, 0)

    def _rank(self, trip: Trip, anchor: Trip | None) -> int:
        if trip.ai is not None:
            return 0 if trip is self.need.sessions[0] else 2
        if trip is anchor:
            return 1
        return 3 if trip.key in self.bound else 4

    def _next(self, trips: list[Trip], i: int) -> bool:
        if i == len(trips):
            return True
        trip = trips[i]
        pattern = self.shape.patterns[trip.key]
        for start in self._starts(trip, pattern):
            if self.left <= 0:
                return False
            self.left -= 1
            spans = list(_spans(pattern, start))
            if _all_free(spans, self.busy):
                mark = len(self.busy)
                self.busy += spans
                self.times[trip.key] = start
                if self._next(trips, i + 1):
                    return True
                del self.busy[mark:]
                del self.times[trip.key]
        return False

    def _starts(self, trip: Trip, pattern: Pattern) -> Iterator[int]:
        low, high = self.visits.hours(self.need, self.item.ai_day + trip.day, pattern.length)
        if trip.ai is not None:
            return self._session_starts(trip, low, high)
        if trip is self.need.anchor:
            return self._anchor_starts(low, high)
        wish = self._same_clock(trip, low)
        if trip.key in self.bound and self.need.anchor is not None and self.need.anchor.key in self.times:
            least, most = self.bound[trip.key][1]
            begun = self.times[self.need.anchor.key]
            low, high = max(low, begun + least), min(high, begun + most)
        return _near(low, high, wish)

    def _session_starts(self, trip: Trip, low: int, high: int) -> Iterator[int]:
        """AI by the ranch itself, as early as can be."""
        assert trip.ai is not None and self.need.anchor is not None  # noqa: PT018
        gap = self.shape.gaps[trip.ai.key]
        if gap is None:
            return iter(())
        begun = self.times.get(self.need.anchor.key)
        if begun is not None:
            return _early(max(low, begun + gap[0]), min(high, begun + gap[1]))
        found = self.visits.window(self.need, trip, self.item.ai_day, self.shape, self.item.treatment)
        return _early(*found) if found else iter(())

    def _anchor_starts(self, low: int, high: int) -> Iterator[int]:
        """Treatment, so that waits sit in the middle of what is allowed."""
        found = self.visits.treatment_range(self.need, self.item.ai_day, self.item.crew_rate)
        if found is None:
            return iter(())
        low, high = max(low, found[0]), min(high, found[1])
        if self.item.treatment is not None:  # the visits' windows were cut to it
            first, last = self.item.treatment
            return _near(max(low, first), min(high, last), (first + last) // 2)
        wish: int | None = None
        for trip in self.need.sessions:
            gap = self.shape.gaps[trip.ai.key] if trip.ai else None
            if gap is None:
                return iter(())
            if trip.key in self.times:
                first, last = self.times[trip.key] - gap[1], self.times[trip.key] - gap[0]
                low, high = max(low, first), min(high, last)
                wish = (first + last) // 2 if wish is None else wish
        return _near(low, high, low + 60 if wish is None else wish)

    def _same_clock(self, trip: Trip, low: int) -> int:
        """The hour of the treatment that hours are counted from, on this trip's day."""
        anchor = self.need.anchor
        if anchor is None or anchor.key not in self.times:
            return low + 60
        return self.times[anchor.key] + (trip.day - anchor.day) * 1440


def _agree(one: Kept, other: Kept) -> bool:
    """Whether two groups that are kept are never in the chute at once, but at stalls."""
    return all(
        _free(span, [there]) or one.beside(span, other, there) or (span in one.done and there in other.done)
        for span in one.spans
        for there in other.spans
    )


def _free(span: Span, busy: Sequence[Span]) -> bool:
    first, last = span
    for begin, end in busy:  # noqa: SIM110 (a generator takes three times as long, and this is asked most often of all)
        if begin < last and first < end:
            return False
    return True


def _all_free(spans: Sequence[Span], busy: Sequence[Span]) -> bool:
    for span in spans:  # noqa: SIM110
        if not _free(span, busy):
            return False
    return True


def _spans(pattern: Pattern, start: int) -> Iterator[Span]:
    for offset, length in zip(pattern.offsets, pattern.lengths, strict=True):
        yield start + offset, start + offset + length


def _early(first: int, last: int) -> Iterator[int]:
    """The first start, then quarter hours, then halves."""
    if first > last:
        return
    yield first
    start, tries = first - first % GRID + GRID, 0
    while start <= last and tries < _EARLY_TRIES:
        yield start
        tries += 1
        start += GRID if tries < 4 else 2 * GRID


def _near(low: int, high: int, wish: int) -> Iterator[int]:
    """Starts between two minutes, the nearest to the wish first, in quarter hours."""
    if low > high:
        return
    centre = min(max(wish, low), high)
    yield centre
    for step in range(GRID, max(centre - low, high - centre) + GRID, GRID):
        if centre - step >= low:
            yield centre - step
        if centre + step <= high:
            yield centre + step
