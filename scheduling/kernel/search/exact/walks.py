"""Every way of a technician past a set of places, the shortest first; a place may be come to again."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import TypeVar

from scheduling.kernel.search.exact.touring import Touring

# So many beginnings of ways are looked at for one set of places.
_MOST_BEGINNINGS = 4000

Walk = tuple[int, ...]
T = TypeVar("T")


@dataclass(frozen=True)
class Tour:
    """A technician's day: places in the order of the way, and what is worked on (group and number of its work)."""

    person: int
    day: int
    walk: Walk
    works: frozenset[tuple[int, int]]


class TooFar(Exception):
    """More ways than are looked at."""


def walks(touring: Touring, places: frozenset[int], most_km: float) -> Iterator[tuple[float, Walk]]:
    """Km and places of every way from the base past all the places and home of less than so many km, the shortest first.

    Raises `TooFar` where there are too many; what came out before are the shortest.
    """
    base, road = touring.base, touring.model.road
    heap: list[tuple[float, float, Walk, bool]] = [(touring.tour(frozenset(), places), 0.0, (), False)]
    looked_at = 0
    while heap:
        _, km, walk, home = heappop(heap)
        if home:
            yield km, walk
            continue
        looked_at += 1
        if looked_at > _MOST_BEGINNINGS:
            raise TooFar
        here, seen = walk[-1] if walk else base, frozenset(walk)
        if seen >= places and walk:
            whole = km + road(here)[base][0]
            if whole < most_km:
                heappush(heap, (whole, whole, walk, True))
        for place in places - {here}:
            on = km + road(here)[place][0]
            least = on + touring.home(place, places - seen - {place})
            if least < most_km:
                heappush(heap, (least, on, (*walk, place), False))


def together(rows: Sequence[Sequence[tuple[float, T]]]) -> Iterator[tuple[float, tuple[T, ...]]]:
    """One item of each row, in all combinations, the least in all first. Rows are in order of their first number."""
    if not all(rows):
        return
    first = (0,) * len(rows)
    heap = [(sum(row[0][0] for row in rows), first)]
    seen = {first}
    while heap:
        total, chosen = heappop(heap)
        yield total, tuple(row[i][1] for row, i in zip(rows, chosen, strict=True))
        for n, row in enumerate(rows):
            i = chosen[n] + 1
            other = (*chosen[:n], i, *chosen[n + 1 :])
            if i < len(row) and other not in seen:
                seen.add(other)
                heappush(heap, (total - row[i - 1][0] + row[i][0], other))
