"""Building the plans that the bound of everything suggests, and charging it for what cannot be so cheap.

Where a choice of days and sets stands below the best plan, the groups are cut into lots and all hours are settled (`lots`) on
the ways that the bound thinks cheap. What comes out below the best plan becomes it. A choice that is dearer on every way is
charged.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from itertools import product
from math import inf

from scheduling.kernel.search.cut import Cut
from scheduling.kernel.search.exact.beyond import Beyond, Choice
from scheduling.kernel.search.exact.cheapest import Cheapest, Ridden, joined, on_day
from scheduling.kernel.search.exact.days import TooMany
from scheduling.kernel.search.exact.lots import Lots
from scheduling.kernel.search.exact.nearness import Nearness
from scheduling.kernel.search.exact.program import TINY
from scheduling.kernel.search.exact.realise import become
from scheduling.kernel.search.exact.session import Session
from scheduling.kernel.search.exact.stays import driven
from scheduling.kernel.search.exact.walks import Tour
from scheduling.kernel.search.placing import place
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Order

_NODES = 20_000
# Choices are looked for, and ways that they may cost, in steps of this share of the cost.
_STEP = 0.007
# So many steps are made to find a day's ways, or those of days together; so many of the cheapest ways are tried with lots.
_MOST_STEPS = 400
_MOST_TRIED = 6
# So many turns are made in all: a step up, or a choice tried.
_MOST_TURNS = 200
# Groups in any order are cut into so many more lots than they must be: smaller lots leave more choice of hours.
_MORE = (0, 1, 2, 3)


@dataclass(frozen=True)
class _Part:
    """Groups (AI days by number) whose hours hang together, the columns of their days' sets, what these cost in the choice."""

    days: Mapping[int, int]
    columns: frozenset[int]
    cost: float


@dataclass(frozen=True)
class _Way:
    """Technicians' days on given ways: what they cost at least, km and days alone, and the tours."""

    least: float
    fixed: float
    tours: tuple[Tour, ...]


class Suggestions:
    """Goes through what the bound suggests, the least first."""

    def __init__(self, search: Search, near: Nearness) -> None:
        self.search, self._bound = search, near.bound
        self.left: Callable[[], float] = lambda: inf
        self.state, self.model, self.most = search.state, search.model, _MOST_TURNS

    @property
    def bound(self) -> Beyond:
        """The bound of everything, where there is one."""
        assert self._bound is not None
        return self._bound

    @property
    def best(self) -> float:
        """The cost of the best plan known."""
        return self.search.best.cost

    def settled(self, left: Callable[[], float]) -> bool:
        """Whether no plan at all is cheaper than the best, after making it so; False where that is not found out.

        `left` tells the seconds that remain for it.
        """
        if self._bound is None:
            return False
        self.left = self.bound.left = left
        try:
            # What a plan with a worst move costs at least; of equal ones a choice first.
            heap: list[tuple[float, bool, int, Choice | None]] = [
                (self.bound.least(worst), True, worst, None) for worst in range(self.bound.farthest + 1)
            ]
            heapify(heap)
            while heap and heap[0][0] < self.best - TINY:
                self.most -= 1
                if self.left() <= 0 or self.most < 0:
                    return False
                cost, _, worst, choice = heappop(heap)
                if choice is not None and not self._tried(choice):
                    return False
                known = min((item[0] for item in heap if item[3] is not None), default=inf)
                below = min(self.best - TINY, known, cost + _STEP * cost)
                found = self.bound.standing(worst, below, _NODES)
                if found is not None:
                    heappush(heap, (found.cost, False, worst, found))
                elif below < self.best - TINY:
                    heappush(heap, (max(below, self.bound.least(worst)), True, worst, None))
        except TooMany:
            return False
        return True

    def _tried(self, choice: Choice) -> bool:
        """Build a choice; whether the best plan costs no more then, or the bound was charged."""
        cuts: list[Cut] = []
        charged, room = False, min(self.best - choice.cost, _STEP * choice.cost)
        for part in self._parts(choice):
            if self.left() <= 0:
                return False
            ways = self._ways(part, part.cost + room)
            least = ways.at(0)
            charged |= self.bound.charge(part.columns, choice.values, least[0] if least else part.cost + room)
            found = self._cut(part, ways, part.cost + room)
            if found is None:
                return charged
            room -= max(0.0, found[0] - part.cost)
            cuts += found[1]
        self.search.restore(self.search.best)
        become(self.search, lambda state: place(state, cuts))
        return charged or self.best <= choice.cost + TINY

    # -- parts ----------------------------------------------------------------------------------------------------
    def _parts(self, choice: Choice) -> Iterator[_Part]:
        """Groups that share a technician-day, or a ranch on one day."""
        root = {index: index for index in choice.days}

        def find(i: int) -> int:
            while root[i] != i:
                i = root[i]
            return i

        for column in choice.columns:
            items = self._of(column)
            for item in items:
                root[find(item.need.index)] = find(items[0].need.index)
        for one, other in self._neighbours(choice.days):
            root[find(one)] = find(other)
        for first in sorted({find(index) for index in choice.days}):
            days = {index: day for index, day in choice.days.items() if find(index) == first}
            columns = frozenset(c for c in choice.columns if self._of(c)[0].need.index in days)
            cost = sum(self.bound.program.costs[column] for column in columns)
            yield _Part(days, columns, cost + self.bound.paid(columns, choice.values))

    def _of(self, column: int) -> list[Session]:
        day, mask = self.bound.sets[column]
        return day.of(mask)

    def _neighbours(self, days: Mapping[int, int]) -> Iterator[tuple[int, int]]:
        """Groups that are at one ranch on one day, or that may ask for the barn on one day."""
        needs = [self.model.needs[index] for index in sorted(days)]
        for i, one in enumerate(needs):
            for other in needs[:i]:
                if one.place == other.place and one.days_on(days[one.index]) & other.days_on(days[other.index]):
                    yield one.index, other.index

    # -- ways -----------------------------------------------------------------------------------------------------
    def _ways(self, part: _Part, below: float) -> Cheapest:
        """The technicians' days of a part on the ways that may cost less than so much."""
        columns = sorted(part.columns)
        costs = [self.bound.program.costs[column] for column in columns]
        room = below - sum(costs)
        whole = Cheapest([], below, 0) if columns else Cheapest([(0.0, Ridden((), ((),)))], below, 0)
        for i, column in enumerate(columns):
            row = on_day(*self.bound.sets[column], costs[i], costs[i] + room, _MOST_STEPS)
            upto = below - sum(costs[i + 1 :])
            whole = joined(whole, row, upto, _MOST_STEPS) if i else row
        return whole

    # -- lots -----------------------------------------------------------------------------------------------------
    def _cut(self, part: _Part, ways: Cheapest, below: float) -> tuple[float, list[Cut]] | None:
        """The cheapest of the ways with the part's groups cut into lots, as far as was tried, and what it costs.

        All ways are tried with the fewest lots before any is with more, which takes much longer.
        """
        best: tuple[float, list[Cut]] | None = None
        for more, whole in product(self._more(part), (True, False)):
            for i in range(_MOST_TRIED):
                ridden = ways.at(i)
                if ridden is None or not ridden[1].walks or ridden[0] >= below - TINY or self.left() <= 0:
                    break
                way = _way(*ridden)
                lots = Lots(self.model, self.state.visits, self.state.routes, part.days, way.tours, more, whole)
                found = lots.solve(way.least - way.fixed, below - way.fixed)
                if found is not None:
                    below = way.fixed + found[0]
                    best = below, found[1]
        return best

    def _more(self, part: _Part) -> Iterator[Mapping[int, int]]:
        some = [i for i in part.days if self.model.needs[i].group.order is Order.ANY and self.model.needs[i].sessions]
        for more in _MORE if some else (0,):
            yield dict.fromkeys(some, more)


def _way(least: float, ridden: Ridden) -> _Way:
    fixed, tours = 0.0, []
    for (on, one), walk in zip(ridden.days, ridden.walks, strict=False):
        fixed += one.ways.cost + one.ways.per_km * driven(one, walk)
        works = frozenset((item.need.index, item.number) for item in one.ways.of(one.mask))
        tours.append(Tour(one.ways.touring.person, on, walk, works))
    return _Way(least, fixed, tuple(tours))
