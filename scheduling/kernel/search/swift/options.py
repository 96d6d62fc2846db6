"""What groups may choose: for each AI day and hour of treatment, the visits of every technician who is near.

A group's choices on one day are those on another, so many days later, as long as the clocks are not changed between. So they
are worked out for one day, and moved: all of XL in 2 s instead of 6.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.model import Need, Part, minute_of
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.search.swift.machine import (
    BESIDE,
    DAYS,
    FROM,
    HEAD,
    HIGH,
    HOURS,
    IS_AI,
    KEY,
    LENGTH,
    LOTS,
    LOW,
    MOST_DAYS,
    MOST_LOTS,
    MOST_ROWS,
    MOST_TRIPS,
    MOST_WORKS,
    MOVED,
    NOON,
    ON,
    OPEN,
    OWNER,
    PLACE,
    ROW,
    SHAPE,
    SPANS,
    TREAT_HIGH,
    TREAT_LOW,
    TRIP,
    UNTIL,
    VISIT,
    WITH,
    WORK,
    Flags,
    Floats,
    Ints,
)
from scheduling.kernel.search.visits import Treatment, Visit

_DAY = 1440
_MOVING = (LOW, HIGH, NOON, TREAT_LOW, TREAT_HIGH)


@dataclass(frozen=True)
class Sample:
    """A group's choices on the first of some days, the others being the same so many days later.

    `made`: visits by work, number of the treatment, pace, days from the AI day; each has a number for every day from `first`
    on.
    `columns` of its options: number of the visit, technician, days from the AI day, treatment times works plus work; `alone`.
    """

    need: Need
    days: tuple[int, ...]
    treatments: tuple[Treatment, ...]
    made: dict[tuple[int, int, float, int], int]
    columns: Ints
    alone: Floats
    first: int


class Options:
    """What may be chosen, as arrays; made once for a search, since it does not hang on the plan."""

    def __init__(self, search: Search, first_day: int) -> None:
        self.search, self.look, self.width = search, search.insertion, search.state.width
        self.first_day = first_day
        self.shapes: dict[tuple[Need, float], int] = {}
        self.rows: list[tuple[Need, int]] = []
        self._samples: list[Sample] = []
        self._starts: list[int] = []
        self._known: dict[int, Visit] = {}
        self._block_of: dict[tuple[int, int, Treatment], int] = {}
        self._visits: list[Ints] = []
        self._blocks: list[Ints] = []
        self._fixed: list[float] = []
        self._options: list[Ints] = []
        self._alone: list[Floats] = []
        self._row_list: list[Ints] = []
        self._sizes = [0, 0, 0]  # visits, blocks, options
        self._off = self._days_off()
        self.groups: list[int] = []
        self.firsts: list[int] = []
        for index in search.free:
            self._add(search.model.needs[index])
        self.firsts.append(self._sizes[1])
        self.visit, self.block, self.option, self.row = (
            np.concatenate(rows) if rows else np.zeros((0, width), dtype=np.int32)
            for rows, width in (
                (self._visits, SPANS + 2 * MOST_LOTS),
                (self._blocks, WORK + MOST_WORKS + 1),
                (self._options, 3),
                (self._row_list, HOURS + 2 * MOST_TRIPS),
            )
        )
        self.alone = np.concatenate(self._alone) if self._alone else np.zeros(0)
        self.fixed = np.array(self._fixed, dtype=np.float64)

    # -- there and back -------------------------------------------------------------------------------------------
    def visit_of(self, number: int) -> Visit:
        """The search's own visit of a number."""
        found = self._known.get(number)
        if found is None:
            sample = self._samples[bisect_right(self._starts, number) - 1]
            made, day = divmod(number - sample.first, len(sample.days))
            work, treatment, rate, on = next(key for key, value in sample.made.items() if value == made)
            ai_day = sample.days[day]
            moved = _moved(sample.treatments[treatment], (ai_day - sample.days[0]) * _DAY)
            visit = self._made(sample.need, work, ai_day, moved, rate, ai_day + on)
            row = self.visit[number]
            assert visit is not None and (visit.low, visit.high) == (row[LOW], row[HIGH])  # noqa: PT018
            found = self._known[number] = visit
        return found

    def chosen(self, item: Assignment) -> tuple[int, ...] | None:
        """The block and the option of each work that an assignment amounts to; None where there is none."""
        if item.kept is not None or item.change or len(item.stops) != len(item.need.works):
            return None
        block = self._block_of.get((item.need.index, item.ai_day, item.treatment))
        if block is None:
            return None
        picked = [block]
        for work, (person, visit) in enumerate(item.stops):
            key = visit.day * self.width + person - self.first_day * self.width
            for option in range(int(self.block[block, WORK + work]), int(self.block[block, WORK + work + 1])):
                if self.option[option, KEY] == key and self.visit_of(int(self.option[option, VISIT])) is visit:
                    picked.append(option)
                    break
            else:
                return None
        return tuple(picked)

    # -- making ---------------------------------------------------------------------------------------------------
    def _days_off(self) -> Ints:
        season = self.search.model.season
        days = (season.last_day - season.first_day).days + 3
        off = np.zeros((self.width, days), dtype=np.int32)
        for person in self.search.model.people:
            for day in person.days_off:
                if 0 <= day - self.first_day < days:
                    off[person.index, day - self.first_day] = 1
        return off

    def _add(self, need: Need) -> None:
        if not _is_plain(need):
            return
        begun, frame = self._sizes[1], self.look.frame(need)
        costs = {day: (fixed, moved) for day, fixed, moved in frame.days}
        for days in self._alike(need):
            sample = self._sample(need, days)
            if sample is not None:
                self._add_days(sample, [costs[day] for day in days])
        if self._sizes[1] > begun:
            self.groups.append(need.index)
            self.firsts.append(begun)

    def _alike(self, need: Need) -> list[tuple[int, ...]]:
        """The group's days in bunches on which the clocks are alike and nothing is over yet."""
        found: dict[object, list[int]] = defaultdict(list)
        season, ranch = self.search.model.season, need.ranch
        for day in need.days:
            first = date.fromordinal(day + min(need.spots))
            is_past = minute_of(first, ranch.opens, ranch.zone) < self.search.model.not_before
            clocks = tuple(
                _clock(zone, day + spot) for zone in (ranch.zone, season.zone) for spot in sorted(need.spots)
            )
            found[day if is_past else clocks].append(day)
        return [tuple(days) for days in found.values()]

    def _sample(self, need: Need, days: tuple[int, ...]) -> Sample | None:
        """Choices on the first of the days; its visits are added for all of them."""
        treatments = self.search.state.visits.treatments(need, days[0])
        near = [(person, self.search.state.routes.alone(person, need.place)) for person in self.look.near(need)]
        made: dict[tuple[int, int, float, int], int] = {}
        rows: list[tuple[Visit, float]] = []
        columns: list[tuple[int, int, int, int]] = []
        alone: list[float] = []
        for number, treatment in enumerate(treatments):
            for work in range(len(need.works)):
                for on in self.look.calendar_days(need, days[0] + need.works[work].day):
                    for person, cost in near:
                        key = (work, number, self.search.model.people[person].rate, on - days[0])
                        if key not in made:
                            visit = self._made(need, work, days[0], treatment, key[2], on)
                            made[key] = len(rows) if visit is not None else -1
                            rows += [(visit, key[2])] if visit is not None else []
                        if made[key] >= 0:
                            columns.append((made[key], person, key[3], number * len(need.works) + work))
                            alone.append(cost)
        if not rows:
            return None
        table = np.array(columns, dtype=np.int32)
        sample = Sample(need, days, treatments, made, table, np.array(alone, dtype=np.float64), self._sizes[0])
        self._samples.append(sample)
        self._starts.append(sample.first)
        self._add_visits(rows, days)
        return sample

    def _made(self, need: Need, work: int, day: int, treatment: Treatment, rate: float, on: int) -> Visit | None:
        """The visit, but none whose lots do not fit in here."""
        service = need.works[work].part is Part.SERVICE
        pace = self.search.model.people[need.able[0]].rate if service else 0.0
        visit = self.look.visit(need, work, day, treatment, pace, rate, on)
        most = MOST_LOTS if len(need.works) == 1 else 1
        return visit if visit is not None and len(visit.spans) <= most else None

    def _add_visits(self, rows: Sequence[tuple[Visit, float]], days: Sequence[int]) -> None:
        found = visit_rows([visit for visit, _ in rows])
        for i, (visit, rate) in enumerate(rows):
            shape = self.shapes.setdefault((visit.need, rate), len(self.shapes))
            treat = self.search.state.visits.treatment_range(visit.need, visit.ai_day, rate) or (0, -1)
            found[i, (SHAPE, TREAT_LOW, TREAT_HIGH, OWNER)] = (shape, *treat, len(self.groups))
        spread = np.repeat(found, len(days), axis=0)
        shift = np.tile((np.array(days, dtype=np.int32) - days[0]) * _DAY, len(rows))
        for column in _MOVING:
            spread[:, column] += shift
        self._visits.append(spread)
        self._sizes[0] += len(spread)

    def _add_days(self, sample: Sample, costs: Sequence[tuple[float, int]]) -> None:
        """The blocks and options on a sample's days: of each day and treatment for which somebody can come for every work."""
        visits, people, on_day, place = sample.columns.T
        works, days = len(sample.need.works), np.array(sample.days, dtype=np.int32)
        on = on_day + (days - self.first_day)[:, None]
        there = self._off[people, on] == 0
        flat = np.zeros((len(days), len(sample.treatments) * works), dtype=np.int32)
        starts = np.flatnonzero(np.diff(place, prepend=-1))
        flat[:, place[starts]] = np.add.reduceat(there, starts, axis=1, dtype=np.int32)
        counts: Ints = flat.reshape(len(days), -1, works)
        whole: Flags = np.all(counts, axis=2)
        there &= whole[:, place // works]
        counts *= whole[:, :, None]
        day, column = np.nonzero(there)
        options = np.empty((len(day), 3), dtype=np.int32)
        options[:, VISIT] = sample.first + visits[column] * len(days) + day
        options[:, KEY] = on[day, column] * self.width + people[column]
        options[:, WITH] = self._visits[-1][options[:, VISIT] - sample.first, HEAD]
        self._options.append(options)
        self._alone.append(sample.alone[column])
        self._add_blocks(sample, costs, whole, counts)
        self._sizes[2] += len(options)

    def _add_blocks(self, sample: Sample, costs: Sequence[tuple[float, int]], whole: Flags, counts: Ints) -> None:
        works = counts.shape[2]
        day, number = np.nonzero(whole)
        used = np.flatnonzero(whole.any(axis=1)).astype(np.int32)
        ends = self._sizes[2] + np.cumsum(counts).reshape(counts.shape)
        shift: Ints = (np.array(sample.days, dtype=np.int32) - sample.days[0]) * _DAY
        hours = np.array([treatment or (-1, -1) for treatment in sample.treatments], dtype=np.int32)
        blocks = np.zeros((len(day), WORK + MOST_WORKS + 1), dtype=np.int32)
        blocks[:, MOVED] = np.array([moved for _, moved in costs], dtype=np.int32)[day]
        blocks[:, ROW], blocks[:, OPEN] = len(self.rows) + np.searchsorted(used, day), 1
        floats = (hours[number, 0] < 0)[:, None]
        blocks[:, FROM : UNTIL + 1] = np.where(floats, -1, hours[number] + shift[day][:, None])
        blocks[:, WORK] = ends[day, number, 0] - counts[day, number, 0]
        blocks[:, WORK + 1 : WORK + 1 + works] = ends[day, number]
        for i, (at, treatment) in enumerate(zip(day.tolist(), number.tolist(), strict=True)):
            moved = _moved(sample.treatments[treatment], int(shift[at]))
            self._block_of[sample.need.index, sample.days[at], moved] = self._sizes[1] + i
        self._blocks.append(blocks)
        self._fixed += [costs[at][0] for at in day.tolist()]
        self._sizes[1] += len(blocks)
        self._add_rows(sample, used, shift)

    def _add_rows(self, sample: Sample, used: Ints, shift: Ints) -> None:
        """A row for each of a sample's days that are used."""
        need, first = sample.need, sample.days[0]
        one = np.full(HOURS + 2 * MOST_TRIPS, -1, dtype=np.int32)
        on = sorted(need.days_on(first))
        hours = [value for trip in need.trips for value in self.search.state.visits.hours(need, first + trip.day, 0)]
        one[BESIDE], one[ON] = need.place in self.search.state.blocked, first - self.first_day
        one[DAYS : DAYS + len(on)], one[HOURS : HOURS + len(hours)] = on, hours
        rows = np.repeat(one[None, :], len(used), axis=0)
        rows[:, ON] += shift[used] // _DAY
        rows[:, DAYS : DAYS + len(on)] += (shift[used] // _DAY)[:, None]
        rows[:, HOURS : HOURS + len(hours)] += shift[used][:, None]
        self._row_list.append(rows)
        self.rows += [(need, sample.days[day]) for day in used.tolist()]


def visit_rows(visits: Sequence[Visit]) -> Ints:
    """Visits as rows, owned by nobody."""
    most = max(MOST_LOTS, max((len(visit.spans) for visit in visits), default=1))
    found = np.zeros((len(visits), SPANS + 2 * most), dtype=np.int32)
    for i, visit in enumerate(visits):
        trip = next((k for k, trip in enumerate(visit.need.trips) if visit.key in trip.keys), 0)
        found[i, (LOW, HIGH, LENGTH, HEAD)] = visit.low, visit.high, visit.length, visit.head
        found[i, (NOON, PLACE, IS_AI, TRIP)] = visit.noon, visit.place, visit.ai, trip
        found[i, (LOTS, OWNER, TREAT_HIGH)] = len(visit.spans), -1, -1
        found[i, SPANS : SPANS + 2 * len(visit.spans)] = [value for span in visit.spans for value in span]
    return found


def _is_plain(need: Need) -> bool:
    """Whether technicians do all the AI of a group, with nothing else to hold it."""
    parts = {work.part for work in need.works}
    if Part.HEAT in parts or not need.works or need.works[0].part is not Part.AI or not need.able:
        return False
    free = not need.fixed and need.anchor is not None
    sizes = ((need.trips, MOST_TRIPS), (need.works, MOST_WORKS), (need.spots, MOST_DAYS), (need.days, MOST_ROWS))
    return free and all(len(found) <= most for found, most in sizes)


def _moved(treatment: Treatment, minutes: int) -> Treatment:
    return None if treatment is None else (treatment[0] + minutes, treatment[1] + minutes)


@lru_cache(maxsize=100_000)
def _clock(zone: ZoneInfo, ordinal: int) -> tuple[timedelta | None, ...]:
    """What the zone's clocks are ahead of UTC when a day begins and ends."""
    day = date.fromordinal(ordinal)
    return tuple(datetime.combine(day, clock, zone).utcoffset() for clock in (time(), time(23, 59)))
