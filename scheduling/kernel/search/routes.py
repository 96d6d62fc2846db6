"""A technician's day: whether a row of visits can be driven, when each starts, what the day costs. Remembered by its visits."""

from collections import defaultdict
from datetime import date
from math import inf

from scheduling.kernel.search.model import Model, minute_of
from scheduling.kernel.search.visits import Visit

_MOST_REMEMBERED = 700_000
# A visit of a plan that was written to the minute may seem so much too soon after the one before: half a minute at either end.
_WRITTEN = 1.0


class Route:
    """A day that can be driven: visits in order, the start of each (as early as can be), km, head, cost."""

    __slots__ = ("cost", "detours", "fits", "head", "km", "person", "starts", "visits")

    def __init__(
        self, person: int, visits: tuple[Visit, ...], starts: tuple[int, ...], km: float, head: int, cost: float
    ) -> None:
        self.person, self.visits, self.starts = person, visits, starts
        self.km, self.head, self.cost = km, head, cost
        self.detours: dict[int, float] | None = None  # by place: see Routes.detour
        self.fits: dict[Visit, Route | None] | None = None  # see Routes.with_visit


class Routes:
    """Works out routes and remembers them. Earliest starts are best: the later a visit, the more of it is after noon."""

    def __init__(self, model: Model) -> None:
        self.model = model
        weights = model.season.weights
        self.per_km, self.per_half = weights.km, weights.afternoon_half_hour
        self.day_cost = [
            weights.technician_day + weights.day_before * person.technician.days_before for person in model.people
        ]
        self._known: list[dict[tuple[Visit, ...], Route | None]] = [{} for _ in model.people]
        self.most = [person.technician.max_head_per_day for person in model.people]
        self._people = [(item.base, item.technician.max_head_per_day, model.road(item.base)) for item in model.people]
        self._size = 0
        self._a_km = 60 / model.season.travel.speed_kmh
        self._hours: list[dict[int, tuple[int, int]]] = [{} for _ in model.people]
        self.under_way: frozenset[tuple[int, int]] = frozenset()  # technicians (with the day) who have left home

    def hours(self, person: int, day: int) -> tuple[int, int]:
        """First and last minute of a technician's day."""
        found = self._hours[person].get(day)
        if found is None:
            technician, zone, on = self.model.people[person].technician, self.model.season.zone, date.fromordinal(day)
            found = self._hours[person][day] = (
                minute_of(on, technician.starts, zone),
                minute_of(on, technician.ends, zone),
            )
        return found

    def seen(self) -> dict[tuple[int, int], list[Route]]:
        """Routes that were worked out by technician and day, the cheapest order of each set of visits."""
        cheapest: dict[tuple[int, int], dict[frozenset[Visit], Route]] = defaultdict(dict)
        for person, memo in enumerate(self._known):
            for visits, route in memo.items():
                if route is None:
                    continue
                rows, key = cheapest[person, visits[0].day], frozenset(visits)
                other = rows.get(key)
                if other is None or route.cost < other.cost:
                    rows[key] = route
        return {key: list(rows.values()) for key, rows in cheapest.items()}

    def route(self, person: int, visits: tuple[Visit, ...]) -> Route | None:
        """The route through the visits in this order; None where it cannot be driven in time. At least one visit."""
        memo = self._known[person]
        try:
            return memo[visits]
        except KeyError:
            pass
        found = memo[visits] = self._work_out(person, visits)
        self._size += 1
        if self._size > _MOST_REMEMBERED:
            self._forget()
        return found

    def alone(self, person: int, place: int) -> float:
        """The least that a day for one stop costs."""
        return self.day_cost[person] + 2 * self.per_km * self._people[person][2][place][0]

    def detour(self, route: Route, place: int) -> float:
        """The least that a stop at the place can add to the route: the way there, whatever the clock says."""
        known = route.detours
        if known is None:
            known = route.detours = {}
        found = known.get(place)
        if found is None:
            found = known[place] = self._detour(route, place)
        return found

    def _detour(self, route: Route, place: int) -> float:
        base, _, home = self._people[route.person]
        road = self.model.road(place)
        least, here, leaving = inf, road[base][0], home
        for visit in route.visits:
            there = road[visit.place][0]
            more = here + there - leaving[visit.place][0]
            if more < least:
                least = more
            here, leaving = there, visit.road
        least = min(least, here + road[base][0] - leaving[base][0])
        return self.per_km * least if least > 0.0 else 0.0

    def with_visit(self, route: Route, visit: Visit) -> Route | None:
        """The route with the visit where it adds least; None where it fits nowhere. Remembered with the route."""
        known = route.fits
        if known is None:
            known = route.fits = {}
        try:
            return known[visit]
        except KeyError:
            found = known[visit] = self._with_visit(route, visit)
            self._size += 1
            return found

    def _with_visit(self, route: Route, visit: Visit) -> Route | None:
        """Positions at which the clock or the detour forbids it are passed over before the day is worked out."""
        person, row, starts = route.person, route.visits, route.starts
        base, most, road = self._people[person]
        if route.head + visit.head > most:
            return None
        best: Route | None = None
        place, low, high, count = visit.place, visit.low, visit.high, len(row)
        if visit.origin[0] == "pinned":
            return self._with_written(route, visit)
        at, ends = self.hours(person, visit.day)
        for i in range(count + 1):
            if i:
                before = row[i - 1]
                if before.last and before.place != place:
                    break
                at, road = starts[i - 1] + before.length, before.road
            begun = at + road[place][1]
            if begun > high:
                continue
            begun = max(begun, low) + visit.length
            then, late = (row[i].place, row[i].high) if i < count else (base, ends)
            step = visit.road[then]
            if begun + step[1] > late:
                continue
            if best is not None:
                km = road[place][0] + step[0] - road[then][0]
                if route.cost + self.per_km * km > best.cost + 1e-6:
                    continue
            new = self.route(person, (*row[:i], visit, *row[i:]))
            if new is not None and (best is None or new.cost < best.cost):
                best = new
        return best

    def _with_written(self, route: Route, visit: Visit) -> Route | None:
        """A visit of a plan that is kept: wherever it can be."""
        rows = ((*route.visits[:i], visit, *route.visits[i:]) for i in range(len(route.visits) + 1))
        made = [new for row in rows if (new := self.route(route.person, row)) is not None]
        return min(made, key=lambda new: new.cost, default=None)

    def _forget(self) -> None:
        for memo in self._known:
            for route in memo.values():
                if route is not None:
                    route.detours = route.fits = None
            memo.clear()
        self._size = 0

    def _work_out(self, person: int, visits: tuple[Visit, ...]) -> Route | None:
        here, most, road = self._people[person]
        home = here
        at, ends = self.hours(person, visits[0].day)
        if at < self.model.not_before and not (
            visits[0].origin[0] == "pinned" or (person, visits[0].day) in self.under_way
        ):
            at = self.model.not_before  # nobody sets out in the past; who is on the way as planned already has
        km, halves, head = 0.0, 0, 0
        closed = False
        starts: list[int] = []
        for visit in visits:
            place = visit.place
            if place != here:
                if closed:
                    return None
                step = road[place]
                km += step[0]
                at += step[1]
                road, here = visit.road, place
            if at < visit.low:
                at = visit.low
            elif at > visit.high:
                if not self._as_written(person, visits, starts):
                    return None
                at = visit.high
            starts.append(at)
            head += visit.head
            begun, at = at, at + visit.length
            if at > visit.noon and visit.ai:
                halves += visit.late_halves(begun)
            closed = visit.last
        step = road[home]
        if head > most or (
            at + step[1] > ends and not self._back_as_written(visits[-1], at + step[0] * self._a_km, ends)
        ):
            return None
        km += step[0]
        return Route(
            person, visits, tuple(starts), km, head, self.day_cost[person] + self.per_km * km + self.per_half * halves
        )

    def _as_written(self, person: int, visits: tuple[Visit, ...], starts: list[int]) -> bool:
        """Whether the next visit stands in a plan at that minute, and can be driven to but for what minutes leave out."""
        visit = visits[len(starts)]
        if visit.origin[0] != "pinned":
            return False
        at: float = starts[-1] + visits[len(starts) - 1].length if starts else self.hours(person, visit.day)[0]
        here = visits[len(starts) - 1].place if starts else self._people[person][0]
        if here != visit.place:
            at += self.model.road(here)[visit.place][0] * self._a_km
        return at <= visit.high + _WRITTEN

    def _back_as_written(self, visit: Visit, back: float, ends: int) -> bool:
        """Whether a last visit stands in a plan, and the way home ends in time but for what minutes leave out."""
        return visit.origin[0] == "pinned" and back <= ends + _WRITTEN / 2
