"""A group with more head than any technician takes a day: one technician after the other at one stall, each with own lots.

Every technician takes as many head as the day has room for, the last what is left. The lots go through the chute in one row,
as far apart as the slower of treatment and AI, so that one gap from treatment to AI suits them all. The group is then held to
the minute, like one of an earlier plan.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, pairwise, permutations

from scheduling.kernel.search.cut import Cut, CutLot, Handled
from scheduling.kernel.search.look import Candidate, Look
from scheduling.kernel.search.model import Need, Part, Trip
from scheduling.kernel.search.placing import held, stops_of
from scheduling.kernel.search.shape import ai_minutes, gap_minutes, head_at, treat_minutes
from scheduling.kernel.search.visits import bound_trips
from scheduling.kernel.throughput import fewest_lots

# Of so many of the nearest, so many at most one after the other; so many teams are tried, and hours in such steps.
_NEAR, _MOST_AFTER_EACH_OTHER = 6, 3
_TEAMS = 60
_GRID = 15

Team = tuple[int, ...]


@dataclass(frozen=True)
class _Row:
    """A team's lots in their order: technician and head of each, starts from the first in minutes, gaps to each session."""

    people: tuple[int, ...]
    heads: tuple[int, ...]
    offsets: tuple[int, ...]
    gaps: tuple[tuple[int, int], ...]


def is_too_large(look: Look, need: Need) -> bool:
    """Whether nobody may take all of the group's AI of a session on one day, and others may take the rest."""
    if not need.works or not need.sessions or need.fixed or any(work.part is not Part.AI for work in need.works):
        return False
    people = look.state.model.people
    most = sorted((people[person].technician.max_head_per_day for person in need.able), reverse=True)
    heads = [_booked(need, trip, need.group.head) for trip in need.sessions]
    return bool(most) and most[0] < max(heads) <= sum(most[:_MOST_AFTER_EACH_OTHER])


def relays(look: Look, need: Need) -> Iterator[Candidate]:
    """Ways to put such a group in, by the least that they cost; none for others. Clock times at the ranch are not settled."""
    if not is_too_large(look, need):
        return
    teams = sorted(
        (fixed + least, i, team)
        for i, fixed in enumerate(look.fixed_costs(need))
        for team, least in _teams(look, need, i)
    )
    for _, i, team in islice(teams, _TEAMS):
        row = _row(look, need, i, team)
        if row is not None:
            yield from _ways(look, need, i, row)


def _booked(need: Need, trip: Trip, head: int) -> int:
    assert trip.ai is not None
    return head_at(need, trip.ai, head)


# -- who comes --------------------------------------------------------------------------------------------------------
def _teams(look: Look, need: Need, i: int) -> Iterator[tuple[Team, float]]:
    """Technicians in every order who have room for the group on its day number `i`, with the least that they cost."""
    rooms = {person: _room(look, need, i, person) for person in look.near(need)[:_NEAR]}
    near = [person for person, room in rooms.items() if room > 0]
    for count in range(2, _MOST_AFTER_EACH_OTHER + 1):
        found = False
        for team in permutations(near, count):
            if sum(rooms[person] for person in team) >= need.group.head:
                found = True
                yield team, sum(_least(look, need, i, person) for person in team)
        if found:
            return


def _keys(look: Look, need: Need, i: int, person: int) -> list[int]:
    """The technician's days of the sessions."""
    days = (need.days[i] + trip.day for trip in need.sessions)
    return [day * look.state.width + person for day in days]


def _room(look: Look, need: Need, i: int, person: int) -> int:
    """The most head of the group that a technician's days have room for."""
    people, state, head = look.state.model.people, look.state, need.group.head
    for key, trip in zip(_keys(look, need, i, person), need.sessions, strict=True):
        if key // state.width in people[person].days_off:
            return 0
        old = state.days.get(key)
        room = people[person].technician.max_head_per_day - (old.head if old is not None else 0)
        while (
            head > 0 and (over := sum(_booked(need, trip, lot) for lot in _lots(look, need, person, head)) - room) > 0
        ):
            head -= over
    return max(0, head)


def _least(look: Look, need: Need, i: int, person: int) -> float:
    """What a technician's coming costs at least."""
    state, place = look.state, need.place
    olds = [state.days.get(key) for key in _keys(look, need, i, person)]
    return sum(state.routes.alone(person, place) if old is None else state.routes.detour(old, place) for old in olds)


# -- lots in a row ----------------------------------------------------------------------------------------------------
def _rate(look: Look, person: int) -> float:
    return look.state.model.people[person].rate


def _lots(look: Look, need: Need, person: int, head: int) -> tuple[int, ...]:
    rule = need.protocol.ai_steps[0].after
    assert rule is not None
    return fewest_lots(head, rule.window, need.pace(_rate(look, person)), need.lots_more)


def _row(look: Look, need: Need, i: int, team: Team) -> _Row | None:
    """The lots of a team; None where no gap suits them all."""
    people, heads, left = list[int](), list[int](), need.group.head
    for person in team:
        mine = min(left, _room(look, need, i, person))
        lots = _lots(look, need, person, mine) if mine else ()
        people += [person] * len(lots)
        heads += lots
        left -= mine
    offsets, at = list[int](), 0
    for person, head in zip(people, heads, strict=True):
        offsets.append(at)
        at += max(_lasts(look, need, trip, person, head) for trip in need.trips)
    paced = [(head, _rate(look, person)) for person, head in zip(people, heads, strict=True)]
    gaps = [gap for trip in need.sessions if trip.ai is not None and (gap := gap_minutes(need, paced, trip.ai))]
    if left or len(gaps) < len(need.sessions):
        return None
    return _Row(tuple(people), tuple(heads), tuple(offsets), tuple(gaps))


# -- hours ------------------------------------------------------------------------------------------------------------
def _ways(look: Look, need: Need, i: int, row: _Row) -> Iterator[Candidate]:
    """The first hours of AI for which everybody can be there, for early and late treatment."""
    day, anchor = need.days[i], need.anchor
    assert anchor is not None
    first, *others = need.sessions
    low, high = _hours(look, need, day, first, row)
    begins, latest = _hours(look, need, day, anchor, row)
    low, high = max(low, begins + row.gaps[0][0]), min(high, latest + row.gaps[0][1])
    for start in range(low, high + 1, _GRID):
        treated = max(begins, start - row.gaps[0][1]), min(latest, start - row.gaps[0][0])
        found = [
            way
            for at in dict.fromkeys((sum(treated) // 2, *treated))
            if treated[0] <= treated[1] and (way := _way(look, need, i, row, at, start, others)) is not None
        ]
        if found:
            yield from found
            return


def _hours(look: Look, need: Need, day: int, trip: Trip, row: _Row) -> tuple[int, int]:
    """First and last minute at which the row can begin with a trip."""
    last = row.offsets[-1] + _lasts(look, need, trip, row.people[-1], row.heads[-1])
    return look.state.visits.hours(need, day + trip.day, last)


def _lasts(look: Look, need: Need, trip: Trip, person: int, head: int) -> int:
    return treat_minutes(need, head) if trip.ai is None else ai_minutes(need, trip.ai, head, _rate(look, person))


def _way(
    look: Look, need: Need, i: int, row: _Row, treated: int, start: int, others: Sequence[Trip]
) -> Candidate | None:
    """The candidate with treatment and the first session at these minutes, later sessions as early as can be."""
    day, anchor = need.days[i], need.anchor
    assert anchor is not None
    starts = {anchor.key: treated, need.sessions[0].key: start}
    for trip, (least, most) in zip(others, row.gaps[1:], strict=True):
        low, high = _hours(look, need, day, trip, row)
        starts[trip.key] = max(low, treated + least)
        if starts[trip.key] > min(high, treated + most):
            return None
    for trip, (least, most) in bound_trips(need):
        low, high = _hours(look, need, day, trip, row)
        starts[trip.key] = min(high, treated + (least + most) // 2)
        if starts[trip.key] < max(low, treated + least):
            return None
    lots = tuple(_cut(look, need, row, starts))
    spans = sorted((item.start, item.end) for lot in lots for item in lot.handled.values())
    if any(ends > begins for (_, ends), (begins, _) in pairwise(spans)):
        return None  # a second treatment while the row of the first still lasts
    return _held(look, need, i, Cut(need, day, lots, need.group.needs_barn))


def _cut(look: Look, need: Need, row: _Row, starts: dict[str, int]) -> Iterator[CutLot]:
    for person, head, offset in zip(row.people, row.heads, row.offsets, strict=True):
        handled = {}
        for trip in need.trips:
            if trip.key in starts:
                begin = starts[trip.key] + offset
                hands = () if trip.ai is None else ((person, _booked(need, trip, head)),)
                handled[trip.key] = Handled(trip, begin, begin + _lasts(look, need, trip, person, head), hands)
        yield CutLot(head, handled)


def _held(look: Look, need: Need, i: int, cut: Cut) -> Candidate | None:
    """The candidate that holds a cut group to the minute; None where somebody cannot be there."""
    found = look.all_added(tuple(stops_of(look.state, cut)))
    item = held(look.state, cut) if found is not None else None
    if found is None or item is None:
        return None
    return look.priced(need, cut.ai_day, item, found[1], look.fixed_costs(need)[i] + found[0])
