"""Rules 1, 2 and 6 for one group: whole days, every animal's interval, the AI day, done steps."""

from collections.abc import Iterator
from datetime import timedelta

from scheduling.kernel.checker.measure import SLACK, elapsed_h, local_day, said
from scheduling.kernel.checker.report import Broken
from scheduling.kernel.plan import GroupPlan, Lot, PlacedStep, Visit
from scheduling.kernel.protocol import Step
from scheduling.kernel.season import Group, Hands, Order, Ranch, Season

_HOUR_SLACK = 1 / 60 + 1e-6
_PRINTED_SLACK = 0.06


def check_group(season: Season, group: Group, placed: GroupPlan, visits: list[Visit]) -> Iterator[Broken]:
    """Everything that concerns one placed group by itself."""
    yield from _head(group, placed)
    yield from _ai_day(season, group, placed)
    for number, lot in enumerate(placed.lots):
        yield from _steps_present(group, lot, number)
        steps = {step.key: step for step in lot.steps}
        if not all(key in steps for key in group.protocol.by_key):
            continue
        yield from _forward(group, lot, number)
        yield from _days(season, group, placed, lot, number)
        yield from _trips(group, steps, number)
        yield from _intervals(season, group, lot, number, visits)
    yield from _done(season, group, placed)


def _head(group: Group, placed: GroupPlan) -> Iterator[Broken]:
    total = sum(lot.head for lot in placed.lots)
    if total != group.head:
        text = f"The lots of group {group.id} hold {total} head, the group {group.head}."
        yield Broken(7, "head", text, (group.id,))


def _ai_day(season: Season, group: Group, placed: GroupPlan) -> Iterator[Broken]:
    if not group.ai_from <= placed.ai_day <= group.ai_to:
        text = f"AI of group {group.id} falls on {placed.ai_day}, outside of {group.ai_from} to {group.ai_to}."
        yield Broken(6, "ai_window", text, (group.id, placed.ai_day.isoformat()))
    zone = season.ranches[group.ranch].zone
    for lot in placed.lots:
        for step in lot.steps:
            days = (local_day(step.start, zone), local_day(step.end, zone))
            if not all(season.first_day <= day <= season.last_day for day in days):
                text = f"Step {step.key} of group {group.id} falls on {days[0]}, outside of the season."
                yield Broken(6, "season_days", text, (group.id, step.key))


def _steps_present(group: Group, lot: Lot, number: int) -> Iterator[Broken]:
    keys = [step.key for step in lot.steps]
    for key in group.protocol.by_key:
        if keys.count(key) != 1:
            text = f"Lot {number + 1} of group {group.id} has step {key} {keys.count(key)} times; once is right."
            yield Broken(1, "step_missing", text, (group.id, key))
    for key in keys:
        if key not in group.protocol.by_key:
            text = f"Lot {number + 1} of group {group.id} has a step {key} that its protocol does not know."
            yield Broken(1, "step_unknown", text, (group.id, key))


def _forward(group: Group, lot: Lot, number: int) -> Iterator[Broken]:
    for step in lot.steps:
        if step.end < step.start:
            text = f"Step {step.key} of group {group.id}, lot {number + 1}, ends before it begins."
            yield Broken(1, "backwards", text, (group.id, step.key))


def _days(season: Season, group: Group, placed: GroupPlan, lot: Lot, number: int) -> Iterator[Broken]:
    zone = season.ranches[group.ranch].zone
    done = group.carried_out
    first = placed.ai_day - timedelta(days=group.protocol.reference_day)
    for placed_step in lot.steps:
        step = group.protocol.by_key.get(placed_step.key)
        if step is None or step.key in done:
            continue
        day, wanted = local_day(placed_step.start, zone), first + timedelta(days=step.day)
        if day != wanted:
            text = (
                f"Step {step.key} of group {group.id}, lot {number + 1}, is on {day}; the protocol puts it on {wanted}."
            )
            yield Broken(1, "day_offset", text, (group.id, step.key, day.isoformat()))


def _trips(group: Group, steps: dict[str, PlacedStep], number: int) -> Iterator[Broken]:
    for trip in group.protocol.trips:
        spans = {(steps[step.key].start, steps[step.key].end, steps[step.key].by) for step in trip}
        if len(spans) != 1:
            names = " and ".join(step.key for step in trip)
            text = f"{names} of group {group.id}, lot {number + 1}, are one chute trip and must share time and hands."
            yield Broken(1, "trip_split", text, (group.id, *(step.key for step in trip)))


def ai_rate(season: Season, group: Group, number: int, key: str, visits: list[Visit]) -> float:
    """Head per hour at an AI session: the technicians at work there, or the ranch's own rate."""
    if group.ai_by is Hands.RANCH:
        return season.ranches[group.ranch].ai_rate
    there = {visit.technician for visit in visits if visit.lot == number and visit.step == key}
    return sum(season.technicians[name].ai_rate for name in there if name in season.technicians)


def _session_head(group: Group, lot: Lot, number: int, step: Step, visits: list[Visit]) -> int:
    """Head at a session: the lot, or at split-time AI the number that the visits reserve."""
    if len(group.protocol.ai_steps) < 2 or group.ai_by is Hands.RANCH:
        return lot.head
    return sum(visit.head for visit in visits if visit.lot == number and visit.step == step.key) or lot.head


def _waits(
    ranch: Ranch, group: Group, heads: tuple[int, int], anchor: PlacedStep, ai: PlacedStep, rate: float
) -> tuple[float, float]:
    """Shortest and longest hours from treatment to AI over the animals (heads treated and inseminated), by the contract's
    formulae. In any order the last treated may be the first inseminated, however many come.
    """
    treated, head = heads
    gap, last = elapsed_h(anchor.start, ai.start), head - 1
    if group.order is Order.KEPT:
        ends = (gap, gap + last * (1 / rate - 1 / ranch.treat_rate))
        return min(ends), max(ends)
    return gap - (treated - 1) / ranch.treat_rate, gap + last / rate


def _intervals(season: Season, group: Group, lot: Lot, number: int, visits: list[Visit]) -> Iterator[Broken]:
    ranch, steps, done = season.ranches[group.ranch], {step.key: step for step in lot.steps}, group.carried_out
    first = next((step for step in group.protocol.ai_steps if step.after is not None), None)
    printed: tuple[float, float] | None = None
    for step in group.protocol.steps:
        rule = step.after
        if rule is None or (not step.is_ai and not _is_hour_bound(step)):
            continue
        anchor = steps[rule.step]
        if step.is_ai:
            rate = ai_rate(season, group, number, step.key, visits)
            if rate <= 0:
                continue  # nobody inseminates: the technicians' rules say so
            head = _session_head(group, lot, number, step, visits)
            waits = _waits(ranch, group, (lot.head, head), anchor, steps[step.key], rate)
            printed = waits if step is first else printed
        else:
            waits = _waits(ranch, group, (lot.head, lot.head), anchor, steps[step.key], ranch.treat_rate)
        if {step.key, rule.step} <= done:
            continue  # what was done is as far apart as it is: no plan can mend it
        low, high = rule.window
        if waits[0] < low - _HOUR_SLACK or waits[1] > high + _HOUR_SLACK:
            text = (
                f"Animals of group {group.id}, lot {number + 1}, get {step.key} {waits[0]:.2f} to {waits[1]:.2f} h after "
                f"{rule.step}; the protocol asks for {low:g} to {high:g} h."
            )
            yield Broken(2, "interval", text, (group.id, step.key))
    yield from _printed(group, lot, number, printed)


def _is_hour_bound(step: Step) -> bool:
    """A treatment that must follow another within the same day, such as the second PG of a 5-day protocol."""
    rule = step.after
    return rule is not None and rule.stated and rule.target_h > 0 and rule.window[1] < 24


def _printed(group: Group, lot: Lot, number: int, waits: tuple[float, float] | None) -> Iterator[Broken]:
    if waits is None:
        return
    said_low, said_high = lot.interval_min_h, lot.interval_max_h
    if (
        said_low is None
        or said_high is None
        or max(abs(said_low - waits[0]), abs(said_high - waits[1])) > _PRINTED_SLACK
    ):
        right = f"{waits[0]:.2f} to {waits[1]:.2f} h"
        text = f"Lot {number + 1} of group {group.id} says {said_low} to {said_high} h; it is {right}."
        yield Broken(2, "interval_printed", text, (group.id,))


def _done(season: Season, group: Group, placed: GroupPlan) -> Iterator[Broken]:
    zone = season.ranches[group.ranch].zone
    for item in group.done:
        starts = [step.start for lot in placed.lots for step in lot.steps if step.key == item.step]
        if not any(abs(start - item.at) <= SLACK for start in starts):
            text = f"Step {item.step} of group {group.id} was done on {said(item.at, zone)} and must stay there."
            yield Broken(6, "done_moved", text, (group.id, item.step))
