"""A group's work on an AI day that it can have, with the hours that no lot of it can leave."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, time

from scheduling.kernel.search.model import Need, Part, Trip, Work, minute_of
from scheduling.kernel.sessions import session_head

_NOON = time(12)

# A group by its number, its AI day, the number of its work.
Key = tuple[int, int, int]


@dataclass(frozen=True, eq=False)
class Session:
    """What technicians come for: head in all (0: a treatment), first and last minute of any of it, noon at the ranch."""

    need: Need
    ai_day: int
    number: int
    head: int
    low: float
    high: float
    noon: int

    @property
    def key(self) -> Key:
        """Group, AI day and number of the work."""
        return self.need.index, self.ai_day, self.number

    @property
    def work(self) -> Work:
        """What technicians come for."""
        return self.need.works[self.number]

    @property
    def day(self) -> int:
        """The day's ordinal."""
        return self.ai_day + self.work.day

    @property
    def place(self) -> int:
        """The ranch."""
        return self.need.place

    @property
    def moved(self) -> int:
        """Days from the wish."""
        return abs(self.ai_day - self.need.wanted)

    @property
    def ai(self) -> bool:
        """Whether it counts towards head and half hours."""
        return self.work.part is Part.AI

    def minutes(self, rate: float) -> float:
        """How long one technician of that pace takes for all of it."""
        return 60.0 * (self.head / rate if self.ai else self.need.group.head / self.need.ranch.treat_rate)

    def agrees(self, others: Sequence["Session"]) -> bool:
        """Whether it goes with others: a group has one AI day, and each of its works once."""
        return all(
            other.need is not self.need or (other.ai_day == self.ai_day and other.number != self.number)
            for other in others
        )


def sessions_of(need: Need, slowest: float) -> Iterator[Session]:
    """All of a group's; AI after seen heat is not among them. `slowest` is the least AI rate of any technician."""
    for ai_day in need.days:
        for number, work in enumerate(need.works):
            if work.trip is None:
                continue
            ai = work.trip.ai
            head = session_head(need.protocol, ai, need.group.head) if ai is not None else 0
            # The rule is about an animal's turn; its handling ends one turn later.
            turn = 60 / (slowest if ai is not None else need.ranch.treat_rate)
            low, high = _window(need, work.trip, ai_day, turn)
            noon = minute_of(date.fromordinal(ai_day + work.day), _NOON, need.ranch.zone)
            yield Session(need, ai_day, number, head, low, high, noon)


def _hours(need: Need, trip: Trip, ai_day: int) -> tuple[int, int]:
    """The ranch's hours on a trip's day."""
    day, ranch = date.fromordinal(ai_day + trip.day), need.ranch
    return minute_of(day, ranch.opens, ranch.zone), minute_of(day, ranch.closes, ranch.zone)


def _window(need: Need, trip: Trip, ai_day: int, turn: float) -> tuple[float, float]:
    """Hours in which an animal can be handled so that its own other handling falls into the ranch's hours."""
    low, high = map(float, _hours(need, trip, ai_day))
    for other in need.trips:
        opens, closes = _hours(need, other, ai_day)
        for least, most in _apart(trip, other):
            low, high = max(low, opens + least), min(high, closes + most + turn)
        for least, most in _apart(other, trip):
            low, high = max(low, opens - most), min(high, closes - least + turn)
    return low, high


def _apart(trip: Trip, anchor: Trip) -> Iterator[tuple[float, float]]:
    """Least and most minutes of timed AI at a trip after treatment at another, where a rule says so."""
    rule = trip.ai.after if trip.ai is not None else None
    if rule is not None and rule.step in anchor.keys:
        yield 60 * rule.window[0], 60 * rule.window[1]
