"""The whole check and the cost."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from math import ceil

from scheduling.kernel.checker.chute import check_chutes
from scheduling.kernel.checker.crew import (
    check_barns,
    check_days,
    check_hands,
    check_heat,
    check_last_stops,
    check_said,
    check_visits,
    days_of,
    route_km,
)
from scheduling.kernel.checker.lots import check_group
from scheduling.kernel.checker.measure import local_day
from scheduling.kernel.checker.report import Broken, Report
from scheduling.kernel.plan import Bound, Cost, GroupPlan, Plan, Visit, load_plan, to_document
from scheduling.kernel.season import Group, Season


def check(season: Season, plan: Plan) -> Report:
    """Test the plan against every rule and recompute its cost. Rules are numbered as in the season contract."""
    # Read back from its own text: times get fixed offsets, so that subtracting them gives elapsed time.
    plan = load_plan(to_document(plan))
    groups = {group.id: group for group in season.groups}
    broken = [*_membership(season, plan), *check_visits(season, plan, groups)]
    if any(item.code == "visit_unknown" for item in broken):
        known = tuple(
            visit for visit in plan.visits if visit.technician in season.technicians and visit.group in groups
        )
        plan = _with_visits(plan, known)
    visits: dict[str, list[Visit]] = defaultdict(list)
    for visit in plan.visits:
        visits[visit.group].append(visit)
    for placed in plan.groups:
        if placed.id in groups:
            broken += check_group(season, groups[placed.id], placed, visits[placed.id])
    broken += check_chutes(season, plan, groups)
    broken += check_days(season, plan, groups)
    broken += check_hands(season, plan, groups)
    broken += check_said(season, plan, groups)
    broken += check_heat(season, plan, groups)
    broken += check_last_stops(season, plan, groups)
    broken += check_barns(season, plan, groups)
    cost = cost_of(season, plan, groups)
    broken += [*_status_printed(plan), *_cost_printed(plan.cost, cost), *_bound_printed(plan.bound, cost)]
    return Report(tuple(broken), cost)


def _with_visits(plan: Plan, visits: tuple[Visit, ...]) -> Plan:
    return Plan(
        plan.status, plan.seed, plan.rounds, plan.cost, plan.bound, plan.groups, visits, plan.days, plan.unplaced
    )


def _membership(season: Season, plan: Plan) -> Iterator[Broken]:
    """Rule 7: every group placed or unplaced with causes, once."""
    counted = Counter([group.id for group in plan.groups] + [item.group for item in plan.unplaced])
    known = {group.id for group in season.groups}
    for name in sorted(known | set(counted)):
        if name not in known:
            yield Broken(7, "group_unknown", f"Group {name} is not in the season.", (name,))
        elif counted[name] != 1:
            yield Broken(
                7, "group_count", f"Group {name} stands {counted[name]} times in the plan; once is right.", (name,)
            )
    for item in plan.unplaced:
        if not item.causes:
            yield Broken(7, "no_cause", f"Group {item.group} is unplaced without a cause.", (item.group,))


def cost_of(season: Season, plan: Plan, groups: dict[str, Group]) -> Cost:
    """The cost of the contract, from the plan's visits and days alone."""
    days = days_of(season, plan)
    km = sum(route_km(season, groups, season.technicians[name], visits) for (name, _), visits in days.items())
    moves = [abs((placed.ai_day - groups[placed.id].ai_wanted).days) for placed in plan.groups if placed.id in groups]
    halves = sum(_afternoon(season, groups[visit.group], visit) for visit in plan.visits)
    weights = season.weights
    rest_days = sum(_rest(season, groups[placed.id], placed) for placed in plan.groups if placed.id in groups)
    before = sum(season.technicians[name].days_before for name, _ in days) if weights.day_before else 0
    total = (
        weights.technician_day * len(days)
        + weights.km * km
        + weights.day_moved * sum(moves)
        + weights.worst_move * max(moves, default=0)
        + weights.afternoon_half_hour * halves
        + weights.unplaced * len(plan.unplaced)
        + weights.rest_day * rest_days
        + weights.day_before * before
    )
    load = _uneven(season, [name for name, _ in days]) if weights.uneven_load else 0.0
    total += weights.uneven_load * load
    worst, out = max(moves, default=0), len(plan.unplaced)
    fair = (rest_days, before, round(load, 3))
    return Cost(round(total, 1), len(days), round(km, 1), sum(moves), worst, halves, out, *fair)


def _uneven(season: Season, names: Iterable[str]) -> float:
    """Over technicians: days of work squared, over the days of the season on which they are not off."""
    length, load = (season.last_day - season.first_day).days + 1, 0.0
    for name, worked in Counter(names).items():
        off = sum(season.first_day <= day <= season.last_day for day in season.technicians[name].days_off)
        load += worked * worked / max(1, length - off)
    return load


def _rest(season: Season, group: Group, placed: GroupPlan) -> int:
    """AI on a weekend or holiday: one more than the ranch had in earlier seasons. Only where the season weighs it."""
    if not season.weights.rest_day or not season.is_rest_day(placed.ai_day):
        return 0
    return 1 + season.ranches[group.ranch].rest_days_before


def _afternoon(season: Season, group: Group, visit: Visit) -> int:
    """Started half hours of AI work after 12:00 local."""
    step = group.protocol.by_key.get(visit.step)
    if not visit.step.startswith("heat:") and (step is None or not step.is_ai):
        return 0
    zone = season.ranches[group.ranch].zone
    noon = datetime.combine(local_day(visit.start, zone), datetime.min.time(), zone).replace(hour=12)
    late = visit.end - max(noon, visit.start)
    return max(0, ceil(late / timedelta(minutes=30) - 1e-6))


def _status_printed(plan: Plan) -> Iterator[Broken]:
    right = "complete" if not plan.unplaced else "partial" if plan.groups else "empty"
    if plan.status != right:
        yield Broken(7, "status_printed", f"The plan calls itself {plan.status}; it is {right}.", ("status",))


def _bound_printed(bound: Bound, right: Cost) -> Iterator[Broken]:
    """No plan is cheaper than a bound, so this one is not either; the code is that of printed costs."""
    if (bound.kind == "none") != (bound.value is None):
        yield Broken(7, "cost_printed", f"A bound of kind {bound.kind} says {bound.value}.", ("bound",))
    if bound.value is not None and bound.value > right.total + 0.5 + right.km * 1e-4 + right.total * 1e-6:
        text = f"The plan's bound is {bound.value}, above its cost of {right.total}."
        yield Broken(7, "cost_printed", text, ("bound",))


def _cost_printed(said: Cost, right: Cost) -> Iterator[Broken]:
    exact = (
        "technician_days",
        "days_moved",
        "worst_move",
        "afternoon_half_hours",
        "unplaced",
        "rest_days",
        "days_before",
    )
    for name in exact:
        if getattr(said, name) != getattr(right, name):
            text = f"The plan says {name} {getattr(said, name)}; it is {getattr(right, name)}."
            yield Broken(7, "cost_printed", text, (name,))
    if abs(said.uneven_load - right.uneven_load) > 0.002:
        text = f"The plan says uneven_load {said.uneven_load}; it is {right.uneven_load}."
        yield Broken(7, "cost_printed", text, ("uneven_load",))
    slack = 0.5 + right.km * 1e-4
    if abs(said.km - right.km) > slack or abs(said.total - right.total) > slack + right.total * 1e-6:
        text = f"The plan says {said.km} km and cost {said.total}; it is {right.km} km and {right.total}."
        yield Broken(7, "cost_printed", text, ("total",))
