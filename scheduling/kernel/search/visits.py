"""Visits: a technician's stop for a group on a possible AI day, with the window in which it may start. Minutes UTC."""

from collections.abc import Iterator
from datetime import date, time, timedelta
from math import ceil, floor
from typing import Any

from scheduling.kernel.search.model import HEAT_BAND, Model, Need, Part, Trip, Work, day_of, hour_anchor, minute_of
from scheduling.kernel.search.shape import Pattern, Shape, shape_of
from scheduling.kernel.search.within_reach import choices_in_reach
from scheduling.kernel.season import Order
from scheduling.kernel.sessions import session_head

# When treatment must start, where several visits hang together by hours: earliest and latest minute. None: it may float.
Treatment = tuple[int, int] | None
# How a visit is made again from its need, AI day and treatment: the arguments of `visit`, `share` or `pinned` after the need.
Origin = tuple[str, tuple[Any, ...]]
_NOON = time(12)
_CHOICES = 5
_GRID = 15
_EVER = 10**9


class Visit:
    """One stop. `low`/`high` bound its start, `spans` are its lots from the start, `head` counts towards the day's limit.

    `lots` are the lots' numbers.

    Visits are interned: the same stop is the same object, so that routes can be told apart by identity.
    """

    __slots__ = (
        "ai",
        "ai_day",
        "day",
        "head",
        "heads",
        "high",
        "key",
        "last",
        "length",
        "lots",
        "low",
        "need",
        "noon",
        "origin",
        "place",
        "road",
        "row",
        "spans",
        "treatment",
    )

    def __init__(
        self,
        need: Need,
        work: Work,
        start: tuple[int, int],
        spans: tuple[tuple[int, int], ...],
        heads: tuple[int, ...],
        days: tuple[int, int],
        row: tuple[object, ...],
        last: bool,
        ai_day: int,
        treatment: Treatment,
        road: list[tuple[float, int]],
        origin: Origin,
        lots: tuple[int, ...],
    ) -> None:
        self.origin, self.lots = origin, lots
        self.need, self.key, self.place, self.road = need, work.key, need.place, road
        self.low, self.high = start
        self.spans, self.heads = spans, heads
        self.length = spans[-1][0] + spans[-1][1]
        self.ai = work.part is not Part.SERVICE
        self.head = sum(heads) if self.ai else 0
        self.day, self.noon = days
        self.row, self.last = row, last
        self.ai_day, self.treatment = ai_day, treatment

    def late_halves(self, start: int) -> int:
        """Started half hours of AI after noon, over its lots."""
        if not self.ai or start + self.length <= self.noon:
            return 0
        halves = 0
        for offset, length in self.spans:
            late = start + offset + length - max(self.noon, start + offset)
            if late > 0:
                halves += -(-late // 30)
        return halves


class Visits:
    """Makes and keeps the visits of a model."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self._shapes: dict[tuple[Need, float], Shape] = {}
        self._made: dict[tuple[object, ...], Visit | None] = {}
        self._alike: dict[tuple[object, ...], Visit] = {}
        self._treatments: dict[tuple[Need, int], tuple[Treatment, ...]] = {}
        self._roomy: dict[tuple[Need, int, float], bool] = {}
        self._ranges: dict[tuple[Need, int, float], tuple[int, int] | None] = {}
        self._both: dict[
            tuple[Need, int, int, tuple[float, float], Treatment],
            tuple[tuple[int, int] | None, tuple[tuple[int, ...], tuple[int, ...]], tuple[tuple[int, int], ...]],
        ] = {}

    def shape(self, need: Need, ai_rate: float) -> Shape:
        """The shape of a group's handling at an AI rate."""
        key = (need, ai_rate)
        found = self._shapes.get(key)
        if found is None:
            found = self._shapes[key] = shape_of(need, ai_rate)
        return found

    def hours(self, need: Need, ordinal: int, length: int) -> tuple[int, int]:
        """Earliest and latest start of a handling of some minutes inside the ranch's handling hours, none of it in the past."""
        day, ranch = date.fromordinal(ordinal), need.ranch
        opens = max(minute_of(day, ranch.opens, ranch.zone), self.model.not_before)
        return opens, minute_of(day, ranch.closes, ranch.zone) - length

    # -- treatment ------------------------------------------------------------------------------------------------
    def treatment_range(self, need: Need, ai_day: int, ai_rate: float) -> tuple[int, int] | None:
        """Earliest and latest start of the treatment that hours are counted from, those bound to it included."""
        key = (need, ai_day, ai_rate)
        if key not in self._ranges:
            self._ranges[key] = self._treatment_range(need, ai_day, ai_rate)
        return self._ranges[key]

    def _treatment_range(self, need: Need, ai_day: int, ai_rate: float) -> tuple[int, int] | None:
        anchor = need.anchor
        assert anchor is not None
        fixed = need.fixed_start(anchor)
        if fixed is not None:
            return fixed, fixed
        patterns = self.shape(need, ai_rate).patterns
        low, high = self.hours(need, ai_day + anchor.day, patterns[anchor.key].length)
        for trip, (least, most) in bound_trips(need):
            done = need.fixed_start(trip)
            first, last = (
                (done, done) if done is not None else self.hours(need, ai_day + trip.day, patterns[trip.key].length)
            )
            low, high = max(low, first - most), min(high, last - least)
        return (low, high) if low <= high else None

    def treatments(self, need: Need, ai_day: int) -> tuple[Treatment, ...]:
        """Choices for the treatment's start: (None,) where it may float; none where nothing fits."""
        key = (need, ai_day)
        found = self._treatments.get(key)
        if found is None:
            found = self._treatments[key] = tuple(self._choices(need, ai_day))
        return found

    def _choices(self, need: Need, ai_day: int) -> Iterator[Treatment]:
        if need.anchor is None or need.coupled < 2:
            yield None
            return
        fixed = need.fixed_start(need.anchor)
        if fixed is not None:
            yield fixed, fixed
            return
        rate = (
            self.model.people[need.able[0]].rate if need.able and need.works[0].part is Part.AI else need.ranch.ai_rate
        )
        bounds = self.anchor_window(need, ai_day, rate)
        if bounds is None:
            return
        width = self._width(need, rate)
        last = max(bounds[0], bounds[1] - width)
        starts = dict.fromkeys(_spread(bounds[0], last))
        known = [(start, min(start + width, bounds[1])) for start in starts]
        yield from known
        yield from choices_in_reach(self, need, ai_day, known, bounds, width)

    def anchor_window(self, need: Need, ai_day: int, ai_rate: float) -> tuple[int, int] | None:
        """Treatment starts for which every timed session finds an hour."""
        found = self.treatment_range(need, ai_day, ai_rate)
        if found is None:
            return None
        low, high = found
        shape, anchor = self.shape(need, ai_rate), need.anchor
        assert anchor is not None
        for trip in need.sessions:
            assert trip.ai is not None
            gap = shape.gaps[trip.ai.key]
            if gap is None:
                return None
            done = need.fixed_start(trip)
            if done is not None and need.fixed_start(anchor) is not None:
                continue  # what was carried out is as far apart as it is
            hours = self.hours(need, ai_day + trip.day, shape.patterns[trip.key].length)
            first, last = hours if done is None else (done, done)
            low, high = max(low, first - gap[1]), min(high, last - gap[0])
        return (low, high) if low <= high else None

    def _width(self, need: Need, ai_rate: float) -> int:
        """How far a bought treatment may float: half the gap's width with one session, else not at all."""
        if need.coupled > 2 or len(need.sessions) != 1:
            return 0
        ai = need.sessions[0].ai
        gap = self.shape(need, ai_rate).gaps[ai.key] if ai else None
        return (gap[1] - gap[0]) // 2 if gap else 0

    def roomy(self, need: Need, ai_day: int, ai_rate: float) -> bool:
        """Whether every open trip fits the ranch's handling hours by itself, and what was carried out the season's days."""
        key = (need, ai_day, ai_rate)
        found = self._roomy.get(key)
        if found is None:
            patterns = self.shape(need, ai_rate).patterns
            windows = (
                self.hours(need, ai_day + trip.day, patterns[trip.key].length)
                for trip in need.trips
                if need.fixed_start(trip) is None
            )
            found = all(low <= high for low, high in windows)
            self._roomy[key] = found = found and self._done_in_season(need, ai_rate)
        return found

    def _done_in_season(self, need: Need, ai_rate: float) -> bool:
        """Whether what was carried out also ends within the season: a large group may run past its last day."""
        season, zone = self.model.season, need.ranch.zone
        for trip in need.trips:
            done = need.fixed_start(trip)
            if done is None:
                continue
            ends = done + self.shape(need, ai_rate).patterns[trip.key].length
            if day_of(done, zone) < season.first_day or day_of(ends, zone) > season.last_day:
                return False
        return True

    # -- visits ---------------------------------------------------------------------------------------------------
    def visit(
        self,
        need: Need,
        number: int,
        ai_day: int,
        rate: float,
        crew_rate: float,
        treatment: Treatment,
        later: bool = False,
    ) -> Visit | None:
        """The visit for one of the need's works by one technician; None where its window is empty.

        `rate` is the technician's, `crew_rate` that of the first session, which sets the lots. A technician's day is the
        season's: where the ranch's day spans two of them, the visit is of the first, or `later` of the second.
        """
        key = (need, number, ai_day, rate, crew_rate, treatment, later)
        if key not in self._made:
            self._made[key] = self._make(need, number, ai_day, rate, crew_rate, treatment, later)
        return self._made[key]

    def _make(
        self,
        need: Need,
        number: int,
        ai_day: int,
        rate: float,
        crew_rate: float,
        treatment: Treatment,
        later: bool,
    ) -> Visit | None:
        work = need.works[number]
        row = (need.index, number, ai_day, treatment)
        origin = ("visit", (number, ai_day, rate, crew_rate, treatment, later))
        if work.heat is not None:
            head = work.heat.head(need.group.head)
            length = ceil(head / rate * 60 - 1e-9)
            window = self._heat_window(need, ai_day + work.day, work.heat.morning, length)
            window = self._of_one_day(need, window, later)
            return self._visit(need, work, ai_day, window, ((0, length),), (head,), row, treatment, origin)
        assert work.trip is not None
        shape = self.shape(need, rate if work.part is Part.AI else crew_rate)
        if work.part is Part.AI and not self._keeps_step(need, shape, crew_rate, work.trip):
            return None
        window = self._of_one_day(need, self.window(need, work.trip, ai_day, shape, treatment), later)
        heads = self.heads(need, work.trip, shape)
        return self._visit(
            need, work, ai_day, window, _spans(shape.patterns[work.trip.key]), heads, row, treatment, origin
        )

    def share(
        self,
        need: Need,
        number: int,
        ai_day: int,
        rates: tuple[float, float],
        treatment: Treatment,
        start: int,
        mine: int,
    ) -> Visit | None:
        """One of two technicians' visits to a session that they do at once from `start`."""
        key = (need, number, ai_day, rates, treatment, start, mine)
        if key not in self._made:
            window, shares, spans = self._together(need, number, ai_day, rates, treatment)
            fits = window is not None and window[0] <= start <= window[1] and all(shares[mine])
            row = (need.index, number, ai_day, treatment, start, rates, mine)
            origin = ("share", (number, ai_day, rates, treatment, start, mine))
            at = (start, start) if fits else None
            work = need.works[number]
            self._made[key] = self._visit(need, work, ai_day, at, spans, shares[mine], row, treatment, origin)
        return self._made[key]

    def _together(
        self, need: Need, number: int, ai_day: int, rates: tuple[float, float], treatment: Treatment
    ) -> tuple[tuple[int, int] | None, tuple[tuple[int, ...], tuple[int, ...]], tuple[tuple[int, int], ...]]:
        """When a session by two at once can start, the head of each by lots, its lots in time."""
        key = (need, number, ai_day, rates, treatment)
        found = self._both.get(key)
        if found is None:
            trip, shape = need.works[number].trip, self.shape(need, sum(rates))
            assert trip is not None
            both = [two_shares(total, rates) for total in self.heads(need, trip, shape)]
            shares = tuple(one for one, _ in both), tuple(other for _, other in both)
            window = self.window(need, trip, ai_day, shape, treatment)
            found = self._both[key] = window, shares, _spans(shape.patterns[trip.key])
        return found

    def pinned(
        self,
        need: Need,
        number: int,
        ai_day: int,
        spans: tuple[tuple[int, int], ...],
        heads: tuple[int, ...],
        lots: tuple[int, ...] = (),
    ) -> Visit:
        """A visit at the very times (start, end of each lot) of a plan that is kept; of all lots, or of these."""
        key = (need, number, ai_day, spans, heads, lots)
        found = self._made.get(key)
        if found is None:
            start = spans[0][0]
            lengths = tuple((begin - start, end - begin) for begin, end in spans)
            row = (need.index, number, ai_day, "kept", spans, heads, lots)
            origin = ("pinned", (number, ai_day, spans, heads, lots))
            found = self._visit(
                need, need.every_work[number], ai_day, (start, start), lengths, heads, row, None, origin, lots
            )
            assert found is not None
            self._made[key] = found
        return found

    def again(self, need: Need, origin: Origin) -> Visit | None:
        """The visit that was made in this way, of a need of this model."""
        made: Visit | None = getattr(self, origin[0])(need, *origin[1])
        return made

    def _visit(
        self,
        need: Need,
        work: Work,
        ai_day: int,
        window: tuple[int, int] | None,
        spans: tuple[tuple[int, int], ...],
        heads: tuple[int, ...],
        row: tuple[object, ...],
        treatment: Treatment,
        origin: Origin,
        lots: tuple[int, ...] = (),
    ) -> Visit | None:
        if window is None or window[0] > window[1]:
            return None
        day = day_of(window[0], self.model.season.zone)
        noon = minute_of(date.fromordinal(ai_day + work.day), _NOON, need.ranch.zone)
        last = self.model.last_stop[need.place]
        days = (day.toordinal(), noon)
        road = self.model.road(need.place)
        numbers = lots or tuple(range(len(spans)))
        alike = (need, row, window, spans, heads, days, numbers)  # another crew's pace need not make another stop
        if alike not in self._alike:
            self._alike[alike] = Visit(
                need, work, window, spans, heads, days, row, last, ai_day, treatment, road, origin, numbers
            )
        return self._alike[alike]

    def _of_one_day(self, need: Need, window: tuple[int, int] | None, later: bool) -> tuple[int, int] | None:
        """The part of a window that lies in the first of the season's days that it spans, or in the second."""
        zone = self.model.season.zone
        if window is None or need.ranch.zone == zone:
            return None if later else window
        midnight = minute_of(day_of(window[0], zone) + timedelta(days=1), time(), zone)
        return (midnight, window[1]) if later else (window[0], min(window[1], midnight - 1))

    def _heat_window(self, need: Need, ordinal: int, morning: bool, length: int) -> tuple[int, int] | None:
        low, high = self.hours(need, ordinal, length)
        day = date.fromordinal(ordinal)
        noon = minute_of(day, _NOON, need.ranch.zone)
        if morning:
            return low, min(high, minute_of(day, need.ranch.opens, need.ranch.zone) + HEAT_BAND, noon - 1)
        return max(low, high - HEAT_BAND, noon), high

    def _keeps_step(self, need: Need, shape: Shape, crew_rate: float, trip: Trip) -> bool:
        """Whether the technician takes the lots at the distances of the first crew: else later lots would wait differently."""
        first = self.shape(need, crew_rate)
        return shape.lots == first.lots and shape.patterns[trip.key].offsets == first.patterns[trip.key].offsets

    def window(self, need: Need, trip: Trip, ai_day: int, shape: Shape, treatment: Treatment) -> tuple[int, int] | None:
        """Earliest and latest start of a trip; None where there is none."""
        fixed = need.fixed_start(trip)
        if fixed is not None:
            found = (
                self._session_window(need, trip, ai_day, shape, treatment) if trip.ai is not None else (fixed, fixed)
            )
            return (fixed, fixed) if found and found[0] - 1 <= fixed <= found[1] + 1 else None
        low, high = self.hours(need, ai_day + trip.day, shape.patterns[trip.key].length)
        if trip.ai is not None:
            found = self._session_window(need, trip, ai_day, shape, treatment)
            if found is None:
                return None
            low, high = max(low, found[0]), min(high, found[1])
        elif trip is need.anchor:
            found = treatment if treatment is not None else self.anchor_window(need, ai_day, shape.ai_rate)
            if found is None:
                return None
            low, high = max(low, found[0]), min(high, found[1])
        else:
            begun = need.fixed_start(need.anchor) if need.anchor is not None else None
            after = treatment if begun is None else (begun, begun)
            if after is not None:
                gap = next((gap for bound, gap in bound_trips(need) if bound is trip), (-_EVER, _EVER))
                low, high = max(low, after[1] + gap[0]), min(high, after[0] + gap[1])
        return (low, high) if low <= high else None

    def _session_window(
        self, need: Need, trip: Trip, ai_day: int, shape: Shape, treatment: Treatment
    ) -> tuple[int, int] | None:
        assert trip.ai is not None
        gap = shape.gaps[trip.ai.key]
        if gap is None:
            return None
        found = self.treatment_range(need, ai_day, shape.ai_rate)
        if treatment is not None:  # chosen for some crew: another's lots may need the chute for longer
            if found is None or treatment[0] < found[0] or treatment[1] > found[1]:
                return None
            return treatment[1] + gap[0], treatment[0] + gap[1]
        return (found[0] + gap[0], found[1] + gap[1]) if found else None

    def heads(self, need: Need, trip: Trip, shape: Shape) -> tuple[int, ...]:
        """Head at each lot of a trip, as they are booked."""
        if trip.ai is None:
            return shape.lots
        return tuple(session_head(need.protocol, trip.ai, head) for head in shape.lots)


def bound_trips(need: Need) -> Iterator[tuple[Trip, tuple[int, int]]]:
    """Treatment trips that follow the anchor within hours, with the least and most minutes between the two starts."""
    for trip in need.trips:
        step = hour_anchor(trip)
        if (
            step is not None
            and step.after is not None
            and need.anchor is not None
            and step.after.step in need.anchor.keys
        ):
            low, high = step.after.window
            slack = order_slack(need)
            yield trip, (ceil(low * 60) + slack, floor(high * 60) - slack)


def order_slack(need: Need) -> int:
    """Minutes that any order through the chute adds on both sides of a treatment-to-treatment interval."""
    if need.group.order is Order.KEPT:
        return 0
    return ceil((need.group.head - 1) / need.ranch.treat_rate * 60)


def two_shares(total: int, rates: tuple[float, float]) -> tuple[int, int]:
    """Head for each of two technicians by their rates; the sum is exact."""
    one = round(total * rates[0] / (rates[0] + rates[1]))
    return one, total - one


def _spans(pattern: Pattern) -> tuple[tuple[int, int], ...]:
    return tuple(zip(pattern.offsets, pattern.lengths, strict=True))


def _spread(low: int, high: int) -> Iterator[int]:
    """A few starts from low to high, the ends included, on the quarter hour between them."""
    yield low
    for i in range(1, _CHOICES - 1):
        middle = low + (high - low) * i // (_CHOICES - 1)
        middle += -middle % _GRID
        if low < middle < high:
            yield middle
    yield high
