"""Technicians' days on ways, the cheapest first, worked out only as far as they are asked for."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from heapq import heappop, heappush
from itertools import chain

from scheduling.kernel.search.exact.daily import Daily
from scheduling.kernel.search.exact.hours import least_on
from scheduling.kernel.search.exact.session import tied
from scheduling.kernel.search.exact.stays import Day
from scheduling.kernel.search.exact.walks import Walk

_TINY = 1e-6
# Ways of a day are looked for that cost so much more than the least, then up to so many times as much more.
_LITTLE, _WIDER = 5.0, 3.0


@dataclass(frozen=True, eq=False)
class Ridden:
    """Technicians' days, each with its date, and their ways; none: others than those looked at."""

    days: Sequence[tuple[int, Day]]
    walks: Sequence[Walk]


# What something costs at least, and what it is, or how it is found out.
Entry = tuple[float, "Ridden | Callable[[], Iterable[Entry]]"]


class Cheapest:
    """What costs less than so much, in order; after so many steps (`most`) what is left is told as unknown."""

    def __init__(self, first: Iterable[Entry], below: float, most: int) -> None:
        self.below, self._left = below, most
        self._heap: list[tuple[float, int, Ridden | Callable[[], Iterable[Entry]]]] = []
        self._found: list[tuple[float, Ridden]] = []
        self._number = 0
        self._add(first, 0.0)

    def _add(self, entries: Iterable[Entry], least: float) -> None:
        for cost, what in entries:
            if max(cost, least) < self.below - _TINY:
                heappush(self._heap, (max(cost, least), self._number, what))
                self._number += 1

    def at(self, i: int) -> tuple[float, Ridden] | None:
        """The i-th cheapest, if there is one."""
        while len(self._found) <= i and self._heap:
            cost, _, what = heappop(self._heap)
            if isinstance(what, Ridden):
                self._found.append((cost, what))
            elif self._left <= 0:
                self._found.append((cost, Ridden((), ())))
                self._heap.clear()
            else:
                self._left -= 1
                self._add(what(), cost)
        return self._found[i] if i < len(self._found) else None


def on_day(day: Daily, mask: int, least: float, below: float, most: int) -> Cheapest:
    """Who does a day's set of sessions, which costs at least so much, on which ways: first those that cost little more."""

    def upto(limit: float, since: float) -> Iterator[Entry]:
        found, others = day.ridden(mask, limit)
        for cost, (days, walks) in found:
            if cost >= since:
                yield cost, Ridden([(day.day, one) for one in days], walks)
        if others < limit:
            yield others, Ridden((), ())
        elif limit < below:
            yield limit, partial(upto, min(below, least + _WIDER * (limit - least)), limit)

    return Cheapest([(least, partial(upto, min(below, least + _LITTLE), 0.0))], below, most)


def joined(one: Cheapest, other: Cheapest, below: float, most: int) -> Cheapest:
    """Ways of some days with those of others, hours that tie them included."""

    def pair(i: int, j: int) -> Iterator[Entry]:
        mine, theirs = one.at(i), other.at(j)
        if mine is not None and theirs is not None:
            yield mine[0] + theirs[0], partial(opened, i, j, mine, theirs)

    def opened(i: int, j: int, mine: tuple[float, Ridden], theirs: tuple[float, Ridden]) -> Iterable[Entry]:
        return chain(_together(mine, theirs, below), pair(i, j + 1), pair(i + 1, 0) if not j else ())

    return Cheapest(pair(0, 0), below, most)


def _together(mine: tuple[float, Ridden], theirs: tuple[float, Ridden], below: float) -> Iterator[Entry]:
    (cost, one), (more, other) = mine, theirs
    days, walks = [*one.days, *other.days], [*one.walks, *other.walks]
    if not one.walks or not other.walks:
        yield cost + more, Ridden((), ())
    elif _tied(one, other):
        yield least_on([day for _, day in days], walks, below), Ridden(days, walks)
    else:
        yield cost + more, Ridden(days, walks)


def _tied(one: Ridden, other: Ridden) -> bool:
    """Whether hours tie sessions of the one to some of the other."""
    mine = [item for _, day in one.days for item in day.ways.of(day.mask)]
    theirs = [item for _, day in other.days for item in day.ways.of(day.mask)]
    return any(tied(item, some) for item in mine for some in theirs)
