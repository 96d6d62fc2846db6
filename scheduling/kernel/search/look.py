"""Where a group could go at all, and a bound on what that costs: cheap to know before a technician's day is worked out."""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import inf

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.model import Need, Part, day_of, minute_of
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.shape import Shape
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Treatment, Visit

NEAREST = 8

Days = dict[int, Route]
Stops = tuple[tuple[int, Visit], ...]
# One technician on one day: least cost, key of the day, technician.
Place = tuple[float, int, int]


@dataclass(frozen=True)
class Wish:
    """What a plan to be kept says of a group: its day, its technicians, and the place to the minute where that still holds."""

    day: int
    people: frozenset[int]
    kept: Assignment | None


# The price of change when a plan is repaired: a group on another day (dearer than a technician-day, so that nobody moves only
# to fill one), each day, another technician, another hour.
CHANGED_DAY, PER_DAY, CHANGED_PEOPLE, CHANGED_HOUR = 450.0, 30.0, 40.0, 10.0


class Candidate:
    """A way to put a group in, and what it adds to the cost."""

    __slots__ = ("cost", "days", "item")

    def __init__(self, cost: float, item: Assignment, days: Days) -> None:
        self.cost, self.item, self.days = cost, item, days


class Frame:
    """What stays of a group while a season is searched: days (day, own cost, days moved), least head and places by work.

    `fixed`: what each day costs, whoever comes, by the worst move of all other groups.
    """

    __slots__ = ("days", "fixed", "head", "rows")

    def __init__(
        self,
        days: tuple[tuple[int, float, int], ...],
        head: tuple[int, ...],
        rows: tuple[tuple[tuple[Place, ...], ...], ...],
    ) -> None:
        self.days, self.head, self.rows = days, head, rows
        self.fixed: dict[int, list[float]] = {}


class Look:
    """How widely places are looked for, and what they cost at least.

    `blink` is the chance that a technician-day is overlooked (for variety), `nearest` how many technicians are tried,
    `thorough` whether every treatment and pair is.
    """

    def __init__(self, state: State, wishes: Mapping[int, Wish], rng: random.Random) -> None:
        self.state, self.wishes, self.rng = state, wishes, rng
        self.blink = 0.0
        self.nearest = NEAREST
        self.thorough = False
        self._frames: dict[Need, Frame] = {}
        self._known: dict[tuple[Need, int, int, Treatment, float, float, int], Visit | None] = {}

    def look_at(self, nearest: int) -> None:
        """Try so many technicians, the nearest."""
        self.nearest, self._frames = nearest, {}

    # -- what does not change -------------------------------------------------------------------------------------
    def near(self, need: Need) -> tuple[int, ...]:
        """Technicians worth trying: the nearest, all who live as near as the last of these, those of the plan to be kept."""
        able, road, people = need.able, self.state.model.road(need.place), self.state.model.people
        if len(able) > self.nearest:
            far = road[people[able[self.nearest - 1]].base][0]
            able = tuple(person for person in able if road[people[person].base][0] <= far)
        wish = self.wishes.get(need.index)
        if wish is None:
            return able
        return tuple(dict.fromkeys([*(person for person in need.able if person in wish.people), *able]))

    def frame(self, need: Need) -> Frame:
        """The group's frame, made once."""
        found = self._frames.get(need)
        if found is None:
            found = self._frames[need] = self._make_frame(need)
        return found

    def _make_frame(self, need: Need) -> Frame:
        weights, model = self.state.model.season.weights, self.state.model
        days = []
        for day in need.days:
            moved = abs(day - need.wanted)
            rest = weights.rest_day * model.rest_days(need, day) if weights.rest_day else 0.0
            days.append((day, weights.day_moved * moved + rest, moved))
        head = tuple(self._least_head(need, number) for number in range(len(need.works)))
        near = [(person, self.state.routes.alone(person, need.place)) for person in self.near(need)]
        rows = tuple(
            tuple(tuple(self._places(need, number, day, near)) for day in need.days)
            for number in range(len(need.works))
        )
        return Frame(tuple(days), head, rows)

    def _least_head(self, need: Need, number: int) -> int:
        """What a visit counts at least towards a technician's head of the day, whoever comes."""
        work, visits = need.works[number], self.state.visits
        if work.heat is not None:
            return work.heat.head(need.group.head)
        if work.part is Part.SERVICE or work.trip is None:
            return 0
        rates = {self.state.model.people[person].rate for person in need.able} | {need.ranch.ai_rate}
        return min(sum(visits.heads(need, work.trip, visits.shape(need, rate))) for rate in rates)

    def _places(self, need: Need, number: int, day: int, near: Sequence[tuple[int, float]]) -> list[Place]:
        people, width = self.state.model.people, self.state.width
        return [
            (alone, on * width + person, person)
            for on in self.calendar_days(need, day + need.works[number].day)
            for person, alone in near
            if on not in people[person].days_off
        ]

    def calendar_days(self, need: Need, ordinal: int) -> list[int]:
        """The season's days on which a visit of this day at the ranch can begin: one, but for far zones and steps done."""
        zone, ranch = self.state.model.season.zone, need.ranch
        if need.fixed:
            return [ordinal, ordinal - 1, ordinal + 1]
        if ranch.zone == zone:
            return [ordinal]
        on = date.fromordinal(ordinal)
        hours = (minute_of(on, ranch.opens, ranch.zone), minute_of(on, ranch.closes, ranch.zone))
        first, last = (day_of(minute, zone) for minute in hours)
        return [(first + timedelta(days=i)).toordinal() for i in range((last - first).days + 1)]

    # -- bounds ---------------------------------------------------------------------------------------------------
    def fixed_costs(self, need: Need) -> list[float]:
        """What each of the group's days costs, whoever comes, in their order."""
        worst, frame = self.state.worst_move(), self.frame(need)
        costs = frame.fixed.get(worst)
        if costs is None:
            dear = self.state.model.season.weights.worst_move
            costs = [cost + dear * (moved - worst) if moved > worst else cost for _, cost, moved in frame.days]
            frame.fixed[worst] = costs
        wish = self.wishes.get(need.index) if self.wishes else None
        if wish is None:
            return costs
        apart = (abs(day - wish.day) for day in need.days)
        return [cost + CHANGED_DAY + PER_DAY * days if days else cost for cost, days in zip(costs, apart, strict=True)]

    def least(self, need: Need, i: int, most: float) -> float:
        """What all works of a group on its day number `i` add at least; infinite where nobody can come, or past `most`."""
        frame, taken, routes = self.frame(need), self.state.days, self.state.routes
        limits, detour, place, total = routes.most, routes.detour, need.place, 0.0
        for rows, head in zip(frame.rows, frame.head, strict=True):
            best = inf
            for alone, key, person in rows[i]:
                old = taken.get(key)
                if old is None:
                    if alone < best:
                        best = alone
                elif old.head + head <= limits[person]:
                    more = detour(old, place)
                    if more < best:
                        best = more
            total += best
            if total > most:
                return inf
        return total

    def bounds(self, need: Need, number: int, i: int) -> list[Place]:
        """For a work of a group on its day number `i`: every technician with the least that the visit adds, the least first."""
        frame, state = self.frame(need), self.state
        taken, people, detour = state.days, state.model.people, state.routes.detour
        place, head, found = need.place, frame.head[number], []
        for row in frame.rows[number][i]:
            old = taken.get(row[1])
            if old is None:
                found.append(row)
            elif old.head + head <= people[row[2]].technician.max_head_per_day:
                found.append((detour(old, place), row[1], row[2]))
        found.sort()
        return found

    # -- exact ----------------------------------------------------------------------------------------------------
    def visit(
        self, need: Need, number: int, day: int, treatment: Treatment, pace: float, rate: float, on: int
    ) -> Visit | None:
        """The visit for one of the need's works by a technician of this rate on this season day; None where there is none.

        With `pace` 0 each technician works at the own pace: in the first session, which sets the lots, and in later ones
        of a group that is one lot for the first and for themselves.
        """
        key = (need, number, day, treatment, pace, rate, on)
        try:
            return self._known[key]
        except KeyError:
            found = self._known[key] = self._visit(*key)
            return found

    def _visit(
        self, need: Need, number: int, day: int, treatment: Treatment, pace: float, rate: float, on: int
    ) -> Visit | None:
        visits = self.state.visits
        visit = visits.visit(need, number, day, rate, pace or rate, treatment)
        if visit is not None and visit.day < on and self.state.model.spills(need.place):
            visit = visits.visit(need, number, day, rate, pace or rate, treatment, later=True)
        if visit is None or visit.day != on or not visits.roomy(need, day, pace or rate):
            return None
        return visit if pace or number == 0 or len(visit.spans) == 1 else None

    def added(self, person: int, visit: Visit, days: Days | None) -> tuple[float, Route] | None:
        """What a visit adds to a technician's day where it is cheapest, with the day's route; None where it does not fit."""
        state = self.state
        key = visit.day * state.width + person
        old = days.get(key) if days else None
        if old is None:
            old = state.days.get(key)
        if old is None:
            new = None if visit.day in state.model.people[person].days_off else state.routes.route(person, (visit,))
            if new is None:
                return None
            return new.cost + (state.one_more_day(person) if state.model.load_price else 0.0), new
        best = state.routes.with_visit(old, visit)
        return None if best is None else (best.cost - old.cost, best)

    def all_added(self, stops: Stops, changed: Days | None = None) -> tuple[float, Days] | None:
        """What visits add in all to days of which some are changed, with the days' routes; None where one does not fit."""
        cost, days = 0.0, dict(changed or {})
        for person, visit in stops:
            found = self.added(person, visit, days)
            if found is None:
                return None
            cost += found[0]
            days[visit.day * self.state.width + person] = found[1]
        return cost, days

    def barn(self, need: Need, day: int, stalls: int) -> int | None:
        """A barn for the group's AI, -1 where it needs none; None where every barn is elsewhere."""
        if not (need.group.needs_barn and any(work.part is Part.AI for work in need.works)):
            return -1
        found = self.state.barn_for(need, (day + trip.day for trip in need.sessions), stalls)
        return None if found < 0 else found

    def candidate(
        self,
        need: Need,
        day: int,
        treatment: Treatment,
        crew_rate: float,
        stops: Stops,
        barn: int,
        days: Days,
        cost: float,
    ) -> Candidate:
        """The candidate, with the price of not being where the plan to be kept has the group.

        Whoever came to what was carried out stays there: other lots than those, or to be at two places at once, cost more than
        anything.
        """
        wish = self.wishes.get(need.index) if self.wishes and need.past else None
        was = wish.kept if wish is not None else None
        past = was.past if was is not None else ()
        if past and was is not None:
            alike = _cut_alike(was, self.state.visits.shape(need, crew_rate))
            more, days = (self.all_added(past, days) if alike else None) or (inf, days)
            cost, stops = cost + more, (*stops, *past) if more < inf else stops
        return self.priced(need, day, Assignment(need, day, treatment, crew_rate, stops, None, barn), days, cost)

    def priced(self, need: Need, day: int, item: Assignment, days: Days, cost: float) -> Candidate:
        """The candidate of an assignment, with that price."""
        wish = self.wishes.get(need.index) if self.wishes else None
        if wish is not None:
            apart, other = abs(day - wish.day), frozenset(person for person, _ in item.stops) != wish.people
            moved = CHANGED_DAY + PER_DAY * apart if apart else 0.0  # in the cost already
            item.change = moved + (CHANGED_PEOPLE if other else 0.0 if apart else CHANGED_HOUR)
            cost += item.change - moved
        return Candidate(cost, item, days)


def _cut_alike(was: Assignment, shape: Shape) -> bool:
    """Whether who came to what was carried out, by a plan to be kept, came to lots of this shape, as far apart."""
    if was.kept is None or was.kept.lots != shape.lots:
        return False
    trips = {work.key: work.trip for work in was.need.past}
    for _, visit in was.past:
        trip = trips[visit.key]
        begun = was.need.fixed_start(trip) if trip is not None else None
        if trip is None or begun is None:
            continue  # a half day of a watch for heat
        offsets = shape.patterns[trip.key].offsets
        lots = zip(visit.lots, visit.spans, strict=True)
        if any(abs(visit.low + offset - begun - offsets[lot]) > 1 for lot, (offset, _) in lots):
            return False
    return True
