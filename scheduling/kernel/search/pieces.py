"""What an answer of set partitioning changes, in pieces that have neither groups nor technician-days in common.

The linear model knows nothing of chutes. Where one spoils an answer, its pieces are tried one by one, so that one ranch spoils
its own piece only.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from scheduling.kernel.search.partition import Answer
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit

Stop = tuple[int, Visit]


@dataclass
class Piece:
    """Technician-days that change together and have work afterwards, and the groups of which a stop changes with them."""

    days: dict[int, Route] = field(default_factory=dict)
    groups: list[int] = field(default_factory=list)


def pieces_of(state: State, groups: Iterable[int], answer: Answer) -> list[Piece]:
    """The pieces of an answer for these groups. Nothing is left out: all pieces together are the answer."""
    links: dict[int, int] = {}
    changed: dict[int, int] = {}  # group to one of its technician-days
    touched = {key for key, route in answer.days.items() if state.days.get(key) is not route}
    for index in groups:
        item = state.placed[index]
        before, after = item.stops if item is not None else (), answer.stops.get(index, [])
        if set(before) != set(after):
            keys = [_key(state, stop) for stop in (*before, *after)]
            for key in keys[1:]:
                links[_root(links, key)] = _root(links, keys[0])
            changed[index] = keys[0]
            touched.update(keys)  # also where one of several stops stays: the group is taken out as a whole
    found: dict[int, Piece] = defaultdict(Piece)
    for key, route in answer.days.items():
        if key in touched:
            found[_root(links, key)].days[key] = route
    for index, key in changed.items():
        found[_root(links, key)].groups.append(index)
    return list(found.values())


def _key(state: State, stop: Stop) -> int:
    return stop[1].day * state.width + stop[0]


def _root(links: dict[int, int], key: int) -> int:
    """Who stands for all technician-days that hang together with this one."""
    while (up := links.setdefault(key, key)) != key:
        key = up
    return key
