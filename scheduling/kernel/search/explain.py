"""Why a group found no place, and single changes that would make it fit, each tried by really inserting it."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from scheduling.kernel.plan import Cause, Remedy, Unplaced
from scheduling.kernel.search.model import Model, Need, needs_heat_visits
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Group, Hands

_WIDEN = (1, 2, 3, 5, 7, 10, 14)


def explain(search: Search, name: str, *, with_remedies: bool) -> Unplaced:
    """Causes in sentences and, where asked for, remedies that were tried."""
    need = search.model.needs[name]
    causes = tuple(_causes(search, need)) or (_no_day(need),)
    return Unplaced(name, causes, tuple(_remedies(search, need)) if with_remedies else ())


def _no_day(need: Need) -> Cause:
    text = f"No day from {need.group.ai_from} to {need.group.ai_to} fits the programme, the ranch and the technicians together."
    return Cause("no_day", text, (need.group.id,))


def _causes(search: Search, need: Need) -> Iterator[Cause]:
    model, group = search.model, need.group
    faults: Counter[str] = Counter()
    day, blocked = group.ai_from, []
    while day <= group.ai_to:
        fault = model.day_fault(group, need.ranch, need.trips, day)
        if fault:
            faults[fault] += 1
            blocked.append(day.isoformat())
        day += timedelta(days=1)
    if faults["season"]:
        text = f"On {faults['season']} of the possible AI days the programme would begin or end outside of the season."
        yield Cause("season", text, (group.id, *blocked[:3]))
    if faults["closed"]:
        text = f"On {faults['closed']} of the possible AI days a chute trip falls on a day when {need.ranch.name} is closed."
        yield Cause("closed", text, (need.ranch.id, *blocked[:3]))
    if needs_heat_visits(group):
        text = "AI follows heat over several days; technicians are booked for AI at set hours only. Let the ranch inseminate."
        yield Cause("heat_detection", text, (group.id,))
    elif group.ai_by is Hands.TECHNICIAN and need.protocol.ai_steps:
        yield from _crew_causes(model, need)


def _crew_causes(model: Model, need: Need) -> Iterator[Cause]:
    group, able = need.group, model.crews[need.group.id]
    if not able:
        text = (
            f"No technician has what the group asks for: {', '.join(sorted(group.skills)) or 'there is no technician'}."
        )
        yield Cause("skill", text, (group.id,))
        return
    people = model.season.technicians
    most = max(people[name].max_head_per_day for name in able)
    if group.head > most and need.ranch.ai_stalls < 2 and not group.needs_barn:
        text = f"{group.head} head in one day are more than any technician's limit of {most}, and there is one stall."
        yield Cause("head_limit", text, (group.id, *able[:3]))
    off = [day for day in need.days if all(day in people[name].days_off for name in able)]
    if off:
        text = f"Every technician for this group is off on {len(off)} of its possible days."
        yield Cause("days_off", text, (group.id, *(day.isoformat() for day in off[:3])))
    if need.days and len(off) < len(need.days):
        names = ", ".join(people[name].name for name in able[:3])
        text = (
            f"On the days that are left the technicians ({names}) or the chute of {need.ranch.name} are taken at the hours "
            "that the programme allows."
        )
        yield Cause("taken", text, (group.id, *able[:3]))


def _remedies(search: Search, need: Need) -> Iterator[Remedy]:
    """At most four single changes, the mildest of each kind."""
    group, season = need.group, search.model.season
    for field, step in (("ai_to", 1), ("ai_from", -1)):
        for days in _WIDEN:
            day: date = getattr(group, field) + timedelta(days=step * days)
            if not season.first_day <= day <= season.last_day:
                break
            changed = replace(group, ai_to=day) if field == "ai_to" else replace(group, ai_from=day)
            if _fits(search, changed):
                word = "later" if step > 0 else "earlier"
                yield Remedy(
                    f"Allow AI {days} day{'s' if days > 1 else ''} {word} ({day:%a %d %b}).",
                    group.id,
                    field,
                    day.isoformat(),
                )
                break
    if group.ai_by is Hands.TECHNICIAN and _fits(search, replace(group, ai_by=Hands.RANCH)):
        yield Remedy("Let the ranch inseminate its own.", group.id, "ai_by", "ranch")
    if group.needs_barn and _fits(search, replace(group, needs_barn=False)):
        yield Remedy("Do without the breeding barn.", group.id, "needs_barn", False)
    if group.order.value == "any" and _fits(search, replace(group, order=type(group.order)("kept"))):
        yield Remedy("Keep the order through the chute.", group.id, "order", "kept")
    if group.steps_by is Hands.TECHNICIAN and _fits(search, replace(group, steps_by=Hands.RANCH)):
        yield Remedy("Let the ranch give the treatments itself.", group.id, "steps_by", "ranch")


def _fits(search: Search, group: Group) -> bool:
    """Whether the changed group finds a place beside all others as they are."""
    old = search.model.needs[group.id]
    search.model.needs[group.id] = search.model.need(group)
    try:
        return search.best(group.id) is not None
    finally:
        search.model.needs[group.id] = old
