"""Head of two technicians who are at one lot at once, as near to their paces as their days' most head allows.

The rules ask for the sum only, so that the program may give one of them nearly all. Nobody would do it like that.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from scheduling.kernel.search.visits import two_shares


@dataclass
class Shared:
    """A lot in two hands: the technician-days by their numbers, their paces in head an hour, the head of each."""

    tours: tuple[int, int]
    rates: tuple[float, float]
    heads: tuple[int, int]


def near_to_pace(shared: Iterable[Shared], room: dict[int, int]) -> None:
    """Change the heads, one lot after the other; each has one head at least. `room`: head that a day could have more."""
    for lot in shared:
        one, other = lot.tours
        least = max(1, lot.heads[0] - room[other])
        most = min(sum(lot.heads) - 1, lot.heads[0] + room[one])
        wanted = two_shares(sum(lot.heads), lot.rates)[0]
        first = min(max(wanted, least), most)
        more = first - lot.heads[0]
        room[one], room[other] = room[one] - more, room[other] + more
        lot.heads = first, lot.heads[1] - more
