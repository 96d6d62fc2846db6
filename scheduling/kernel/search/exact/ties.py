"""Days that hang together: treatment by a technician on one, AI on another; or both sessions of split-time AI."""

from collections.abc import Sequence
from math import inf

from scheduling.kernel.search.exact.daily import Daily
from scheduling.kernel.search.exact.hours import least, least_on
from scheduling.kernel.search.exact.session import tied
from scheduling.kernel.search.exact.walks import together

# So many ways to share the days' work out are tried where it is asked whether there is any.
_MOST_SHARED_OUT = 60
# So many ways to ride all the days are tried; what the next would cost at least is the bound then.
_MOST_RIDDEN = 300
_TINY = 1e-6
# What hours may cost more together is looked for in steps: up to so much, then so many times as much.
_LITTLE, _WIDER = 5.0, 3.0
# Dearer than any day.
_NEVER = 1e9

# A day and the set of sessions (bits) that technicians come for.
Set = tuple[Daily, int]


def components(chosen: Sequence[Set]) -> list[list[int]]:
    """Numbers of the sets that hang together, where there is more than one."""
    mine = [day.of(mask) for day, mask in chosen]
    root = list(range(len(chosen)))

    def find(i: int) -> int:
        while root[i] != i:
            i = root[i]
        return i

    for i, items in enumerate(mine):
        for j in range(i):
            if any(tied(one, other) for one in items for other in mine[j]):
                root[find(i)] = find(j)
    found: dict[int, list[int]] = {}
    for i in range(len(chosen)):
        found.setdefault(find(i), []).append(i)
    return [row for row in found.values() if len(row) > 1]


def possible(days: Sequence[Daily]) -> bool:
    """Whether all sessions of some days can be held at all, by anybody, in any lots; True where it is not known."""
    sets = [(day, len(day.costs) - 1) for day in days]
    if max(float(day.costs[mask]) for day, mask in sets) == inf:
        return False
    rows = [[(base, key) for base, *key in day.shared_out(mask, _NEVER)] for day, mask in sets]
    for count, (_, chosen) in enumerate(together(rows)):
        there = [
            day for (on, _), (mine, theirs) in zip(sets, chosen, strict=True) for day in on.by_person(mine, theirs)
        ]
        if count >= _MOST_SHARED_OUT or least(there, _NEVER) < _NEVER:
            return True
    return False


def joint(sets: Sequence[Set], costs: Sequence[float], below: float) -> float:
    """What days that hang together cost at least in all, as far as that is below so much; else `below`.

    `costs` are what each costs at least by itself.
    """
    alone, room = sum(costs), min(_LITTLE, below - sum(costs))
    while True:
        # where some day costs so much more by itself, so do all
        found = _joint(sets, costs, alone + room)
        if found < alone + room - _TINY or alone + room >= below - _TINY:
            return min(found, below)
        room = min(_WIDER * room, below - alone)


def _joint(sets: Sequence[Set], costs: Sequence[float], below: float) -> float:
    """The same, looking at all ways of every day that cost no more by themselves than there is room for."""
    room = below - sum(costs)
    rows, found = [], below
    for (day, mask), cost in zip(sets, costs, strict=True):
        row, most = day.ridden(mask, cost + room)
        rows.append([(max(there, cost), ridden) for there, ridden in row])
        found = min(found, most + sum(costs) - cost)
    for count, (base, chosen) in enumerate(together(rows)):
        if base >= found - _TINY:
            break
        if count >= _MOST_RIDDEN:
            return min(found, base)
        days = [day for row, _ in chosen for day in row]
        walks = [walk for _, row in chosen for walk in row]
        found = min(found, max(base, least_on(days, walks, found)))
    return found
