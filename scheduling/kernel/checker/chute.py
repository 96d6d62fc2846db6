"""Rule 3: handling hours, closed days, one handling event at a time at each ranch's chute."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduling.kernel.checker.lots import ai_rate
from scheduling.kernel.checker.measure import SLACK, local_day, said
from scheduling.kernel.checker.report import Broken
from scheduling.kernel.plan import Lot, Plan, Visit
from scheduling.kernel.protocol import Step
from scheduling.kernel.season import Group, Ranch, Season
from scheduling.kernel.sessions import HEAT_PREFIX


@dataclass(frozen=True, slots=True)
class Handling:
    """One lot in the chute for one trip. `hands` counts technicians at work at once (0 for the ranch's crew)."""

    group: str
    lot: int
    key: str
    start: datetime
    end: datetime
    ai: bool
    hands: int
    stalls: int
    done: bool


def check_chutes(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """Every ranch's handling, across all its groups."""
    visits: dict[str, list[Visit]] = defaultdict(list)
    for visit in plan.visits:
        visits[visit.group].append(visit)
    by_ranch: dict[str, list[Handling]] = defaultdict(list)
    for placed in plan.groups:
        group = groups.get(placed.id)
        if group is None:
            continue
        for number, lot in enumerate(placed.lots):
            for handling, least in _handlings(season, group, lot, number, visits[group.id]):
                by_ranch[group.ranch].append(handling)
                yield from _inside(season, group, handling, least)
        for visit in visits[group.id]:
            if visit.step.startswith(HEAT_PREFIX) and visit.technician in season.technicians:
                handling = _heat_handling(season, group, visit)
                by_ranch[group.ranch].append(handling)
                least = timedelta(hours=visit.head / season.technicians[visit.technician].ai_rate)
                yield from _inside(season, group, handling, least)
    for name, handlings in by_ranch.items():
        yield from _overlaps(season.ranches[name], handlings)


def _handlings(
    season: Season, group: Group, lot: Lot, number: int, visits: list[Visit]
) -> Iterator[tuple[Handling, timedelta]]:
    """The lot's chute trips, each with the least time that its head and rate need."""
    placed = {step.key: step for step in lot.steps}
    ranch = season.ranches[group.ranch]
    for trip in group.protocol.trips:
        first, ai = placed.get(trip[0].key), next((step for step in trip if step.is_ai), None)
        if first is None:
            continue
        there = [visit for visit in visits if visit.lot == number and visit.step in {step.key for step in trip}]
        stalls = max(
            [ranch.ai_stalls, *(season.barns[v.barn].stalls for v in there if v.barn and v.barn in season.barns)]
        )
        handling = Handling(
            group.id,
            number,
            trip[0].key,
            first.start,
            first.end,
            ai is not None,
            len({v.technician for v in there}),
            stalls,
            trip[0].key in group.carried_out,
        )
        yield handling, _least(season, group, lot, number, ai, there)


def _heat_handling(season: Season, group: Group, visit: Visit) -> Handling:
    """AI after seen heat: the females of half a day, in the chute like everybody else."""
    stalls = season.ranches[group.ranch].ai_stalls
    over = season.not_before is not None and visit.start < season.not_before and bool(group.done)
    return Handling(group.id, visit.lot, visit.step, visit.start, visit.end, True, 1, stalls, over)


def _least(season: Season, group: Group, lot: Lot, number: int, ai: Step | None, there: list[Visit]) -> timedelta:
    if ai is None:
        return timedelta(hours=lot.head / season.ranches[group.ranch].treat_rate)
    rate = ai_rate(season, group, number, ai.key, there)
    head = sum(visit.head for visit in there) if there and len(group.protocol.ai_steps) > 1 else lot.head
    return timedelta(hours=head / rate) if rate > 0 else timedelta()


def _inside(season: Season, group: Group, handling: Handling, least: timedelta) -> Iterator[Broken]:
    if handling.done:
        return
    ranch = season.ranches[group.ranch]
    day = local_day(handling.start, ranch.zone)
    about = (group.id, ranch.id, handling.key, day.isoformat())
    what = f"{handling.key} of group {group.id}, lot {handling.lot + 1}, at {ranch.name}"
    if handling.end - handling.start < least - SLACK:
        yield Broken(3, "too_short", f"{what} takes longer than the time set for it.", about)
    if day in ranch.closed_days:
        yield Broken(3, "closed_day", f"{what} falls on {day}, when the ranch is closed.", about)
    if season.not_before is not None and handling.start < season.not_before:
        now = said(season.not_before, ranch.zone)
        yield Broken(
            3, "past", f"{what} begins {said(handling.start, ranch.zone)}; nothing can begin before {now}.", about
        )
    opens = datetime.combine(day, ranch.opens, ranch.zone)
    closes = datetime.combine(day, ranch.closes, ranch.zone)
    if handling.start < opens or handling.end > closes + SLACK:
        hours = f"{said(handling.start, ranch.zone)} to {said(handling.end, ranch.zone)}"
        allowed = f"{ranch.opens:%H:%M} to {ranch.closes:%H:%M}"
        yield Broken(3, "hours", f"{what} runs {hours}; handling hours are {allowed}.", about)


def _overlaps(ranch: Ranch, handlings: list[Handling]) -> Iterator[Broken]:
    running: list[Handling] = []
    for other in sorted(handlings, key=lambda item: (item.start, item.end)):
        running = [one for one in running if one.end > other.start + SLACK]
        twice = [one for one in running if not (one.done and other.done) and not _beside(one, other)]
        for one in twice:  # what was done is done
            text = (
                f"{one.key} of group {one.group} and {other.key} of group {other.group} are in the chute of {ranch.name} "
                f"at the same time, {said(other.start, ranch.zone)}."
            )
            yield Broken(3, "chute_twice", text, (ranch.id, one.group, other.group))
        running.append(other)
        if not twice:
            yield from _crowded(ranch, running)


def _beside(*handlings: Handling) -> bool:
    """Whether all are AI by technicians, on as many stalls as there are technicians."""
    at_stalls = all(one.ai and one.hands for one in handlings)
    return at_stalls and sum(one.hands for one in handlings) <= min(one.stalls for one in handlings)


def _crowded(ranch: Ranch, running: list[Handling]) -> Iterator[Broken]:
    """Three or more that fit beside each other by twos, but not all together."""
    if len(running) < 3 or all(one.done for one in running) or _beside(*running):
        return
    groups = sorted({one.group for one in running})
    text = (
        f"AI of groups {', '.join(groups)} is under way at {ranch.name} at the same time, "
        f"{said(running[-1].start, ranch.zone)}, on {min(one.stalls for one in running)} stalls."
    )
    yield Broken(3, "chute_twice", text, (ranch.id, *groups))
