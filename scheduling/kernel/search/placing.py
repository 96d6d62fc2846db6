"""From groups cut into lots, with hours to the minute, to a state: each is held like a group of an earlier plan."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from math import inf

from scheduling.kernel.plan import GroupPlan, Lot, PlacedStep
from scheduling.kernel.protocol import Step
from scheduling.kernel.search.build import loose_hour
from scheduling.kernel.search.chute import Assignment, Kept, Span
from scheduling.kernel.search.cut import Cut, CutLot
from scheduling.kernel.search.model import Need, Trip, moment_of
from scheduling.kernel.search.shape import treat_minutes
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit
from scheduling.kernel.season import Hands
from scheduling.kernel.throughput import interval_range

# By lot: start and end at each trip.
_Hours = list[dict[str, Span]]


def place(state: State, cuts: Sequence[Cut]) -> float:
    """Put the groups into a state that holds nothing; its cost, or infinity where the state does not agree."""
    hours = _all_hours(state, cuts)
    if hours is None:
        return inf
    driven: dict[tuple[int, int], list[tuple[int, int, Visit]]] = defaultdict(list)
    for cut, spans in zip(cuts, hours, strict=True):
        item = _assignment(state, cut, spans)
        if item is None:
            return inf
        state.put(item, {})
        for number, (person, visit) in enumerate(item.stops):
            driven[visit.day, person].append((visit.low, number, visit))
    for (day, person), row in driven.items():
        route = state.routes.route(person, tuple(visit for _, _, visit in sorted(row, key=lambda item: item[:2])))
        if route is None or day in state.model.people[person].days_off:
            return inf
        state.set_day(day * state.width + person, route)
    return state.cost() if state.holds(range(len(state.at_ranch))) else inf


def held(state: State, cut: Cut) -> Assignment | None:
    """A group that was cut by itself, whoever else is in the state; None where its own trips meet in the chute."""
    hours = _all_hours(state, [cut])
    return None if hours is None else _assignment(state, cut, hours[0])


# -- what nobody's hours tie ------------------------------------------------------------------------------------------
def _all_hours(state: State, cuts: Sequence[Cut]) -> list[_Hours] | None:
    """The hours of every lot at every trip: trips that nothing ties where the chute is free; None where it is not."""
    hours = [[{key: (item.start, item.end) for key, item in lot.handled.items()} for lot in cut.lots] for cut in cuts]
    busy: dict[int, list[Span]] = defaultdict(list)
    for cut, rows in zip(cuts, hours, strict=True):
        busy[cut.need.place] += [span for row in rows for span in row.values()]
    for cut, rows in zip(cuts, hours, strict=True):
        for trip in cut.need.trips:
            for lot, row in zip(cut.lots, rows, strict=True):
                if trip.key not in row:
                    span = _free_span(state, cut, lot, trip, row, busy[cut.need.place])
                    if span is None:
                        return None
                    row[trip.key] = span
                    busy[cut.need.place].append(span)
    return hours


def _free_span(
    state: State, cut: Cut, lot: CutLot, trip: Trip, row: Mapping[str, Span], busy: Sequence[Span]
) -> Span | None:
    """Where a lot can go through the chute, as near as can be to the hour at which others of its trips are."""
    need = cut.need
    length = treat_minutes(need, lot.head)
    low, high = state.visits.hours(need, cut.ai_day + trip.day, length)
    anchor = need.anchor
    wish = low + 60 if anchor is None else row[anchor.key][0] + (trip.day - anchor.day) * 1440
    starts = [min(max(wish, low), high), *(end for _, end in busy), *(start - length for start, _ in busy)]
    free = [
        start
        for start in starts
        if low <= start <= high and all(start >= end or start + length <= begin for begin, end in busy)
    ]
    if not free:
        return None
    start = min(free, key=lambda start: (abs(start - wish), start))
    return start, start + length


# -- a group ----------------------------------------------------------------------------------------------------------
def _assignment(state: State, cut: Cut, hours: _Hours) -> Assignment | None:
    """The group as if an earlier plan had it so; None where the barn cannot be there."""
    need, barn = cut.need, -1
    if cut.barn:
        together = max(len(item.hands) for lot in cut.lots for item in lot.handled.values())
        barn = state.barn_for(need, (cut.ai_day + trip.day for trip in need.sessions), together)
        if barn < 0:
            return None
    stalls = need.ranch.ai_stalls
    if barn >= 0:
        stalls = max(stalls, list(state.model.season.barns.values())[barn].stalls)
    spans = tuple(sorted(span for row in hours for span in row.values()))
    times = {trip.key: min(row[trip.key][0] for row in hours) for trip in need.trips}
    at_stalls = {
        (item.start, item.end): (len(item.hands), stalls)
        for lot in cut.lots
        for item in lot.handled.values()
        if item.trip.ai is not None and item.hands
    }
    lots = tuple(_lot(state, cut, lot, row) for lot, row in zip(cut.lots, hours, strict=True))
    plan = GroupPlan(need.group.id, date.fromordinal(cut.ai_day), lots)
    kept = Kept(plan, times, spans, at_stalls)
    return Assignment(need, cut.ai_day, None, need.ranch.ai_rate, tuple(stops_of(state, cut)), kept, barn)


def stops_of(state: State, cut: Cut) -> Iterator[tuple[int, Visit]]:
    """Who comes to which lot, in the order of the need's works."""
    need = cut.need
    for number, work in enumerate(need.works):
        for i, lot in enumerate(cut.lots):
            item = lot.handled[work.key if work.trip is None else work.trip.key]
            for person, head in item.hands:
                booked = head if item.trip.ai is not None else lot.head
                spans = ((item.start, item.end),)
                yield person, state.visits.pinned(need, number, cut.ai_day, spans, (booked,), (i,))


def _lot(state: State, cut: Cut, lot: CutLot, hours: Mapping[str, Span]) -> Lot:
    need = cut.need
    theirs = {key for work in need.works if work.trip is not None for key in work.trip.keys}
    spans = {key: hours[trip.key] for trip in need.trips for key in trip.keys}
    steps = []
    for step in need.protocol.steps:
        loose = loose_hour(state.model, need, cut.ai_day, step) if step.key not in spans else 0
        start, end = spans.get(step.key, (loose, loose))
        by = "technician" if step.key in theirs else "ranch"
        steps.append(PlacedStep(step.key, moment_of(start, need.ranch.zone), moment_of(end, need.ranch.zone), by))
    waits = _waits(state, need, lot, {key: span[0] for key, span in spans.items()})
    return Lot(lot.head, tuple(steps), waits and round(waits[0], 3), waits and round(waits[1], 3))


def _waits(state: State, need: Need, lot: CutLot, starts: Mapping[str, int]) -> tuple[float, float] | None:
    """Shortest and longest hours of the lot's animals to the first AI."""
    ai: Step | None = next((step for step in need.protocol.steps if step.is_ai and step.after), None)
    if ai is None or ai.after is None:
        return None
    trip = next(trip for trip in need.trips if ai.key in trip.keys)
    hands = lot.handled[trip.key].hands
    rate, head = need.ranch.ai_rate, lot.head
    if need.group.ai_by is Hands.TECHNICIAN:
        rate, head = sum(state.model.people[person].rate for person, _ in hands), sum(head for _, head in hands)
    return interval_range(head, (starts[ai.key] - starts[ai.after.step]) / 60, need.pace(rate), lot.head)
