"""A technician's day done simply in turn: whether all AI is over by noon then, which saves a program."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from scheduling.kernel.search.exact.session import Session, linked
from scheduling.kernel.search.exact.stays import Day
from scheduling.kernel.search.exact.walks import Walk

_TINY = 1e-6


def over_by_noon(day: Day, walk: Walk) -> bool:
    """Whether nothing is late where a ranch is worked at as soon as it is come to (of several stays in the first, or in the
    last), what is over first or what opens first.

    Shared days are left to the program. A day that passes costs nothing beside driving, which is no more than any bound may
    say of it.
    """
    items = day.ways.of(day.mask)
    if day.shared or sum(item.most_head for item in items if item.ai) > day.ways.most:
        return False
    stays = [{place: k for k, place in numbered} for numbered in (list(enumerate(walk))[::-1], list(enumerate(walk)))]
    orders = [sorted(items, key=first) for first in (_over, _opens)]
    return any(_in_turn(day, walk, order, stay) for stay in stays[: 1 + (stays[0] != stays[1])] for order in orders)


def _in_turn(day: Day, walk: Walk, items: Sequence[Session], stay: Mapping[int, int]) -> bool:
    """Whether it goes in that order, with each place's work in that stay."""
    ways, clock, starts = day.ways, float(day.ways.opens), dict[Session, float]()
    for k, (before, place) in enumerate(pairwise((ways.touring.base, *walk))):
        clock += ways.touring.minutes(before, place)
        for item in items:
            if item.place == place and stay[place] == k:
                low, high = _linked_to(starts, item)
                starts[item] = max(clock, item.low, low)
                clock = starts[item] + item.most_minutes(ways.rate)
                if starts[item] > high + _TINY or clock > _over(item) + _TINY:
                    return False
    return not walk or clock + ways.touring.minutes(walk[-1], ways.touring.base) <= ways.closes + _TINY


def _linked_to(starts: dict[Session, float], item: Session) -> tuple[float, float]:
    """First and last minute of a session's start by those of the same day that it hangs together with."""
    low, high = item.low, item.high
    for other, start in starts.items():
        if linked(item, other) is not None:
            return high, low  # the other one is to come later
        rule = linked(other, item)
        if rule is not None:
            low, high = max(low, start + rule[0]), min(high, start + rule[1])
    return low, high


def _over(item: Session) -> float:
    """By when it is to be over."""
    return min(item.high, item.noon) if item.ai else item.high


def _opens(item: Session) -> float:
    return item.low
