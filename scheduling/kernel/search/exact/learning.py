"""What the first program learns from hours: what makes a choice dearer than it thought is forbidden or charged.

Cutting down drops options, technician-days, and single stops of these, as long as what is left costs as much. Why a smaller
choice speaks for larger ones: a technician-day without some of its stops keeps its hours and costs no more, since no way round
is shorter than the direct one and fewer visits have no more half hours. So technician-days that hold the stops that are left
cannot be where these cannot, and cost no less than these do.
"""

from collections.abc import Callable, Sequence
from math import inf
from typing import TypeVar

from scheduling.kernel.search.exact.days import Work
from scheduling.kernel.search.exact.master import Master
from scheduling.kernel.search.exact.options import Option, Stop
from scheduling.kernel.search.exact.program import TINY
from scheduling.kernel.search.exact.timing import Timing

# A choice is cut down as long as so much of what it costs more is left.
_SHARE = 0.3

T = TypeVar("T")


class Learning:
    """Cuts for a master. `cuts` counts them."""

    def __init__(self, master: Master, timing: Timing) -> None:
        self.master, self.timing = master, timing
        self.cuts = 0
        self._fewer: dict[tuple[int, int, frozenset[Stop]], Work | None] = {}

    def learn(
        self, works: Sequence[Work], options: Sequence[Option], charged: Callable[[Sequence[Work]], float]
    ) -> float:
        """Cut off a part of a choice that is dearer than the master thinks; how much more it costs.

        `charged` tells what the master's choice pays for hours on technician-days. Where several of them are dear for reasons
        of their own, there is a cut for each.
        """
        rest, short = list(works), self._more(works, options) - charged(works)
        first = short
        while short > TINY:
            some, whole, others = self._core(rest, list(options), charged, _SHARE * short)
            self.cuts += 1
            more = self._more(some, others)
            if more == inf:
                self.master.forbid(some, others)
                break
            self.master.charge(some, others, more)
            rest = [work for work in rest if work not in whole]
            short = self._more(rest, options) - charged(rest)
        return max(0.0, first)

    def _more(self, works: Sequence[Work], options: Sequence[Option], paid: float | None = None) -> float:
        """What hours add to the cost of technician-days, or to what is paid for them."""
        times = self.timing.least(works, options)
        paid = sum(work.cost for work in works) if paid is None else paid
        return inf if times is None else max(0.0, times.cost - paid)

    def _core(
        self, works: list[Work], options: list[Option], charged: Callable[[Sequence[Work]], float], least: float
    ) -> tuple[list[Work], list[Work], list[Option]]:
        """As few of them as still cost so much more than is charged: without stops that make no difference, and with all.

        A stop makes none where the technician-days of the choice still cost as much more.
        """
        options = _fewest(options, lambda rest: self._more(works, rest) - charged(works) >= least)
        whole = _fewest(works, lambda rest: self._more(rest, options) - charged(rest) >= least)
        works, paid, least = whole, sum(work.cost for work in whole), self._more(whole, options) - TINY
        for i, work in enumerate(whole):
            for stop in work.in_order:
                fewer = self._without(works[i], stop)
                rest = [*works[:i], fewer, *works[i + 1 :]] if fewer is not None else works
                if fewer is not None and self._more(rest, options, paid) >= least:
                    works = rest
        return works, whole, options

    def _without(self, work: Work, stop: Stop) -> Work | None:
        """The technician-day with one stop less; None where it has no other."""
        stops = work.stops - {stop}
        key = work.person, work.day, stops
        if key not in self._fewer:
            self._fewer[key] = work.on.work(stops) if stops else None
        return self._fewer[key]


def _fewest(items: list[T], enough: Callable[[list[T]], bool]) -> list[T]:
    """As few of them as are still enough: halves are dropped first, then halves of what must stay."""
    size = len(items)
    while size:
        for start in range((len(items) - 1) // size * size, -1, -size):
            rest = items[:start] + items[start + size :]
            if len(rest) < len(items) and enough(rest):
                items = rest
        size = size // 2
    return items
