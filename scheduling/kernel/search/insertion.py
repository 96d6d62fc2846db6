"""Where a group fits a state best: every day, technician and position in a technician's day, cheapest first.

Bounds come first (the detour by road, the technician-day that would begin); what a way costs exactly, clock times included, is
worked out only for those that are next by their bound.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from heapq import heapify, heappop, heappush
from itertools import chain, count
from math import inf

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.look import NEAREST, Candidate, Look, Wish
from scheduling.kernel.search.model import Need, Part
from scheduling.kernel.search.pairs import can_pair, pairs_on
from scheduling.kernel.search.relay import relays
from scheduling.kernel.search.several import FAR, Opening, Several
from scheduling.kernel.search.state import barn_days

__all__ = ["NEAREST", "Candidate", "Insertion", "Wish"]
_PAIRS_TRIED = 0.05
_DAYS_OPENED = 3


class Insertion(Look):
    """Finds places for groups."""

    # -- the door -------------------------------------------------------------------------------------------------
    def insert(self, index: int, most: float = inf) -> bool:
        """Put a group where it adds least; False where it fits nowhere, or adds more than `most`."""
        found = self.best(self.state.model.needs[index], most)
        if found is None:
            return False
        self.state.put(found.item, found.days)
        return True

    def best(self, need: Need, most: float = inf) -> Candidate | None:
        """The cheapest way to put a group in whose clock times can be settled, or None. The state is as before."""
        return next((way for way in self.candidates(need, most) if self.holds(way)), None)

    def everywhere(self, need: Need, most: float = inf) -> Candidate | None:
        """As `best`, with every technician, treatment and pair tried; for groups that the search left out, changed or not."""
        with self._everybody():
            return self.best(need, most)

    def worthwhile(self, need: Need, *, smaller: bool = True) -> Candidate | None:
        """As `everywhere`, but None where leaving the group out is cheaper; that does not count for one whose plan is kept.

        `smaller`: where there is no place for the group, it is tried in more lots than it must be cut into.
        """
        most = inf if need.index in self.wishes else self.state.model.season.weights.unplaced
        cuts = (need, *(need.smaller if smaller else ()))
        ways = chain((self.everywhere(cut, most) for cut in cuts), (self.relayed(cut) for cut in cuts))
        return next((way for way in ways if way is not None), None)

    def insert_relayed(self, index: int) -> bool:
        """Put in a group that is too large for one technician's day; False for others, and where it fits nowhere."""
        found = self.relayed(self.state.model.needs[index])
        if found is not None:
            self.state.put(found.item, found.days)
        return found is not None

    def relayed(self, need: Need) -> Candidate | None:
        """A group too large for one technician's day by several one after the other, where that is worth it."""
        with self._everybody():
            most = inf if need.index in self.wishes else self.state.model.season.weights.unplaced
            return next((way for way in relays(self, need) if way.cost <= most and self.holds(way)), None)

    def everywhere_on(self, need: Need, day: int) -> list[Candidate]:
        """Every way to put a group in on one day, whoever comes, the cheapest first. Clock times are not settled."""
        with self._everybody():
            wish = self.wishes.get(need.index)
            kept = wish.kept if wish is not None and wish.day == day else None
            found = list(self.as_kept(kept, self.state.worst_move())) if kept is not None else []
            return sorted([*found, *self.on_day(need, day)], key=lambda item: item.cost)

    @contextmanager
    def _everybody(self) -> Iterator[None]:
        """Look at every technician, treatment and pair for a while."""
        kept = self.thorough, self.nearest, self.blink, self._frames
        self.thorough, self.nearest, self.blink, self._frames = True, len(self.state.model.people), 0.0, {}
        try:
            yield
        finally:
            self.thorough, self.nearest, self.blink, self._frames = kept

    def holds(self, candidate: Candidate) -> bool:
        """Whether clock times can be settled at every ranch that the candidate touches."""
        state = self.state
        places = set()
        for key, route in candidate.days.items():
            places |= state.shifted(state.days.get(key), route)
        if not places and not state.entangled(candidate.item):
            return True
        places.add(candidate.item.need.place)
        mark = state.mark()
        state.put(candidate.item, candidate.days)
        good = state.holds(places)
        state.undo(mark)
        return good

    # -- candidates -----------------------------------------------------------------------------------------------
    def candidates(self, need: Need, most: float = inf) -> Iterator[Candidate]:
        """Ways to put a group in that add at most so much, the cheapest first; two technicians at once last but at times."""
        costs = self.fixed_costs(need)
        paired = can_pair(need)
        early = paired and (self.thorough or self.rng.random() < _PAIRS_TRIED)
        free = most >= self.state.model.season.weights.unplaced  # else it is no wonder that nothing is found
        if len(need.works) == 1 and not early and not self.wishes:
            yield from self._single(need, costs, most)
        else:
            several = Several(self, need, FAR if self.thorough else _DAYS_OPENED, most)
            collided = False
            for way in _opened(self._several(several, costs, early=early), most):
                collided = True
                yield way
            if several.left_out and (collided or free):  # look at every one
                yield from _opened(self._several(Several(self, need, FAR, most), costs, early=False), most)
        if paired and not early and free:
            yield from _opened(self._pairs(need, costs), most)

    def on_day(self, need: Need, day: int) -> list[Candidate]:
        """Every way to put a group in on one day, in no order of cost."""
        i = need.days.index(day)
        fixed = self.fixed_costs(need)[i]
        pairs = pairs_on(self, need, i, fixed) if can_pair(need) else ()
        return list(_flat(chain(Several(self, need).on_day(i, fixed), pairs)))

    def as_kept(self, item: Assignment, worst: int) -> Iterator[Candidate]:
        """The very place of the plan that is kept."""
        weights = self.state.model.season.weights
        cost = weights.day_moved * item.moved + weights.worst_move * max(0, item.moved - worst)
        cost += weights.rest_day * self.state.model.rest_days(item.need, item.ai_day)
        found = self.all_added(item.stops)
        if found is None or (item.barn >= 0 and not self.state.barn_free(item.barn, item.need, barn_days(item))):
            return
        yield Candidate(cost + found[0], item, found[1])

    def _single(self, need: Need, costs: list[float], dearest: float) -> Iterator[Candidate]:
        """The usual group: one visit. The hottest loop of the search."""
        frame, routes, taken = self.frame(need), self.state.routes, self.state.days
        place, head, most, detour = need.place, frame.head[0], routes.most, routes.detour
        heap: list[tuple[float, int, int, int, int]] = []  # least cost, number, number of the day, key, technician
        add, number = heap.append, 0
        for i, row in enumerate(frame.rows[0]):
            fixed = costs[i]
            if fixed > dearest:
                continue
            for alone, key, person in row:
                number += 1
                old = taken.get(key)
                if old is None:
                    least = fixed + alone
                elif old.head + head <= most[person]:
                    least = fixed + detour(old, place)
                else:
                    continue
                if least <= dearest:
                    add((least, number, i, key, person))
        heapify(heap)
        ready: list[tuple[float, int, Candidate]] = []
        while heap or ready:
            if ready and (not heap or ready[0][0] <= heap[0][0]):
                yield heappop(ready)[2]
                continue
            _, number, i, key, person = heappop(heap)
            way = self._exactly(need, i, key, person, costs[i])
            if way is not None and way.cost <= dearest:
                heappush(ready, (way.cost, number, way))

    def _exactly(self, need: Need, i: int, key: int, person: int, fixed: float) -> Candidate | None:
        """One visit by a technician on the group's day number `i`, with what it costs in truth."""
        if self.blink and self.rng.random() < self.blink:
            return None
        day, own = need.days[i], need.works[0].part is Part.AI
        barn = self.barn(need, day, 1)
        if barn is None:
            return None
        mine, on = self.state.model.people[person].rate, key // self.state.width
        for treatment in self.state.visits.treatments(need, day):
            visit = self.visit(need, 0, day, treatment, 0.0 if own else need.ranch.ai_rate, mine, on)
            if visit is None:
                return None
            found = self.added(person, visit, None)
            if found is None:
                return None
            rate, stops = mine if visit.ai else need.ranch.ai_rate, ((person, visit),)
            return self.candidate(need, day, treatment, rate, stops, barn, {key: found[1]}, fixed + found[0])
        return None

    def _several(self, several: Several, costs: list[float], *, early: bool) -> Iterator[Opening | Candidate]:
        need = several.need
        wish = self.wishes.get(need.index)
        if wish is not None and wish.kept is not None:
            yield from self.as_kept(wish.kept, self.state.worst_move())
        for i, fixed in enumerate(costs):
            yield from several.day(i, fixed)
        if early:  # one technician day more is what two at once can save
            yield self.state.model.season.weights.technician_day, lambda: self._pairs(need, costs)

    def _pairs(self, need: Need, costs: list[float]) -> Iterator[Opening]:
        for i, fixed in enumerate(costs):
            yield from pairs_on(self, need, i, fixed)


def _opened(ways: Iterable[Opening | Candidate], most: float) -> Iterator[Candidate]:
    """The candidates among ways and what they open into, the cheapest first, up to a cost."""
    heap: list[tuple[float, int, Opening | Candidate]] = []
    number = count()

    def push(more: Iterable[Opening | Candidate]) -> None:
        for way in more:
            cost = way.cost if isinstance(way, Candidate) else way[0]
            if cost <= most:
                heappush(heap, (cost, next(number), way))

    push(ways)
    while heap:
        way = heappop(heap)[2]
        if isinstance(way, Candidate):
            yield way
        else:
            push(way[1]())


def _flat(ways: Iterable[Opening | Candidate]) -> Iterator[Candidate]:
    """All candidates among ways and what they open into, one way after the other."""
    for way in ways:
        if isinstance(way, Candidate):
            yield way
        else:
            yield from _flat(way[1]())
