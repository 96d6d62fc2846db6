"""A plan in the making: who is where, which day each technician has, what it costs. Every change can be taken back."""

from collections.abc import Iterable, Mapping
from datetime import date

from scheduling.kernel.search.chute import Assignment, Chute, Times
from scheduling.kernel.search.model import Model, Need, minute_of
from scheduling.kernel.search.routes import Route, Routes
from scheduling.kernel.search.visits import Visit, Visits


class State:
    """Placed groups and technician-days. Keys of days are `day * people + technician`."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.visits = Visits(model)
        self.routes = Routes(model)
        self.chute = Chute(self.visits)
        self.width = max(1, len(model.people))
        self.placed: list[Assignment | None] = [None] * len(model.needs)
        self.days: dict[int, Route] = {}
        self.at_ranch: list[list[int]] = [[] for _ in model.season.ranches]
        self.moves = [0] * (2 + max((abs(day - need.wanted) for need in model.needs for day in need.days), default=0))
        self.barn_days: dict[tuple[int, int], list[int]] = {}
        self.barn_gap = _barn_gaps(model)
        self.routes_cost = 0.0
        self.own_cost = 0.0
        self.worked = [0] * self.width  # days of work by technician
        self.load_cost = 0.0
        self.out = len(model.needs)
        self.floor = 0
        self.blocked: Mapping[int, tuple[tuple[int, int], ...]] = {}
        self.touched: set[int] = set()
        self._journal: list[tuple[int, int, object]] = []

    # -- cost -----------------------------------------------------------------------------------------------------
    def worst_move(self) -> int:
        """The largest move of any group, in days."""
        worst = len(self.moves) - 1
        while worst > self.floor and not self.moves[worst]:
            worst -= 1
        return worst

    def cost(self) -> float:
        """The contract's cost, and the price of what is changed in a plan that is kept."""
        weights = self.model.season.weights
        moves = weights.worst_move * self.worst_move()
        return self.routes_cost + self.load_cost + self.own_cost + moves + weights.unplaced * self.out

    def one_more_day(self, person: int) -> float:
        """What another day of work of a technician costs for the sake of even loads: the more, the more there are already."""
        return self.model.load_price[person] * (2 * self.worked[person] + 1)

    def uneven_load(self) -> float:
        """Over technicians: days of work squared, over the days on which they can be booked."""
        rows = zip(self.worked, self.model.people, strict=False)
        return sum(worked * worked / person.bookable for worked, person in rows)

    def own(self, item: Assignment) -> float:
        """What an assignment costs by itself."""
        weights = self.model.season.weights
        rest = weights.rest_day * self.model.rest_days(item.need, item.ai_day) if weights.rest_day else 0.0
        return weights.day_moved * item.moved + rest + item.change

    # -- changes --------------------------------------------------------------------------------------------------
    def mark(self) -> int:
        """A point to come back to with `undo`."""
        return len(self._journal)

    def forget(self) -> None:
        """Drop the journal: what was done stays."""
        self._journal.clear()

    def undo(self, mark: int) -> None:
        """Take everything back to the mark."""
        journal = self._journal
        while len(journal) > mark:
            kind, key, old = journal.pop()
            if kind == 0:
                self.set_day(key, old if isinstance(old, Route) else None)
            elif isinstance(old, Assignment):
                self._enter(old)
            else:
                item = self.placed[key]
                assert item is not None
                self._leave(item)

    def put(self, item: Assignment, days: Mapping[int, Route]) -> None:
        """Place a group; `days` are the routes with its stops."""
        for key, route in days.items():
            self._journal.append((0, key, self.days.get(key)))
            self.set_day(key, route)
        self._journal.append((1, item.need.index, None))
        self._enter(item)

    def take(self, index: int) -> Assignment:
        """Take a group out. Ranches whose other groups start earlier thereby are added to `touched`."""
        item = self.placed[index]
        assert item is not None
        for person, visit in item.stops:
            key = visit.day * self.width + person
            old = self.days[key]
            rest = tuple(other for other in old.visits if other is not visit)
            new = self.routes.route(person, rest) if rest else None
            assert new is not None or not rest
            self._journal.append((0, key, old))
            self.set_day(key, new)
            if new is not None:
                self.touched |= self.shifted(old, new)
        self._journal.append((1, index, item))
        self._leave(item)
        return item

    def set_day(self, key: int, route: Route | None) -> None:
        """Give a technician-day its route (None: a day without work). Not in the journal."""
        old = self.days.get(key)
        if self.model.load_price and (old is None) != (route is None):
            person, more = key % self.width, old is None
            self.worked[person] -= not more
            self.load_cost += self.one_more_day(person) if more else -self.one_more_day(person)
            self.worked[person] += more
        if old is not None:
            self.routes_cost -= old.cost
        if route is None:
            self.days.pop(key, None)
        else:
            self.days[key] = route
            self.routes_cost += route.cost

    def _enter(self, item: Assignment) -> None:
        need = item.need
        self.placed[need.index] = item
        self.at_ranch[need.place].append(need.index)
        if item.moved >= len(self.moves):  # a changed group that is only tried may move further than any of the season
            self.moves += [0] * (item.moved + 1 - len(self.moves))
        self.moves[item.moved] += 1
        self.own_cost += self.own(item)
        self.out -= 1
        if item.barn >= 0:
            for day in barn_days(item):
                self.barn_days.setdefault((item.barn, day), []).append(need.place)

    def _leave(self, item: Assignment) -> None:
        need = item.need
        self.placed[need.index] = None
        self.at_ranch[need.place].remove(need.index)
        self.moves[item.moved] -= 1
        self.own_cost -= self.own(item)
        self.out += 1
        if item.barn >= 0:
            for day in barn_days(item):
                self.barn_days[item.barn, day].remove(need.place)

    def is_whole(self) -> bool:
        """Whether technician-days and placed groups tell the same: every stop is on its day, and nothing else is."""
        stops = {
            (visit.day * self.width + person, visit) for item in self.placed if item for person, visit in item.stops
        }
        driven = {(key, visit) for key, route in self.days.items() for visit in route.visits}
        return stops == driven

    # -- the ranch's chute ----------------------------------------------------------------------------------------
    def entangled(self, item: Assignment) -> bool:
        """Whether the group's handling has to be settled: with another group of its ranch on one day, or by itself."""
        need, days, placed = item.need, item.days, self.placed
        if need.tight or item.kept is not None or need.place in self.blocked:
            return True
        for index in self.at_ranch[need.place]:
            if index != need.index:
                other = placed[index]
                if other is not None and not days.isdisjoint(other.days):
                    return True
        return False

    def _placed(self, index: int) -> Assignment:
        item = self.placed[index]
        assert item is not None
        return item

    def starts(self, item: Assignment) -> tuple[int, ...]:
        """When the group's technicians start, in the order of its stops."""
        found = []
        for person, visit in item.stops:
            route = self.days[visit.day * self.width + person]
            found.append(route.starts[route.visits.index(visit)])
        return tuple(found)

    def settled(self, place: int) -> dict[int, Times] | None:
        """Clock times of all entangled groups of a ranch; None where they collide."""
        found: dict[int, Times] = {}
        for tangle in self._tangles(place):
            times = self.chute.settle([(item, self.starts(item)) for item in tangle], self.blocked.get(place, ()))
            if times is None:
                return None
            for item, clock in zip(tangle, times, strict=True):
                found[item.need.index] = clock
        return found

    def _tangles(self, place: int) -> list[list[Assignment]]:
        """The entangled groups of a ranch in bunches that share no day with each other, which can be settled apart."""
        left = [self._placed(index) for index in sorted(self.at_ranch[place])]
        bunches = []
        while left:
            bunch = [left.pop(0)]
            for item in bunch:  # grows while it is looked through
                near = [other for other in left if not item.days.isdisjoint(other.days)]
                if near:
                    bunch += near
                    left = [other for other in left if other not in near]
            if len(bunch) > 1 or self.entangled(bunch[0]):
                bunches.append(sorted(bunch, key=_index) if len(bunch) > 2 else bunch)
        return bunches

    def holds(self, places: Iterable[int]) -> bool:
        """Whether the chutes of these ranches can be settled."""
        return all(self.settled(place) is not None for place in places)

    def shifted(self, old: Route | None, new: Route) -> set[int]:
        """Ranches whose entangled groups start at another time in the new route."""
        if old is None:
            return set()
        before = dict(zip(old.visits, old.starts, strict=True))
        return {
            visit.place
            for visit, start in zip(new.visits, new.starts, strict=True)
            if before.get(visit, start) != start and self._is_entangled(visit)
        }

    def _is_entangled(self, visit: Visit) -> bool:
        item = self.placed[visit.need.index]
        return item is not None and self.entangled(item)

    # -- barns ----------------------------------------------------------------------------------------------------
    def barn_for(self, need: Need, days: Iterable[int], stalls: int) -> int:
        """A barn that can stand at the group's ranch on these days, or -1."""
        wanted = list(days)
        for number, barn in enumerate(self.model.season.barns.values()):
            if barn.stalls >= stalls and self.barn_free(number, need, wanted):
                return number
        return -1

    def barn_free(self, number: int, need: Need, days: Iterable[int]) -> bool:
        """Whether a barn can stand at the group's ranch on these days."""
        gap = self.barn_gap[number]
        near = {day + step for day in days for step in range(-gap, gap + 1)}
        return all(place == need.place for day in near for place in self.barn_days.get((number, day), ()))


def _index(item: Assignment) -> int:
    return item.need.index


def barn_days(item: Assignment) -> set[int]:
    """Ranch days on which the group's AI needs the barn."""
    return {item.ai_day + trip.day for trip in item.need.sessions}


def _barn_gaps(model: Model) -> list[int]:
    """Whole days that must lie between two ranches of one barn so that it is cleaned whatever the hours of work."""
    ranches = [model.season.ranches[need.group.ranch] for need in model.needs if need.group.needs_barn]
    if not ranches:
        return [0] * len(model.season.barns)
    day = model.season.first_day
    after = date.fromordinal(day.toordinal() + 1)
    closes = max(minute_of(day, ranch.closes, ranch.zone) for ranch in ranches)
    opens = min(minute_of(after, ranch.opens, ranch.zone) for ranch in ranches)
    night = opens - closes - 60  # an hour for a change of clocks
    return [max(0, -(-int(barn.clean_hours * 60 - night) // 1440)) for barn in model.season.barns.values()]
