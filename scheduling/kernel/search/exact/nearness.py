"""What the bound of everything leaves: the sets of works that a day of a cheaper plan can have, if there is such a plan."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from math import inf

from scheduling.kernel.search.exact.beyond import Beyond
from scheduling.kernel.search.exact.days import TooMany
from scheduling.kernel.search.exact.master import Near
from scheduling.kernel.search.exact.options import NotCovered
from scheduling.kernel.search.exact.program import TINY
from scheduling.kernel.search.exact.session import Key
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.routes import Routes

_NODES = 20_000
# Of the seconds so much is for the bound; the rest is for the choice among what it leaves.
_SHARE = 0.8


class Nearness:
    """The bound for every worst move, against a cost (`look`). Where there is no such bound, everything is near."""

    def __init__(self, model: Model, routes: Routes, most: int, left: Callable[[], float]) -> None:
        self.left, self.bound = left, _bound(model, routes, most, left)
        self._sets: dict[int, _Left] = {}
        self._possible: set[Key] = set()
        self._least: float | None = None

    def least(self) -> float:
        """What every plan costs at least, as far as the bound knows yet; 0 where there is none."""
        if self._least is None and self.bound is not None:
            self._least = min(map(self.bound.least, range(self.bound.farthest + 1)))
        return self._least or 0.0

    def look(self, cost: float) -> None:
        """Look what is near a cost."""
        self._least = None
        if self.bound is not None:
            self.bound.left = _for_the_bound(self.left)
            try:
                self._sets = {worst: _left_by(self.bound, worst, cost) for worst in range(self.bound.farthest + 1)}
                self.bound.left = self.left
            except TooMany:
                self.bound, self._sets = None, {}
        self._possible = self._near_keys()

    def again(self, cost: float) -> bool:
        """Look once more what is near a cost, with all that was learnt since; whether there is a bound."""
        if self.bound is not None:
            with suppress(TooMany):  # what there was holds, too
                for worst in range(self.bound.farthest + 1):
                    self._sets[worst] = _left_by(self.bound, worst, cost)
            self._possible = self._near_keys()
        return self.bound is not None

    def _near_keys(self) -> set[Key]:
        every = [sets for left in self._sets.values() for sets in left.days.values()]
        return {key for sets in every for some in sets for key in some}

    def possible(self, key: Key) -> bool:
        """Whether a cheaper plan can have that work."""
        return self.bound is None or key in self._possible

    def on(self, day: int) -> list[frozenset[Key]] | None:
        """The sets of works that a day of a cheaper plan can have; None: all."""
        if self.bound is None:
            return None
        return list({some for left in self._sets.values() for some in left.days.get(day, ())})

    def sets(self, worst: int, cost: float) -> Near | None:
        """The sets by day of plans with that worst move that are cheaper than so much; None: all."""
        return None if self.bound is None else self._left(self.bound, worst, cost).days

    def none(self, worst: int, cost: float) -> bool:
        """Whether no plan with that worst move can be cheaper."""
        return self.bound is not None and not self._left(self.bound, worst, cost).any

    def _left(self, bound: Beyond, worst: int, cost: float) -> "_Left":
        if cost < self._sets[worst].cost:
            with suppress(TooMany):  # what there was for a dearer plan holds, too
                self._sets[worst] = _left_by(bound, worst, cost)
        return self._sets[worst]

    def nothing_below(self, cost: float) -> bool:
        """Whether no plan at all is cheaper: other lots, other hands and other minutes included."""
        bound = self.bound
        if bound is None:
            return False
        try:
            return all(bound.nothing_below(worst, cost - TINY, _NODES) for worst in range(bound.farthest + 1))
        except TooMany:
            return False


@dataclass(frozen=True)
class _Left:
    """Against a cost: whether there can be a cheaper plan, and the sets of works of its days."""

    cost: float
    any: bool
    days: dict[int, list[frozenset[Key]]]


def _left_by(bound: Beyond, worst: int, cost: float) -> _Left:
    near = bound.near(worst, cost)
    return _Left(cost, bool(len(near)), bound.days_in(near))


def _bound(model: Model, routes: Routes, most: int, left: Callable[[], float]) -> Beyond | None:
    try:
        return Beyond(model, routes, most, _for_the_bound(left))
    except (NotCovered, TooMany):
        return None


def _for_the_bound(left: Callable[[], float]) -> Callable[[], float]:
    """The seconds that the bound may take of those left now."""
    seconds = left()
    kept = (1 - _SHARE) * seconds if seconds < inf else 0.0
    return lambda: left() - kept
