"""A group's work on an AI day that it can have, with the hours that no lot of it can leave."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time

from scheduling.kernel.search.model import Need, Part, Trip, Work, hour_anchor, minute_of
from scheduling.kernel.season import Hands, Order
from scheduling.kernel.sessions import session_head

_NOON = time(12)
# So many sizes of a group's largest lot are told apart, down to half of the group.
_MOST_SIZES = 7

# A group by its number, its AI day, the number of its work.
Key = tuple[int, int, int]
# First and last minute at which any technician can be at work at a group's ranch on a day; None where nobody can.
Reach = Callable[[Need, int], tuple[float, float] | None]


@dataclass(frozen=True)
class Size:
    """Plans in which the largest lot of a group has so many head at least: what is booked at least for it, and in all."""

    least: int
    booked: int
    total: int


@dataclass(frozen=True, eq=False)
class Session:
    """What technicians come for: head in all (0: a treatment), first and last minute of any of it, noon at the ranch.

    `turns` are the least and most minutes that an animal takes, whoever is at work; `hours` the first and last minute of a turn
    at each of the group's trips; `sizes` what is booked by how large the largest lot is, where that makes a difference.
    """

    need: Need
    ai_day: int
    number: int
    head: int
    low: float
    high: float
    noon: int
    turns: tuple[float, float]
    hours: Mapping[str, tuple[float, float]]
    sizes: tuple[Size, ...]

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

    @property
    def everybody(self) -> bool:
        """Whether every animal of the group may be the last of its lot there: all come, or in any order."""
        return not self.ai or self.head == self.need.group.head or self.need.group.order is Order.ANY

    @property
    def most_head(self) -> int:
        """The head that is booked at least in all, however small the lots."""
        return self.sizes[-1].total if self.sizes else self.head

    def minutes(self, rate: float) -> float:
        """How long one technician of that pace takes for all of it."""
        return self._lasts(self.head, rate)

    def most_minutes(self, rate: float) -> float:
        """The same where the lots are so small that the most head is booked."""
        return self._lasts(self.most_head, rate)

    def _lasts(self, head: int, rate: float) -> float:
        return 60.0 * (head / rate if self.ai else self.need.group.head / self.need.ranch.treat_rate)

    def agrees(self, others: Sequence["Session"]) -> bool:
        """Whether it goes with others: a group has one AI day, and each of its works once."""
        return all(
            other.need is not self.need or (other.ai_day == self.ai_day and other.number != self.number)
            for other in others
        )


def sessions_of(need: Need, rates: Sequence[float], reach: Reach) -> Iterator[Session]:
    """All of a group's; AI after seen heat is not among them. `rates` are the AI rates of all technicians."""
    trips = [work.trip for work in need.works if work.trip is not None]
    sizes = _sizes(need)
    for ai_day in need.days if trips else ():
        hours = turns_of(need, ai_day, reach)
        for number, work in enumerate(need.works):
            if work.trip is None:
                continue
            ai = work.trip.ai
            head = session_head(need.protocol, ai, need.group.head) if ai is not None else 0
            treated = 60 / need.ranch.treat_rate
            turns = (60 / sum(rates), 60 / min(rates)) if ai is not None and rates else (treated, treated)
            low, high = hours[work.trip.key]
            _, closes = _at_work(need, work.trip, ai_day, reach)
            noon = minute_of(date.fromordinal(ai_day + work.day), _NOON, need.ranch.zone)
            latest, mine = min(closes, high + turns[1]), sizes.get(work.trip.key, ())
            yield Session(need, ai_day, number, head, low, latest, noon, turns, hours, mine)


def _sizes(need: Need) -> dict[str, tuple[Size, ...]]:
    """By AI trip how much head is booked at least, by the head of a group's largest lot, the largest first.

    Only where AI is split over two sessions, which book more the smaller the lots are. All trips have the same steps.
    """
    head, trips = (
        need.group.head,
        [work.trip for work in need.works if work.trip is not None and work.trip.ai is not None],
    )
    if len(need.protocol.ai_steps) < 2 or not trips:
        return {}
    whole = {trip.key: [0, *(_booked(need, trip, number) for number in range(1, head + 1))] for trip in trips}
    least = {trip.key: _in_lots(whole[trip.key]) for trip in trips}
    found: dict[str, list[Size]] = {trip.key: [] for trip in trips}
    most = head
    while most > 0:
        few = most
        last = len(found[trips[0].key]) == _MOST_SIZES - 1 or 2 * most <= head
        while few > 1 and (last or all(least[key][few - 1] == least[key][most] for key in found)):
            few -= 1
        for key, row in found.items():
            row.append(Size(few, whole[key][few], least[key][most]))
        most = few - 1
    return {key: tuple(row) for key, row in found.items()}


def _booked(need: Need, trip: Trip, head: int) -> int:
    assert trip.ai is not None
    return session_head(need.protocol, trip.ai, head)


def _in_lots(booked: Sequence[int]) -> list[int]:
    """The least head booked in all for a group in lots of so many head at most, by that number (0: no matter)."""
    head = len(booked) - 1
    found, least = [0], [0, *([sum(booked)] * head)]
    for most in range(1, head + 1):
        for number in range(most, head + 1):
            least[number] = min(least[number], least[number - most] + booked[most])
        found.append(least[head])
    return found


def linked(one: Session, other: Session) -> tuple[float, float] | None:
    """Least and most minutes from an animal's turn at one session to its turn at another, where a rule says so."""
    if one.need is not other.need or one.ai_day != other.ai_day or one.work.trip is None or other.work.trip is None:
        return None
    return _apart(one.work.trip, other.work.trip)


def tied(one: Session, other: Session) -> bool:
    """Whether hours tie sessions on two days to each other: by a rule, or both to one treatment."""
    same = one.need is other.need and one.ai_day == other.ai_day and one is not other
    return same and ((one.ai and other.ai) or linked(one, other) is not None or linked(other, one) is not None)


@dataclass(frozen=True)
class Anchor:
    """Treatment or AI by the ranch itself: first minute and last, how long it takes, an animal's turn; hours to sessions."""

    low: float
    high: float
    minutes: float
    turn: float
    rules: tuple[tuple[Session, tuple[float, float]], ...]


def anchor_of(items: Sequence[Session]) -> Anchor | None:
    """The ranch's treatment that several AI sessions of one group on one AI day are tied to, if it is the ranch's."""
    need = items[0].need
    trip = need.anchor
    if trip is None or any(work.trip is trip for work in need.works):
        return None
    rules = []
    for item in items:
        rule = _apart(trip, item.work.trip) if item.work.trip is not None else None
        if rule is not None:
            rules.append((item, rule))
    turn = 60 / need.ranch.treat_rate
    low, high = items[0].hours[trip.key]
    several = len(rules) > 1 or any(item.sizes for item, _ in rules)
    return Anchor(low, high + turn, turn * need.group.head, turn, tuple(rules)) if several else None


def own_ai_of(items: Sequence[Session]) -> Iterator[Anchor]:
    """The ranch's own AI sessions that are tied to treatment by technicians."""
    need = items[0].need
    for trip in need.sessions if need.group.ai_by is Hands.RANCH else ():
        rules = [
            (item, rule) for item in items if item.work.trip and (rule := _apart(item.work.trip, trip)) is not None
        ]
        turn = 60 / need.ranch.ai_rate
        low, high = items[0].hours[trip.key]
        if rules:
            yield Anchor(low, high + turn, turn * need.group.head, turn, tuple(rules))


def _hours(need: Need, trip: Trip, ai_day: int) -> tuple[int, int]:
    """The ranch's hours on a trip's day."""
    day, ranch = date.fromordinal(ai_day + trip.day), need.ranch
    return minute_of(day, ranch.opens, ranch.zone), minute_of(day, ranch.closes, ranch.zone)


def _at_work(need: Need, trip: Trip, ai_day: int, reach: Reach | None) -> tuple[float, float]:
    """The ranch's hours on a trip's day; where technicians come for it, only those at which any of them can be there."""
    opens, closes = _hours(need, trip, ai_day)
    there = reach(need, ai_day + trip.day) if reach is not None and any(w.trip is trip for w in need.works) else None
    return (opens, closes) if there is None else (max(opens, there[0]), min(closes, there[1]))


def turns_of(need: Need, ai_day: int, reach: Reach | None = None) -> dict[str, tuple[float, float]]:
    """First and last minute at which an animal's turn can begin at each trip, so that all its other turns can be in time.

    A treatment is over one turn after it began; what AI takes depends on who is there and is left away. Every rule narrows
    both of its trips, over and over until nothing changes (rules make no rounds, so that is at most once for each trip).
    Where AI is split over two sessions and the order is kept, the last treated of a lot need not come to both; the first
    treated comes to both.
    """
    found = {}
    for trip in need.trips:
        opens, closes = _at_work(need, trip, ai_day, reach)
        found[trip.key] = float(opens), closes - (60 / need.ranch.treat_rate if trip.ai is None else 0.0)
    for _ in need.trips:
        for one in need.trips:
            for other in need.trips:
                rule = _apart(one, other)
                if rule is not None:
                    (low, high), (first, last) = found[one.key], found[other.key]
                    latest = last - rule[0] if _comes_whole(need, other) else high
                    found[one.key] = max(low, first - rule[1]), min(high, latest)
                    found[other.key] = max(first, low + rule[0]), min(last, high + rule[1])
    return found


def _comes_whole(need: Need, trip: Trip) -> bool:
    """Whether every animal comes to a trip, or its hours are counted as if it did."""
    if trip.ai is None or need.group.ai_by is Hands.RANCH or need.group.order is Order.ANY:
        return True
    return session_head(need.protocol, trip.ai, need.group.head) == need.group.head


def _apart(one: Trip, other: Trip) -> tuple[float, float] | None:
    """Least and most minutes from an animal's turn at one trip to its turn at another, where a rule says so.

    Such rules are timed AI after treatment, and a treatment that must follow another within hours (a second PG).
    """
    step = other.ai if other.ai is not None else hour_anchor(other)
    rule = step.after if step is not None else None
    if rule is None or one is other or rule.step not in one.keys:
        return None
    return 60 * rule.window[0], 60 * rule.window[1]
