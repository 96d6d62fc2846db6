"""What a technician-day costs at least, whatever its lots: the way past its ranches, and work that cannot be before noon.

Nothing is rounded to minutes here. A technician may come to a ranch more than once; its first visits to the ranches then make a
path past all of them that is no longer than the whole way (no way round is shorter than the great circle).
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping
from itertools import combinations
from math import ceil

from scheduling.kernel.search.model import Model

HALF_HOUR = 30.0
# Half hours are counted as the checker does: so little over one is none.
_NEXT_TO_NOTHING = 1e-6

Places = frozenset[int]


class Touring:
    """The shortest ways from a technician's base past sets of places, in km; minutes follow from the speed."""

    def __init__(self, model: Model, person: int) -> None:
        self.model, self.person, self.base = model, person, model.people[person].base
        self.per_km = 60 / model.season.travel.speed_kmh
        # Programs of hours that were solved, whatever the date, and what came out (`hours`).
        self.solved: dict[Hashable, float] = {}
        self._paths: dict[Places, Mapping[int, float]] = {frozenset(): {self.base: 0.0}}
        self._tours: dict[tuple[Places, Places], float] = {}
        self._homes: dict[tuple[int, Places], float] = {}

    def km(self, one: int, other: int) -> float:
        """Road km between two places."""
        return self.model.road(one)[other][0] if one != other else 0.0

    def minutes(self, one: int, other: int) -> float:
        """Driving time between two places."""
        return self.km(one, other) * self.per_km

    def path(self, places: Places) -> Mapping[int, float]:
        """Km of the shortest path past all the places, by the place where it ends."""
        found = self._paths.get(places)
        if found is None:
            found = self._paths[places] = {last: self._ending(places, last) for last in places}
        return found

    def _ending(self, places: Places, last: int) -> float:
        road = self.model.road(last)
        return min(km + road[before][0] for before, km in self.path(places - {last}).items())

    def tour(self, first: Places, rest: Places) -> float:
        """Km of the shortest round past the first places, then past the rest, and home."""
        key = first, rest
        found = self._tours.get(key)
        if found is None:
            found = self._tours[key] = min(km + self.home(last, rest) for last, km in self.path(first).items())
        return found

    def home(self, here: int, rest: Places) -> float:
        """Km of the shortest way from a place past the rest and home."""
        key = here, rest
        if key not in self._homes:
            road = self.model.road(here)
            ways = (road[place][0] + self.home(place, rest - {place}) for place in rest)
            self._homes[key] = min(ways) if rest else road[self.base][0]
        return self._homes[key]


class Morning:
    """How much work before noon there can be: `starts` is when work can begin at each place, `noons` its noon."""

    def __init__(self, touring: Touring, starts: Mapping[int, float], noons: Mapping[int, int]) -> None:
        self.touring, self.starts, self.noons = touring, starts, noons
        self._ready: dict[Places, Mapping[int, float]] = {}

    def room(self, places: Places) -> float:
        """Minutes that are left for work before noon where all these places are come to before theirs."""
        if not places:
            return 0.0
        return max(self.noons[place] for place in places) - min(self._all_come_to(places).values())

    def _all_come_to(self, places: Places) -> Mapping[int, float]:
        """When all the places have been come to at the earliest, if nothing but driving took time, by the last."""
        found = self._ready.get(places)
        if found is None:
            found = {last: self._come_to(places, last) for last in places}
            self._ready[places] = found
        return found

    def _come_to(self, places: Places, last: int) -> float:
        rest = places - {last}
        if not rest:
            return self.starts[last]
        return min(at + self.touring.minutes(before, last) for before, at in self._all_come_to(rest).items())

    def late(self, work: Mapping[int, list[tuple[float, float]]], early: Places) -> int:
        """Half hours after noon of AI at least (by place: minutes in all and those that must be after noon).

        Only the `early` places are come to before their noon.
        """
        beyond = sum(halves(minutes) for place, row in work.items() if place not in early for minutes, _ in row)
        noons = {self.noons[place] for place in early}
        before = [frozenset(place for place in early if self.noons[place] <= noon) for noon in noons]
        over = [sum(all_ for place in some for all_, _ in work.get(place, ())) - self.room(some) for some in before]
        forced = sum(halves(must) for place in early for _, must in work.get(place, ()))
        return beyond + max([forced, *map(halves, over)])


def halves(minutes: float) -> int:
    """Started half hours."""
    return max(0, ceil(minutes / HALF_HOUR - _NEXT_TO_NOTHING))


def subsets(places: Iterable[int]) -> Iterator[Places]:
    """Every subset."""
    row = sorted(places)
    return (frozenset(some) for count in range(len(row) + 1) for some in combinations(row, count))
