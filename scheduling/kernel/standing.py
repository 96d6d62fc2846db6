"""What still stands of a plan when its season has changed: the cost of carrying on, and a new plan without needless changes."""

from dataclasses import replace

from scheduling.kernel.checker import Broken, check
from scheduling.kernel.days import technician_days
from scheduling.kernel.plan import Bound, Cause, GroupPlan, Plan, Unplaced
from scheduling.kernel.search.returning import returned
from scheduling.kernel.season import Season

_NO_COST = "cost_printed"


def standing(season: Season, plan: Plan) -> Plan:
    """The plan without the groups that break a rule of the (changed) season, everybody else exactly as before.

    Groups of the season that the plan does not know, and those taken out, stand in `unplaced` with the rule that they break.
    Nothing is put anywhere else: that is what replanning is for. The cost is the checker's.
    """
    known = {group.id for group in season.groups}
    why: dict[str, str] = {
        item.group: item.causes[0].text for item in plan.unplaced if item.group in known and item.causes
    }
    groups = tuple(group for group in plan.groups if group.id in known)
    for group in season.groups:
        if group.id not in why and not any(placed.id == group.id for placed in groups):
            why[group.id] = "It was not in the plan."
    current = _with(season, plan, groups, why)
    for _ in range(len(groups) + 1):
        faults = [item for item in check(season, current).broken if item.code != _NO_COST]
        out = {name: item.text for item in faults for name in _at_fault(season, current, item)}
        if not out:
            break
        why |= out
        groups = tuple(group for group in current.groups if group.id not in out)
        current = _with(season, plan, groups, why)
    return replace(current, cost=check(season, current).cost)


def calmed(season: Season, before: Plan, after: Plan) -> Plan:
    """A new plan with every group put back to where the old one has it, hour for hour, unless that breaks a rule.

    Groups on another day, with other technicians or in other lots stay as the new plan has them; of the others those that
    then collide join them, until no rule is broken. At worst the new plan itself comes back.
    """
    old = {group.id: group for group in before.groups}
    crews = [_crew(before), _crew(after)]
    stays = {
        group.id
        for group in after.groups
        if group.id in old and group.ai_day == old[group.id].ai_day and crews[0].get(group.id) == crews[1].get(group.id)
    }
    same = {group.id for group in after.groups if old.get(group.id) == group}
    if stays == same:
        return after
    while stays:
        mixed = _mixed(season, before, after, stays)
        faults = [item for item in check(season, mixed).broken if item.code != _NO_COST]
        if not faults:
            return replace(mixed, cost=check(season, mixed).cost)
        out = stays & {name for item in faults for name in _touched(season, mixed, item)}
        if not out:
            break
        stays -= out
    return after


def least_changed(season: Season, before: Plan, after: Plan) -> Plan:
    """A new plan without needless changes: calmed, and no group on another day that still has a place on its own.

    Other hours may make room on somebody's old day, and whoever goes back may let others have their hours again, so the two
    take turns. Each return leaves one group fewer on another day, so this ends.
    """
    while True:
        calm = calmed(season, before, after)
        after = returned(season, before, calm)
        if after is calm:
            return calm


def _crew(plan: Plan) -> dict[str, frozenset[str]]:
    people: dict[str, set[str]] = {}
    for visit in plan.visits:
        people.setdefault(visit.group, set()).add(visit.technician)
    return {name: frozenset(found) for name, found in people.items()}


def _mixed(season: Season, before: Plan, after: Plan, stays: set[str]) -> Plan:
    old = {group.id: group for group in before.groups}
    groups = tuple(old[group.id] if group.id in stays else group for group in after.groups)
    kept = [visit for visit in before.visits if visit.group in stays]
    visits = [*kept, *(visit for visit in after.visits if visit.group not in stays)]
    visits.sort(key=lambda visit: (visit.start, visit.technician, visit.end))
    days = technician_days(season, visits)
    return replace(after, groups=groups, visits=tuple(visits), days=days, bound=Bound(None, "none"))


def _touched(season: Season, plan: Plan, item: Broken) -> set[str]:
    """Every group that a broken rule names, or that shares the technician's day."""
    return {name for name in item.about if any(group.id == name for group in plan.groups)} | {
        visit.group
        for visit in plan.visits
        if visit.technician in item.about and visit.start.astimezone(season.zone).date().isoformat() in item.about
    }


def _with(season: Season, plan: Plan, groups: tuple[GroupPlan, ...], why: dict[str, str]) -> Plan:
    """The plan with these groups alone; technicians' days are worked out again."""
    names = {group.id for group in groups}
    visits = tuple(item for item in plan.visits if item.group in names and item.technician in season.technicians)
    out = tuple(
        Unplaced(group.id, (Cause("broken", why.get(group.id, "It has no place."), (group.id,)),), ())
        for group in season.groups
        if group.id not in names
    )
    status = "complete" if not out else "partial" if groups else "empty"
    return replace(
        plan,
        status=status,
        groups=groups,
        visits=visits,
        days=technician_days(season, visits),
        unplaced=out,
        bound=Bound(None, "none"),
    )


def _at_fault(season: Season, plan: Plan, item: Broken) -> set[str]:
    """Groups to take out for a broken rule: those it names, else those of the technician's day, the last first."""
    placed = {group.id for group in plan.groups}
    named = [name for name in item.about if name in placed]
    if named:
        return {named[-1]} if len(named) > 1 else set(named)
    day = [
        visit
        for visit in sorted(plan.visits, key=lambda visit: (visit.start, visit.group))
        if visit.technician in item.about and visit.start.astimezone(season.zone).date().isoformat() in item.about
    ]
    if item.code == "day_off":
        return {visit.group for visit in day}
    return {day[-1].group} if day else set()
