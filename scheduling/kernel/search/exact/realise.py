"""From the proof's choice to a state: visits, routes and the ranches' own hours, as the search makes them."""

from collections.abc import Callable, Iterable, Mapping
from math import inf

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.exact.days import Work
from scheduling.kernel.search.exact.options import Crew, Option, Stop, bounds
from scheduling.kernel.search.exact.program import TINY
from scheduling.kernel.search.exact.timing import Times
from scheduling.kernel.search.model import Part
from scheduling.kernel.search.rounds import Search, Snapshot
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Treatment, Visit

Made = dict[Stop, Visit]


def become(search: Search, make: Callable[[State], float]) -> float:
    """Make what comes of a state that holds nothing the best plan where it is cheaper, else go back; what it costs."""
    snapshot, state = search.best, search.state
    for index, item in enumerate(state.placed):
        if item is not None:
            state.take(index)
    state.touched.clear()
    state.forget()
    cost = make(state)
    if cost < snapshot.cost - TINY:
        state.forget()
        search.best = Snapshot(state)
    else:
        for key in list(state.days):
            state.set_day(key, None)
        state.undo(0)
        search.restore(snapshot)
    return cost


def realise(state: State, works: Iterable[Work], options: Iterable[Option], times: Times) -> float:
    """Put the choice into a state that holds nothing; its cost, or infinity where the state does not agree."""
    made: Made = {}
    wanted = list(works)
    crews = _crews(wanted)
    for option in options:
        item = _assignment(state, option, crews.get(option, {}), times, made)
        if item is None:
            return inf
        state.put(item, {})
    for work in wanted:
        row = tuple(made[stop] for stop in times.rows[work])
        route = state.routes.route(work.person, row)
        if route is None:
            return inf
        state.set_day(work.day * state.width + work.person, route)
    return state.cost() if _settles(state) else inf


def _crews(works: Iterable[Work]) -> Mapping[Option, Mapping[int, Crew]]:
    """Who does each of the options' works."""
    found: dict[Option, dict[int, Crew]] = {}
    for work in works:
        for stop in work.in_order:
            found.setdefault(stop.option, {})[stop.number] = stop.crew
    return found


def _assignment(state: State, option: Option, crews: Mapping[int, Crew], times: Times, made: Made) -> Assignment | None:
    need = option.need
    if len(crews) < len(need.works):
        return None
    treatment = _treatment(state, option, crews, times)
    rate = crews[0].rate if need.works and need.works[0].part is Part.AI else need.ranch.ai_rate
    stops: list[tuple[int, Visit]] = []
    for number in range(len(need.works)):
        crew = crews[number]
        for mine, stop in enumerate(crew.stops):
            visit = _visit(state, option, number, crew, mine, rate, treatment, times.stops[stop])
            if visit is None:
                return None
            made[stop] = visit
            stops.append((stop.person, visit))
    barn = -1
    if any(crew.barn for crew in crews.values()):
        together = max(len(crew.people) for crew in crews.values())
        barn = state.barn_for(need, (option.ai_day + trip.day for trip in need.sessions), together)
        if barn < 0:
            return None
    return Assignment(need, option.ai_day, treatment, rate, tuple(stops), None, barn)


def _treatment(state: State, option: Option, crews: Mapping[int, Crew], times: Times) -> Treatment:
    """From the hour of treatment to the latest that lets every visit bound to it start when it does."""
    begun = times.treated.get(option)
    if begun is None or not crews:
        return None
    need = option.need
    ends = [times.stops[crew.stops[0]] - crew.gap[0] for crew in crews.values() if crew.gap is not None]
    for number, crew in crews.items():
        trip = need.works[number].trip
        if trip is not None and trip.key in bounds(need):
            ends.append(times.stops[crew.stops[0]] - bounds(need)[trip.key][0])
    found = state.visits.treatment_range(need, option.ai_day, option.shape.ai_rate)
    return begun, max(begun, min([*ends, found[1]])) if ends and found is not None else begun


def _visit(
    state: State,
    option: Option,
    number: int,
    crew: Crew,
    mine: int,
    rate: float,
    treatment: Treatment,
    start: int,
) -> Visit | None:
    need, people = option.need, state.model.people
    if len(crew.people) == 1:
        pace = rate if need.works[number].part is not Part.AI or len(option.shape.lots) > 1 else crew.rate
        return state.visits.visit(need, number, option.ai_day, people[crew.people[0]].rate, pace, treatment)
    rates = people[crew.people[0]].rate, people[crew.people[1]].rate
    return state.visits.share(need, number, option.ai_day, rates, treatment, start, mine)


def _settles(state: State) -> bool:
    """Whether every ranch's own hours are found."""
    for place in range(len(state.at_ranch)):
        settled = state.settled(place)
        if settled is None:
            return False
        for index in state.at_ranch[place]:
            item = state.placed[index]
            if item is not None and index not in settled:
                alone = state.chute.settle([(item, state.starts(item))], state.blocked.get(place, ()))
                if alone is None:
                    return False
    return True
