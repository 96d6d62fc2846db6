"""A plan in the making: who is where when, which chute is taken, what it costs. Minutes UTC throughout."""

from bisect import insort
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time
from itertools import pairwise
from math import ceil

from scheduling.kernel.search.model import Model, Need, day_of, minute_of
from scheduling.kernel.search.shape import Shape, shape_of

Route = tuple[str, date]


@dataclass(frozen=True, slots=True, order=True)
class Stop:
    """A technician's visit. `ai_head` counts towards the day limit (0 for treatments)."""

    start: int
    end: int
    place: str
    group: str
    lot: int
    key: str
    head: int
    ai_head: int
    barn: str


@dataclass(frozen=True, slots=True)
class LotTimes:
    """A lot's head and the start and end of each of its steps."""

    head: int
    spans: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class Placement:
    """Everything that a placed group occupies."""

    group: str
    day: date
    lots: tuple[LotTimes, ...]
    stops: tuple[tuple[str, Stop], ...]
    chute: tuple[tuple[int, int], ...]
    ai_rate: float

    @property
    def barn_uses(self) -> Iterator[tuple[str, int, int]]:
        """Barn, start and end of each use."""
        return ((stop.barn, stop.start, stop.end) for _, stop in self.stops if stop.barn)


class State:
    """Placed groups and what they occupy. `put` and `take` undo each other exactly."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.placed: dict[str, Placement] = {}
        self.routes: dict[Route, list[Stop]] = {}
        self.chutes: dict[str, list[tuple[int, int]]] = {}
        self.barns: dict[str, list[tuple[int, int, str]]] = {}
        self.day_cost: dict[Route, float] = {}
        self.routes_cost = 0.0
        self._shapes: dict[tuple[int, float], tuple[Need, Shape]] = {}

    def shape_of(self, need: Need, ai_rate: float) -> Shape:
        """The shape of a group's handling, worked out once."""
        key = (id(need), ai_rate)
        found = self._shapes.get(key)
        if found is None:
            found = self._shapes[key] = (need, shape_of(need, ai_rate))  # the need is kept so that its id stays its own
        return found[1]

    def put(self, placement: Placement) -> None:
        """Occupy what the placement needs; the caller has checked that it is free."""
        ranch = self.model.needs[placement.group].ranch.id
        self.placed[placement.group] = placement
        chute = self.chutes.setdefault(ranch, [])
        for span in placement.chute:
            insort(chute, span)
        for technician, stop in placement.stops:
            insort(self.routes.setdefault(self.route_of(technician, stop), []), stop)
            if stop.barn:
                insort(self.barns.setdefault(stop.barn, []), (stop.start, stop.end, ranch))
        self._reprice(placement)

    def take(self, group: str) -> Placement:
        """Free what the group occupies."""
        placement = self.placed.pop(group)
        ranch = self.model.needs[group].ranch.id
        for span in placement.chute:
            self.chutes[ranch].remove(span)
        for technician, stop in placement.stops:
            self.routes[self.route_of(technician, stop)].remove(stop)
            if stop.barn:
                self.barns[stop.barn].remove((stop.start, stop.end, ranch))
        self._reprice(placement)
        return placement

    def route_of(self, technician: str, stop: Stop) -> Route:
        """The technician-day that a stop belongs to."""
        return technician, day_of(stop.start, self.model.season.zone)

    def _reprice(self, placement: Placement) -> None:
        for route in dict.fromkeys(self.route_of(technician, stop) for technician, stop in placement.stops):
            old, new = self.day_cost.get(route, 0.0), self.price(route[0], self.routes[route])
            self.day_cost[route] = new
            self.routes_cost += new - old

    def price(self, technician: str, stops: list[Stop]) -> float:
        """Cost of a technician-day: the day and its km."""
        if not stops:
            return 0.0
        weights, base = self.model.season.weights, f"T{technician}"
        places = [base, *(stop.place for stop in stops), base]
        return weights.technician_day + weights.km * sum(self.model.km(one, other) for one, other in pairwise(places))

    def chute_free(self, ranch: str, start: int, end: int) -> bool:
        """Whether the ranch's chute is free from start to end."""
        return all(end <= begin or start >= finish for begin, finish in self.chutes.get(ranch, ()))

    def barn_for(self, ranch: str, start: int, end: int, stalls: int) -> str | None:
        """A barn with enough stalls that can stand at the ranch then, or None."""
        ranches = self.model.season.ranches
        day = day_of(start, ranches[ranch].zone)
        for barn in self.model.season.barns.values():
            clean = ceil(barn.clean_hours * 60)
            uses = [use for use in self.barns.get(barn.id, ()) if use[2] != ranch]
            clash = any(
                day_of(begin, ranches[other].zone) == day or (start < finish + clean and begin < end + clean)
                for begin, finish, other in uses
            )
            if barn.stalls >= stalls and not clash:
                return barn.id
        return None

    def gaps(self, technician: str, day: date, place: str, length: int, ai_head: int) -> list[tuple[int, int, float]]:
        """Where a stop fits a technician's day: earliest and latest start, and what it adds to the day's cost."""
        season, model = self.model.season, self.model
        person = season.technicians[technician]
        if day in person.days_off:
            return []
        stops = self.routes.get((technician, day), [])
        if ai_head and sum(stop.ai_head for stop in stops) + ai_head > person.max_head_per_day:
            return []
        starts, ends = minute_of(day, person.starts, season.zone), minute_of(day, person.ends, season.zone)
        base, found = f"T{technician}", []
        for i in range(len(stops) + 1):
            before, after = (stops[i - 1].place if i else base), (stops[i].place if i < len(stops) else base)
            low = (stops[i - 1].end if i else starts) + model.drive(before, place)
            high = (stops[i].start if i < len(stops) else ends) - model.drive(place, after) - length
            if low <= high:
                km = model.km(before, place) + model.km(place, after) - (model.km(before, after) if stops else 0.0)
                found.append((low, high, km * season.weights.km + (0 if stops else season.weights.technician_day)))
        return found

    def afternoon(self, placement: Placement) -> int:
        """Started half hours of AI after 12:00 local, over the placement's visits."""
        zone = self.model.needs[placement.group].ranch.zone
        halves = 0
        for _, stop in placement.stops:
            if stop.ai_head:
                noon = minute_of(day_of(stop.start, zone), time(12), zone)
                halves += max(0, ceil((stop.end - max(noon, stop.start)) / 30))
        return halves

    def moved(self, placement: Placement) -> int:
        """Days between the AI day and the wanted one."""
        return abs((placement.day - self.model.needs[placement.group].group.ai_wanted).days)

    def own_cost(self, placement: Placement) -> float:
        """What a placement costs by itself: days moved and afternoon work."""
        weights = self.model.season.weights
        return weights.day_moved * self.moved(placement) + weights.afternoon_half_hour * self.afternoon(placement)

    def worst_move(self) -> int:
        """The largest move of any group."""
        return max((self.moved(item) for item in self.placed.values()), default=0)
