"""Two technicians at once: every timed session of a group by both, where there are two stalls."""

from collections.abc import Iterator
from math import inf

from scheduling.kernel.search.look import Candidate, Days, Look, Stops
from scheduling.kernel.search.model import Need, Part
from scheduling.kernel.search.several import Opening, rest_of
from scheduling.kernel.search.visits import Treatment, two_shares

_PAIRS_OF = 5
_GRID = 5


def can_pair(need: Need) -> bool:
    """Whether two technicians at once can be had for the group at all."""
    if not need.sessions or not need.works or need.works[0].part is not Part.AI:
        return False
    return need.ranch.ai_stalls > 1 or need.group.needs_barn


def pairs_on(look: Look, need: Need, i: int, fixed: float) -> Iterator[Opening]:
    """Every pair of the nearest few on the group's day number `i`, with the least that it costs."""
    day = need.days[i]
    barn = look.barn(need, day, 2)
    if barn is None or (barn < 0 and need.ranch.ai_stalls < 2):
        return
    near = [(person, _all_sessions(look, need, day, person)) for person in look.near(need)[:_PAIRS_OF]]
    fixed_least = fixed + _others(look, need, i)
    for number, (one, cost) in enumerate(near):
        for other, other_cost in near[number + 1 :]:
            if cost + other_cost < inf and _have_room(look, need, day, (one, other)):
                yield (
                    fixed_least + cost + other_cost,
                    lambda pair=(one, other): _ways(look, need, i, pair, fixed, barn),  # type: ignore[misc]
                )


def _all_sessions(look: Look, need: Need, day: int, person: int) -> float:
    """What a technician's coming to every session costs at least."""
    return sum(_least(look, need, day + trip.day, person) for trip in need.sessions)


def _others(look: Look, need: Need, i: int) -> float:
    """What all that is not AI costs at least, on days without AI: a day counts once."""
    days: dict[int, float] = {}
    for number, work in enumerate(need.works):
        if work.part is not Part.AI and all(work.day != trip.day for trip in need.sessions):
            least = min((place[0] for place in look.bounds(need, number, i)), default=inf)
            days[work.day] = max(least, days.get(work.day, 0.0))
    return sum(days.values())


def _least(look: Look, need: Need, day: int, person: int) -> float:
    """What a technician's coming costs at least."""
    state = look.state
    if state.model.spills(need.place):
        return 0.0  # the technician's day may be the one before or after
    if day in state.model.people[person].days_off:
        return inf
    old = state.days.get(day * state.width + person)
    if old is not None:
        return 0.0 if old.head < state.model.people[person].technician.max_head_per_day else inf
    return state.routes.alone(person, need.place)


def _have_room(look: Look, need: Need, day: int, pair: tuple[int, int]) -> bool:
    """Whether both may take their shares of the first session, beside what they have that day."""
    state, trip = look.state, need.works[0].trip
    if trip is None or state.model.spills(need.place):
        return True
    people, visits = state.model.people, state.visits
    rates = people[pair[0]].rate, people[pair[1]].rate
    heads = visits.heads(need, trip, visits.shape(need, sum(rates)))
    shares = [two_shares(head, rates) for head in heads]
    for mine, person in enumerate(pair):
        old = state.days.get((day + trip.day) * state.width + person)
        there = sum(share[mine] for share in shares) + (old.head if old is not None else 0)
        if there > people[person].technician.max_head_per_day:
            return False
    return True


def _ways(look: Look, need: Need, i: int, pair: tuple[int, int], fixed: float, barn: int) -> Iterator[Candidate]:
    for treatment in look.state.visits.treatments(need, need.days[i]):
        found = _pair(look, need, i, treatment, pair)
        if found is not None:
            cost, stops, days, rate = found
            yield look.candidate(need, need.days[i], treatment, rate, stops, barn, days, fixed + cost)


def _pair(
    look: Look, need: Need, i: int, treatment: Treatment, pair: tuple[int, int]
) -> tuple[float, Stops, Days, float] | None:
    people = look.state.model.people
    rates = people[pair[0]].rate, people[pair[1]].rate
    rate, cost, days = sum(rates), 0.0, Days()
    if not look.state.visits.roomy(need, need.days[i], rate):
        return None
    stops: Stops = ()
    others = []
    for number, work in enumerate(need.works):
        if work.part is not Part.AI:
            others.append(number)
            continue
        best = _together(look, need, number, need.days[i], treatment, pair, rates, days)
        if best is None:
            return None
        cost += best[0]
        days.update(best[2])
        stops += best[1]
    rows = [look.bounds(need, number, i) for number in range(len(need.works))] if others else []
    rest = rest_of(look, need, i, treatment, rate, others, days, rows)
    return None if rest is None else (cost + rest[0], stops + rest[1], rest[2], rate)


def _together(
    look: Look,
    need: Need,
    number: int,
    day: int,
    treatment: Treatment,
    pair: tuple[int, int],
    rates: tuple[float, float],
    days: Days,
) -> tuple[float, Stops, Days] | None:
    """One session by both from the same minute: the cheapest hour of those tried."""
    visits, best = look.state.visits, None
    trip = need.works[number].trip
    assert trip is not None
    window = visits.window(need, trip, day, visits.shape(need, sum(rates)), treatment)
    if window is None:
        return None
    for start in _starts(look, need, window, day + trip.day, pair, days):
        cost, changed, stops = 0.0, dict(days), []
        for mine, person in enumerate(pair):
            visit = visits.share(need, number, day, rates, treatment, start, mine)
            found = look.added(person, visit, changed) if visit is not None else None
            if found is None or visit is None:
                break
            cost += found[0]
            changed[visit.day * look.state.width + person] = found[1]
            stops.append((person, visit))
        if len(stops) == 2 and (best is None or cost < best[0]):
            best = (cost, tuple(stops), changed)
    return best


def _starts(
    look: Look, need: Need, window: tuple[int, int], ordinal: int, pair: tuple[int, int], days: Days
) -> list[int]:
    """Hours to meet at: the first, middle and last that are allowed, and when one of the two can be there from elsewhere."""
    low, high = window
    tries = {low, (low + high) // 2, high}
    for person in pair:
        for at in _arrivals(look, need, ordinal, person, days):
            start = at + -at % _GRID
            if low < start < high:
                tries.add(start)
    return sorted(tries)


def _arrivals(look: Look, need: Need, ordinal: int, person: int, days: Days) -> Iterator[int]:
    """When a technician is there at the earliest: from home, and after each stop of the day."""
    state = look.state
    key = ordinal * state.width + person
    old = days.get(key) or state.days.get(key)
    road = state.model.road(need.place)
    yield state.routes.hours(person, ordinal)[0] + road[state.model.people[person].base][1]
    if old is not None:
        for visit, start in zip(old.visits, old.starts, strict=True):
            yield start + visit.length + road[visit.place][1]
