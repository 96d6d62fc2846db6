"""From a state to a plan."""

from collections.abc import Iterator
from datetime import date

from scheduling.kernel.plan import Bound, Cost, GroupPlan, Lot, PlacedStep, Plan, TechnicianDay, Unplaced, Visit
from scheduling.kernel.protocol import Step
from scheduling.kernel.search.chute import Assignment, Times
from scheduling.kernel.search.model import Model, Need, Part, day_of, minute_of, moment_of
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.shape import head_at
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit as Stop
from scheduling.kernel.throughput import interval_range


def plan_of(state: State, *, seed: int, rounds: int, bound: Bound, unplaced: tuple[Unplaced, ...]) -> Plan:
    """The plan that a state stands for, groups in the order of the season, visits in the order of time."""
    times = _all_times(state)
    placed = [item for item in state.placed if item is not None]
    status = "empty" if not placed and unplaced else "partial" if unplaced else "complete"
    days = tuple(_days(state))
    groups = tuple(_group(state, item, times[item.need.index]) for item in placed)
    visits = tuple(_visits(state))
    return Plan(status, seed, rounds, _cost(state, placed, unplaced), bound, groups, visits, days, unplaced)


def _all_times(state: State) -> dict[int, Times]:
    """The start of every trip of every placed group. The search has seen to it that all can be settled."""
    times: dict[int, Times] = {}
    for place in range(len(state.at_ranch)):
        settled = state.settled(place)
        assert settled is not None
        times.update(settled)
    for item in state.placed:
        if item is not None and item.need.index not in times:
            alone = state.chute.settle([(item, state.starts(item))], state.blocked.get(item.need.place, ()))
            assert alone is not None
            times[item.need.index] = alone[0]
    return times


def _group(state: State, item: Assignment, times: Times) -> GroupPlan:
    need = item.need
    if item.kept is not None:
        return item.kept.plan
    shape = state.visits.shape(need, item.crew_rate)
    served = {stop.key for _, stop in item.stops} | need.past_keys
    lots = []
    for number, head in enumerate(shape.lots):
        spans = dict(_spans(state, item, times, number))
        steps = []
        for step in need.protocol.steps:
            trip = next((trip for trip in need.trips if step.key in trip.keys), None)
            by = "technician" if trip is not None and served & set(trip.keys) else "ranch"
            start, end = spans[step.key]
            steps.append(PlacedStep(step.key, moment_of(start, need.ranch.zone), moment_of(end, need.ranch.zone), by))
        waits = _waits(need, item, head, {key: span[0] for key, span in spans.items()})
        lots.append(Lot(head, tuple(steps), waits and round(waits[0], 3), waits and round(waits[1], 3)))
    return GroupPlan(need.group.id, date.fromordinal(item.ai_day), tuple(lots))


def _spans(state: State, item: Assignment, times: Times, lot: int) -> list[tuple[str, tuple[int, int]]]:
    """Start and end of every step of a lot."""
    need = item.need
    spans = []
    visits = {stop.key: stop for _, stop in item.stops if stop.key not in need.past_keys}
    over = {
        (stop.key, n): (stop.low + span[0], stop.low + sum(span)) for _, stop in item.past for n, span in _by_lot(stop)
    }
    shape = state.visits.shape(need, item.crew_rate)
    for step in need.protocol.steps:
        trip = next((trip for trip in need.trips if step.key in trip.keys), None)
        done = next((over[key, lot] for key in trip.keys if (key, lot) in over), None) if trip is not None else None
        if done is not None:
            spans.append((step.key, done))
        elif trip is not None:
            visit = next((visits[key] for key in trip.keys if key in visits), None)
            pattern = shape.patterns[trip.key]
            offset, length = visit.spans[lot] if visit else (pattern.offsets[lot], pattern.lengths[lot])
            start = times[trip.key] + offset
            spans.append((step.key, (start, start + length)))
        elif step.key in need.fixed:
            spans.append((step.key, (need.fixed[step.key], need.fixed[step.key])))
        else:
            moment = loose_hour(state.model, need, item.ai_day, step)
            spans.append((step.key, (moment, moment)))
    return spans


def _by_lot(stop: Stop) -> Iterator[tuple[int, tuple[int, int]]]:
    """The lots of a stop with offset and length of each."""
    return zip(stop.lots, stop.spans, strict=True)


def loose_hour(model: Model, need: Need, ai_day: int, step: Step) -> int:
    """The minute of a step that nobody goes through the chute for: an hour after the ranch opens, or when it closes, if that
    is sooner; not in the past.
    """
    day, ranch = date.fromordinal(ai_day + step.day - need.protocol.reference_day), need.ranch
    opens, closes = (minute_of(day, clock, ranch.zone) for clock in (ranch.opens, ranch.closes))
    moment, now = min(opens + 60, closes), model.not_before
    return now if moment < now and day_of(now, need.ranch.zone) == day else moment


def _waits(need: Need, item: Assignment, head: int, starts: dict[str, int]) -> tuple[float, float] | None:
    ai = next((step for step in need.protocol.steps if step.is_ai and step.after), None)
    if ai is None or ai.after is None:
        return None
    gap = (starts[ai.key] - starts[ai.after.step]) / 60
    return interval_range(head_at(need, ai, head), gap, need.pace(item.crew_rate), head)


def _visits(state: State) -> list[Visit]:
    rows = []
    for item in state.placed:
        if item is None:
            continue
        for (person, stop), start in zip(item.stops, state.starts(item), strict=True):
            for i, (lot, (offset, length)) in enumerate(zip(stop.lots, stop.spans, strict=True)):
                begin = start + offset
                rows.append(
                    (
                        begin,
                        person,
                        item.need.index,
                        stop.key,
                        lot,
                        _visit(state.model, item, person, stop, i, (begin, begin + length)),
                    )
                )
    return [row[-1] for row in sorted(rows, key=lambda row: row[:-1])]


def _visit(model: Model, item: Assignment, person: int, stop: Stop, i: int, span: tuple[int, int]) -> Visit:
    need = item.need
    timed = any(work.key == stop.key and work.part is Part.AI for work in need.every_work)
    barn = list(model.season.barns)[item.barn] if item.barn >= 0 and timed else None
    start, end = moment_of(span[0], need.ranch.zone), moment_of(span[1], need.ranch.zone)
    name = model.people[person].technician.id
    return Visit(name, need.group.id, stop.lots[i], stop.key, start, end, stop.heads[i], barn)


def _ordered(state: State) -> list[tuple[int, Route]]:
    return sorted(state.days.items())


def _days(state: State) -> list[TechnicianDay]:
    model, zone = state.model, state.model.season.zone
    days = []
    for key, route in _ordered(state):
        person = model.people[route.person]
        road = model.road(person.base)
        leaves = route.starts[0] - road[route.visits[0].place][1]
        back = route.starts[-1] + route.visits[-1].length + road[route.visits[-1].place][1]
        day = date.fromordinal(key // state.width)
        days.append(
            TechnicianDay(person.technician.id, day, moment_of(leaves, zone), moment_of(back, zone), round(route.km, 1))
        )
    return days


def _cost(state: State, placed: list[Assignment], unplaced: tuple[Unplaced, ...]) -> Cost:
    weights = state.model.season.weights
    routes = [route for _, route in _ordered(state)]
    km = sum(route.km for route in routes)
    moved = sum(item.moved for item in placed)
    worst = max((item.moved for item in placed), default=0)
    halves = sum(
        visit.late_halves(start) for route in routes for visit, start in zip(route.visits, route.starts, strict=True)
    )
    rest_days = sum(state.model.rest_days(item.need, item.ai_day) for item in placed)
    people = state.model.people
    before = sum(people[route.person].technician.days_before for route in routes) if weights.day_before else 0
    total = (
        weights.technician_day * len(routes)
        + weights.km * km
        + weights.day_moved * moved
        + weights.worst_move * worst
        + weights.afternoon_half_hour * halves
        + weights.unplaced * len(unplaced)
        + weights.rest_day * rest_days
        + weights.day_before * before
    )
    load = state.uneven_load() if weights.uneven_load else 0.0
    total += weights.uneven_load * load
    fair = (rest_days, before, round(load, 3))
    return Cost(round(total, 1), len(routes), round(km, 1), moved, worst, halves, len(unplaced), *fair)
