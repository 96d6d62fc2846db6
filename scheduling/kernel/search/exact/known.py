"""Half hours of technicians' days on given ways that were found, and what they say of other days of the same technician.

Whoever does less on the same way, or leaves places of it out, needs no more time: no way round is shorter. So what asks for no
half hour with more to do asks for none with less, and where hours cannot be kept with less to do, they cannot with more.
"""

from collections.abc import Hashable
from itertools import groupby
from math import inf

from scheduling.kernel.search.exact.walks import Walk

# Sessions (bits) on a way.
_Done = tuple[int, Walk]


class Known:
    """What one technician's days on one date were found to cost beside driving."""

    def __init__(self) -> None:
        self._found: dict[Hashable, float] = {}
        self._free: list[_Done] = []
        self._never: list[_Done] = []

    def get(self, key: Hashable) -> float | None:
        """What was found for the same days on the same ways."""
        return self._found.get(key)

    def put(self, key: Hashable, cost: float) -> None:
        """Remember it."""
        self._found[key] = cost

    def alone(self, mask: int, walk: Walk) -> float | None:
        """What others tell of a day that is shared with nobody: 0, infinite, or None where they tell nothing."""
        if any(not mask & ~more and _without(wide, walk) == walk for more, wide in self._free):
            return 0.0
        if any(not less & ~mask and _without(walk, short) == short for less, short in self._never):
            return inf
        return None

    def put_alone(self, mask: int, walk: Walk, cost: float) -> None:
        """Remember a day that is shared with nobody, for what it tells of others."""
        if cost <= 0:
            self._free.append((mask, walk))
        elif cost == inf:
            self._never.append((mask, walk))


def _without(walk: Walk, kept: Walk) -> Walk:
    """A way that leaves out the places that another does not come to."""
    there = set(kept)
    return tuple(place for place, _ in groupby(place for place in walk if place in there))
