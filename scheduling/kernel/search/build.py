"""From a state to a plan and back."""

from itertools import pairwise
from zoneinfo import ZoneInfo

from scheduling.kernel.plan import (
    Bound,
    Cost,
    GroupPlan,
    Lot,
    PlacedStep,
    Plan,
    TechnicianDay,
    Unplaced,
    Visit,
)
from scheduling.kernel.protocol import Step
from scheduling.kernel.search.model import Model, Need, minute, moment_of
from scheduling.kernel.search.state import LotTimes, Placement, State, Stop
from scheduling.kernel.season import Hands
from scheduling.kernel.sessions import session_head
from scheduling.kernel.throughput import interval_range


def plan_of(state: State, *, seed: int, rounds: int, bound: Bound, unplaced: tuple[Unplaced, ...]) -> Plan:
    """The plan that a state stands for, groups and visits in the order of the season and of time."""
    model = state.model
    placed = [state.placed[group.id] for group in model.season.groups if group.id in state.placed]
    status = "empty" if not placed and unplaced else "partial" if unplaced else "complete"
    days = tuple(_days(state))
    groups = tuple(_group(model.needs[item.group], item) for item in placed)
    visits = tuple(_visits(model, placed))
    return Plan(status, seed, rounds, _cost(state, days, placed, unplaced), bound, groups, visits, days, unplaced)


def _group(need: Need, placement: Placement) -> GroupPlan:
    return GroupPlan(placement.group, placement.day, tuple(_lot(need, placement, lot) for lot in placement.lots))


def _lot(need: Need, placement: Placement, lot: LotTimes) -> Lot:
    zone = need.ranch.zone
    served = {stop.key for _, stop in placement.stops}
    steps = []
    for key, start, end in lot.spans:
        trip = next((trip for trip in need.trips if key in trip.keys), None)
        by = "technician" if trip is not None and served & set(trip.keys) else "ranch"
        steps.append(PlacedStep(key, moment_of(start, zone), moment_of(end, zone), by))
    waits = _waits(need, placement, lot)
    return Lot(lot.head, tuple(steps), waits and round(waits[0], 3), waits and round(waits[1], 3))


def _waits(need: Need, placement: Placement, lot: LotTimes) -> tuple[float, float] | None:
    ai = next((step for step in need.protocol.steps if step.is_ai and step.after), None)
    if ai is None or ai.after is None:
        return None
    starts = {key: start for key, start, _ in lot.spans}
    gap = (starts[ai.key] - starts[ai.after.step]) / 60
    return interval_range(_head_at(need, ai, lot.head), gap, need.pace(placement.ai_rate))


def _head_at(need: Need, ai: Step, head: int) -> int:
    return head if need.group.ai_by is Hands.RANCH else session_head(need.protocol, ai, head)


def _visits(model: Model, placed: list[Placement]) -> list[Visit]:
    rows = sorted(
        ((stop.start, technician, stop) for placement in placed for technician, stop in placement.stops),
        key=lambda row: (row[0], row[1], row[2]),
    )
    return [_visit(technician, stop, model.needs[stop.group].ranch.zone) for _, technician, stop in rows]


def _visit(technician: str, stop: Stop, zone: ZoneInfo) -> Visit:
    start, end = moment_of(stop.start, zone), moment_of(stop.end, zone)
    return Visit(technician, stop.group, stop.lot, stop.key, start, end, stop.head, stop.barn or None)


def _days(state: State) -> list[TechnicianDay]:
    model, zone = state.model, state.model.season.zone
    days = []
    for (technician, day), stops in sorted(state.routes.items(), key=lambda item: (item[0][1], item[0][0])):
        if not stops:
            continue
        base = f"T{technician}"
        leaves = stops[0].start - model.drive(base, stops[0].place)
        back = stops[-1].end + model.drive(stops[-1].place, base)
        km = sum(model.km(one, other) for one, other in pairwise([base, *(stop.place for stop in stops), base]))
        days.append(TechnicianDay(technician, day, moment_of(leaves, zone), moment_of(back, zone), round(km, 1)))
    return days


def _cost(
    state: State, days: tuple[TechnicianDay, ...], placed: list[Placement], unplaced: tuple[Unplaced, ...]
) -> Cost:
    weights, model = state.model.season.weights, state.model
    km = 0.0
    for (technician, _), stops in sorted(state.routes.items()):
        places = [f"T{technician}", *(stop.place for stop in stops), f"T{technician}"]
        km += sum(model.km(one, other) for one, other in pairwise(places)) if stops else 0.0
    moved = sum(state.moved(item) for item in placed)
    halves = sum(state.afternoon(item) for item in placed)
    total = (
        weights.technician_day * len(days)
        + weights.km * km
        + weights.day_moved * moved
        + weights.worst_move * state.worst_move()
        + weights.afternoon_half_hour * halves
        + weights.unplaced * len(unplaced)
    )
    return Cost(round(total, 1), len(days), round(km, 1), moved, state.worst_move(), halves, len(unplaced))


def placement_of(model: Model, plan: Plan, group: GroupPlan) -> Placement | None:
    """What a plan's group occupies, or None where the plan does not fit the season's people and protocol."""
    need = model.needs.get(group.id)
    if need is None or any({step.key for step in lot.steps} != set(need.protocol.by_key) for lot in group.lots):
        return None
    stops, rate = [], need.ranch.ai_rate
    visits = [visit for visit in plan.visits if visit.group == group.id]
    if any(visit.technician not in model.season.technicians or visit.lot >= len(group.lots) for visit in visits):
        return None
    ai_keys = {step.key for step in need.protocol.ai_steps}
    for visit in visits:
        ai_head = visit.head if visit.step in ai_keys else 0
        span = (minute(visit.start), minute(visit.end))
        stop = Stop(*span, f"R{need.ranch.id}", group.id, visit.lot, visit.step, visit.head, ai_head, visit.barn or "")
        stops.append((visit.technician, stop))
    first = need.protocol.ai_steps[0].key if need.protocol.ai_steps else ""
    crew = {visit.technician for visit in visits if visit.step == first}  # another may take a second session
    if crew:
        rate = sum(model.season.technicians[name].ai_rate for name in sorted(crew))
    lots, chute = [], []
    for lot in group.lots:
        spans = {step.key: (minute(step.start), minute(step.end)) for step in lot.steps}
        lots.append(LotTimes(lot.head, tuple((key, *spans[key]) for key in need.protocol.by_key)))
        chute += [spans[trip.key] for trip in need.trips]
    return Placement(group.id, group.ai_day, tuple(lots), tuple(stops), tuple(chute), rate)
