"""Showing that a small season's plan is the best of those that the planner tries, or finding the best.

The worst move of any group is fixed to one number of days after the other; for each the master chooses, `timing` tells what its
choice costs with all hours kept, and what it learns goes back as cuts, until no choice can be cheaper than the best plan.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from heapq import heappop, heappush
from math import inf

import numpy as np

from scheduling.kernel.search.exact.days import Day, TooMany, Work
from scheduling.kernel.search.exact.learning import Learning
from scheduling.kernel.search.exact.master import Master
from scheduling.kernel.search.exact.nearness import Nearness
from scheduling.kernel.search.exact.options import NotCovered, Option, Stop, check_covered, options_of
from scheduling.kernel.search.exact.program import TINY, Ints, Relaxed
from scheduling.kernel.search.exact.reach import narrowed
from scheduling.kernel.search.exact.realise import become, realise
from scheduling.kernel.search.exact.suggest import Suggestions
from scheduling.kernel.search.exact.timing import Times, Timing
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.search.state import State

MOST_GROUPS = 15
_MOST_ROWS = 400_000
# So many for groups cut finer.
_MOST_FINER = 150_000
_NODES = 20_000
_CUTS = 400
_MOST_CHOICES = 10_000
# Columns whose reduced cost is at most this share of the bound come first; dearer ones as far as it takes.
_NARROW = 0.015
# Where a plan is looked for first: so much above what the bound and the first program's relaxation say (the best plans of our
# own 20 seasons lie 1 to 7 % above).
_ROOM = (0.045, 0.06, 0.12)
# So much of the seconds is for what the bound of everything suggests before the first program, which then is not needed.
_AT_ONCE = 0.9
# Once the kind of bound is known, so much of what was reserved stays so, for writing the plan down.
_RESERVED = 0.2


class Proof:
    """Proves a search's best plan cheapest, after making it so. `left` tells the seconds that remain (inf: not counted), of
    which `reserve` are for the search where nothing comes of it.

    Where no seconds are counted, the orders of stops (`most`) and the choices of the first program (`choices`) are.
    """

    def __init__(
        self,
        search: Search,
        left: Callable[[], float],
        most: int = _MOST_ROWS,
        choices: int = _MOST_CHOICES,
        reserve: float = 0.0,
    ) -> None:
        self.search, self.most, self.choices = search, min(most, _MOST_ROWS), choices
        self._left, self._reserve = left, reserve
        self.state: State = search.state
        self.timing = Timing(self.state.visits, self.state.routes)
        self.limit = inf
        self._known: dict[int, tuple[int, Relaxed | None]] = {}
        self._kept: dict[int, tuple[tuple[float, int], Ints]] = {}

    def left(self) -> float:
        """The seconds that remain for it."""
        return self._left() - self._reserve

    def run(self) -> str | None:
        """The kind of bound that the best plan's cost is then; None where nothing was shown.

        "routes considered": no plan of the kind that the planner tries is cheaper. Others that keep the rules may be (groups
        cut into more lots than they must be, lots of one group for several technicians). "proven": no plan at all can be, since
        the bound of everything (`beyond`) says so, nothing costs anything, or no group has a day or anybody who may come.
        """
        try:
            check_covered(self.search.model)
            options = [option for need in self.search.model.needs for option in options_of(self.state.visits, need)]
            self.near = Nearness(self.search.model, self.state.routes, self.most, self.left)
            if self._settled_at_once():
                return "proven"
            shown = self._best_of(narrowed(options, self.state.visits, self.state.routes))
        except (NotCovered, TooMany):
            return None
        if shown and (self.best <= TINY or (not options and self._nobody_can())):
            return "proven"
        if shown:
            self._reserve *= _RESERVED
        if Suggestions(self.search, self.near).settled(self.left) or (shown and self._finer()):
            return "proven"
        return "routes considered" if shown else None

    def _settled_at_once(self) -> bool:
        """Whether the bound of everything shows by itself that nothing is cheaper, in a share of the seconds, if any count."""
        seconds = self.left()
        return seconds < inf and Suggestions(self.search, self.near).settled(
            lambda: self.left() - (1 - _AT_ONCE) * seconds
        )

    def _best_of(self, options: Sequence[Option]) -> bool:
        """Whether the best plan is the cheapest of all that these make, after making it so.

        What costs much more than the bound is left away at first, since the less room there is, the fewer technician-days
        there are and the quicker the choice. Where nothing is found below such a limit, it is raised.
        """
        self.relaxed, self.nearest = 0.0, 0
        for limit in self._limits():
            self.limit = limit
            self.near.look(self.goal)
            if not self._shown(options, list(self._works(options))):
                return False
            if self.best <= self.limit + TINY:
                break
            self._try_any()
        return True

    def _try_any(self) -> None:
        """Make the best plan better, though not as cheap as the limit, with technician-days that are there anyway."""
        self.limit = inf
        keep = self._within(self.nearest)
        relaxed = self._relaxed(self.nearest, keep) if len(keep) else None
        if relaxed is not None and relaxed.cost < self.best - TINY and self.left() > 0:
            self._choose(self.master.near(keep, relaxed, _NARROW * relaxed.cost))

    def _limits(self) -> Iterator[float]:
        """Costs below which a plan is looked for, the last one: any."""
        for share in _ROOM:
            limit = (1 + share) * max(self.near.least(), self.relaxed)
            if limit < self.best / (1 + _ROOM[0] / 2):
                yield limit
        yield inf

    def _shown(self, options: Sequence[Option], works: Sequence[Work]) -> bool:
        """Whether the best plan is the cheapest of all that these make, after making it so."""
        self.search.restore(self.search.best)
        self.master = Master(self.search.model, options, works)
        self.learning = Learning(self.master, self.timing)
        self._known.clear()
        self._kept.clear()
        return self._prove({option.moved for option in options}) and not self.timing.unsure

    def _finer(self) -> bool:
        """Try groups in more lots than they must be cut into, as far as the bound leaves room; whether nothing is cheaper then.

        What is cheaper becomes the best plan even where the proof comes to no end.
        """
        if self.left() <= 0 or not self.near.again(self.best):
            return False
        needs = [finer for need in self.search.model.needs for finer in (need, *need.finer)]
        options = [option for need in needs for option in options_of(self.state.visits, need)]
        options = narrowed(options, self.state.visits, self.state.routes)
        before = self.best
        try:
            works = list(self._works(options, finer=True))
        except (NotCovered, TooMany):
            return False
        self._shown(options, works)
        return self.best < before - TINY and self.near.nothing_below(self.best)

    def _nobody_can(self) -> bool:
        """Whether no group has a day, or anybody who may come where somebody must. More lots help even a technician alone."""
        return all(not need.days or (need.works and not need.able) for need in self.search.model.needs)

    def _works(self, options: Iterable[Option], *, finer: bool = False) -> Iterator[Work]:
        stops: dict[tuple[int, int], list[Stop]] = defaultdict(list)
        for option in options:
            for crews in option.works:
                for crew in crews:
                    for stop in crew.stops:
                        if self.near.possible(stop.key):
                            stops[stop.person, stop.day].append(stop)
        most = self.most if not finer else min(self.most, _MOST_FINER)
        for (person, day), row in sorted(stops.items()):
            if self.left() <= 0:
                raise TooMany
            for work in Day(self.state.routes, person, day).works(row, most, self.near.on(day), self.left):
                most -= 1
                yield work

    @property
    def best(self) -> float:
        """The cost of the best plan known."""
        return self.search.best.cost

    @property
    def goal(self) -> float:
        """The cost below which a plan is looked for."""
        return min(self.best, self.limit)

    def _prove(self, moves: set[int]) -> bool:
        """Go through the worst moves, the least bound first; whether all are done with."""
        least = inf
        open_ = [(0.0, worst, 0.0) for worst in sorted(moves | {0})]
        while open_:
            _, worst, width = heappop(open_)
            keep = self._within(worst)
            if not len(keep):
                continue
            relaxed = self._relaxed(worst, keep)
            if relaxed is not None and not width and relaxed.cost < least:
                least, self.nearest = relaxed.cost, worst
            if relaxed is None or relaxed.cost >= self.goal - TINY:
                continue
            if not width:  # once for each, so that the least comes first
                heappush(open_, (relaxed.cost, worst, max(1.0, _NARROW * relaxed.cost)))
                continue
            if self.left() <= 0 or self.learning.cuts > _CUTS or self.choices <= 0:
                return False
            self.choices -= 1
            whole = self.goal - relaxed.cost
            near = self.master.near(keep, relaxed, min(width, whole))
            found = self._choose(near)
            if found is None:
                return False
            limit = relaxed.cost + width if width < whole else inf
            if min(found, limit) < self.goal - TINY:
                heappush(open_, (min(found, limit), worst, _wider(width, whole) if found > limit else width))
        self.relaxed = max(self.relaxed, least) if least < inf else self.relaxed
        return True

    def _within(self, worst: int) -> Ints:
        """The columns that a cheaper plan with that worst move can have."""
        key = self.goal, self.learning.cuts
        if worst not in self._kept or self._kept[worst][0] != key:
            none = self.near.none(worst, self.goal)
            near = self.near.sets(worst, self.goal)
            self._kept[worst] = key, np.zeros(0, dtype=np.int64) if none else self.master.within(worst, near)
        self.master.price(worst)
        return self._kept[worst][1]

    def _relaxed(self, worst: int, keep: Ints) -> Relaxed | None:
        """The relaxation for one worst move, as it was when no cut came in since."""
        known = self._known.get(worst)
        if known is None or known[0] != self.learning.cuts:
            known = self._known[worst] = (self.learning.cuts, self.master.relaxed(keep))
        return known[1]

    def _choose(self, keep: Ints) -> float | None:
        """The master's choice, tried in earnest; the least cost of any plan of these columns as far as is known then."""
        result = self.master.program.minimise(keep, nodes=_NODES, left=self.left, below=self.goal - TINY)
        if not result.done:
            return None
        if result.values is None or result.cost >= self.goal - TINY:
            return result.cost
        works, options = self.master.chosen(result.values)
        short = 0.0
        for some, others in _parts(works, options):
            short += self.learning.learn(some, others, partial(self.master.charged, values=result.values))
        if short < inf:
            times = self.timing.least(works, options)
            if times is None:
                return None  # settled part by part, but not together: no proof
            found = self._try(works, options, times)
            if short <= TINY and found > result.cost + TINY:
                return None  # the state does not settle what the clock does
        return result.cost

    def _try(self, works: Sequence[Work], options: Sequence[Option], times: Times) -> float:
        """Make the choice the best plan where it is cheaper; its cost."""
        return become(self.search, lambda state: realise(state, works, options, times))


def _wider(width: float, whole: float) -> float:
    """The next width of the columns near the relaxation: all of it where that is not much more."""
    return 2 * width if 4 * width < whole else whole


def _parts(works: Sequence[Work], options: Sequence[Option]) -> Iterator[tuple[list[Work], list[Option]]]:
    """Cut a choice into parts that share no ranch and no technician-day."""
    ranch: dict[int, int] = {}

    def root(place: int) -> int:
        while ranch.setdefault(place, place) != place:
            place = ranch[place]
        return place

    for work in works:
        places = [stop.place for stop in work.in_order]
        for place in places[1:]:
            ranch[root(place)] = root(places[0])
    found: dict[int, tuple[list[Work], list[Option]]] = defaultdict(lambda: ([], []))
    for option in options:
        found[root(option.need.place)][1].append(option)
    for work in works:
        found[root(work.in_order[0].place)][0].append(work)
    yield from found.values()
