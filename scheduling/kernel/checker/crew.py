"""Rules 4 and 5: technicians' days, who must be there, stalls, barns."""

import itertools
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from scheduling.kernel.checker.measure import SLACK, drive, local_day, road_km, said
from scheduling.kernel.checker.report import Broken
from scheduling.kernel.plan import Plan, TechnicianDay, Visit
from scheduling.kernel.season import Group, Hands, Season, Technician
from scheduling.kernel.sessions import heat_sessions, session_head

Place = tuple[float, float]


def days_of(season: Season, plan: Plan) -> dict[tuple[str, date], list[Visit]]:
    """Visits by technician and calendar day of the season's zone, in order of time."""
    days: dict[tuple[str, date], list[Visit]] = defaultdict(list)
    for visit in sorted(plan.visits, key=lambda item: (item.start, item.end)):
        days[visit.technician, local_day(visit.start, season.zone)].append(visit)
    return days


def place_of(season: Season, groups: dict[str, Group], visit: Visit) -> Place:
    """Where the visit is."""
    ranch = season.ranches[groups[visit.group].ranch]
    return ranch.lat, ranch.lon


def route_km(season: Season, groups: dict[str, Group], technician: Technician, visits: list[Visit]) -> float:
    """Road km from base through the visits and back."""
    base = (technician.lat, technician.lon)
    stops = [base, *(place_of(season, groups, visit) for visit in visits), base]
    return sum(road_km(season, start, end) for start, end in itertools.pairwise(stops))


def check_visits(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """Visits that name what is not there, and those that are missing."""
    placed = {group.id: group for group in plan.groups}
    for visit in plan.visits:
        if visit.technician not in season.technicians or visit.group not in placed or visit.group not in groups:
            text = (
                f"A visit of {visit.technician} to group {visit.group} names somebody or something not in the season."
            )
            yield Broken(7, "visit_unknown", text, (visit.technician, visit.group))
        elif visit.lot >= len(placed[visit.group].lots):
            yield Broken(7, "visit_unknown", f"Group {visit.group} has no lot {visit.lot + 1}.", (visit.group,))
        elif visit.barn is not None and visit.barn not in season.barns:
            yield Broken(5, "barn_unknown", f"There is no barn {visit.barn}.", (visit.group, visit.barn))


def check_days(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """Each technician's days: off days, hours, driving, head, skills, and the days as the plan prints them."""
    printed = {(day.technician, day.day): day for day in plan.days}
    days = days_of(season, plan)
    for (name, day), visits in days.items():
        technician = season.technicians[name]
        yield from _limits(technician, day, visits, groups)
        yield from _timeline(season, technician, day, visits, groups, printed.get((name, day)))
    for key, count in Counter((day.technician, day.day) for day in plan.days).items():
        if count > 1:
            text = f"{key[0]} has day {key[1]} in the plan {count} times; once is right."
            yield Broken(4, "day_printed", text, (key[0], key[1].isoformat()))
    for key in printed:
        if key not in days:
            text = f"{key[0]} has a day {key[1]} in the plan without a visit."
            yield Broken(4, "day_printed", text, (key[0], key[1].isoformat()))


def _limits(technician: Technician, day: date, visits: list[Visit], groups: dict[str, Group]) -> Iterator[Broken]:
    about = (technician.id, day.isoformat())
    if day in technician.days_off:
        yield Broken(4, "day_off", f"{technician.name} is off on {day}.", about)
    head = sum(visit.head for visit in visits if _is_ai(groups[visit.group], visit.step))
    if head > technician.max_head_per_day:
        text = f"{technician.name} has {head} head on {day}; the limit is {technician.max_head_per_day}."
        yield Broken(4, "head_limit", text, about)
    for visit in visits:
        missing = groups[visit.group].skills - technician.skills
        if missing:
            text = f"Group {visit.group} asks for {', '.join(sorted(missing))}; {technician.name} does not have it."
            yield Broken(4, "skill", text, (*about, visit.group))


def _is_ai(group: Group, key: str) -> bool:
    step = group.protocol.by_key.get(key)
    return key.startswith("heat:") or (step is not None and step.is_ai)


def _timeline(
    season: Season,
    technician: Technician,
    day: date,
    visits: list[Visit],
    groups: dict[str, Group],
    printed: TechnicianDay | None,
) -> Iterator[Broken]:
    about = (technician.id, day.isoformat())
    base = (technician.lat, technician.lon)
    for one, other in itertools.pairwise(visits):
        ready = one.end + drive(season, place_of(season, groups, one), place_of(season, groups, other))
        if other.start < ready - SLACK:
            text = (
                f"{technician.name} is due at group {other.group} at {said(other.start, season.zone)} but can be there "
                f"from group {one.group} at {said(ready, season.zone)} at the earliest."
            )
            yield Broken(4, "two_places", text, (*about, one.group, other.group))
    leaves = visits[0].start - drive(season, base, place_of(season, groups, visits[0]))
    back = max(visit.end + drive(season, place_of(season, groups, visit), base) for visit in visits)
    starts = datetime.combine(day, technician.starts, season.zone)
    ends = datetime.combine(day, technician.ends, season.zone)
    if leaves < starts - SLACK or back > ends + SLACK:
        text = (
            f"{technician.name} would leave {said(leaves, season.zone)} and be back {said(back, season.zone)}; hours are "
            f"{technician.starts:%H:%M} to {technician.ends:%H:%M}."
        )
        yield Broken(4, "hours", text, about)
    km = route_km(season, groups, technician, visits)
    right = printed and abs(printed.leaves - leaves) <= SLACK and abs(printed.back - back) <= SLACK
    if not right or printed is None or abs(printed.km - km) > 0.2:
        text = f"{technician.name}'s day {day} as the plan prints it does not agree with its visits."
        yield Broken(4, "day_printed", text, about)


def check_heat(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """With heat detection, a technician comes for every half day's females, on the right day, with the expected head."""
    visits: dict[tuple[str, str], list[Visit]] = defaultdict(list)
    for visit in plan.visits:
        visits[visit.group, visit.step].append(visit)
    for placed in plan.groups:
        group = groups.get(placed.id)
        if group is None or group.ai_by is not Hands.TECHNICIAN:
            continue
        zone = season.ranches[group.ranch].zone
        for session in heat_sessions(group.protocol):
            there, about = visits.get((group.id, session.key), []), (group.id, session.key)
            if not there and _has_begun(season, group, placed.ai_day + timedelta(days=session.day), session.morning):
                continue  # nobody can come in hours that are over
            if len(there) != 1:
                text = f"Group {group.id} has {len(there)} technicians for AI after heat, {session.key}; one is right."
                yield Broken(4, "nobody", text, about)
                continue
            day, wanted = local_day(there[0].start, zone), placed.ai_day + timedelta(days=session.day)
            if day != wanted or there[0].head != session.head(group.head):
                text = f"{session.key} of group {group.id} is on {day} with {there[0].head} head; it should be on {wanted} "
                text += f"with {session.head(group.head)}."
                yield Broken(1, "day_offset", text, about)
            noon = there[0].start.astimezone(zone).hour < 12
            if noon != session.morning:
                half = "morning" if session.morning else "evening"
                yield Broken(1, "half_day", f"{session.key} of group {group.id} belongs in the {half}.", about)


def _has_begun(season: Season, group: Group, day: date, morning: bool) -> bool:
    """Whether a half day of a watch for heat of a group that has begun lies, at least in part, in the past."""
    ranch = season.ranches[group.ranch]
    begins = datetime.combine(day, ranch.opens if morning else time(12), ranch.zone)
    return season.not_before is not None and bool(group.done) and begins < season.not_before


def check_said(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """Whose hands a step is in, as the plan says it; and visits to steps that technicians do not come for."""
    steps: dict[str, set[str]] = {}
    for placed in plan.groups:
        group = groups.get(placed.id)
        if group is None:
            continue
        done = group.carried_out
        steps[group.id] = _come_for(group) | done
        for trip in group.protocol.trips:
            hands = group.ai_by if any(step.is_ai for step in trip) else group.steps_by
            keys = {step.key for step in trip} - done
            wrong = {
                step.key for lot in placed.lots for step in lot.steps if step.key in keys and step.by != hands.value
            }
            for key in sorted(wrong):
                text = f"{key} of group {group.id} is for the {hands.value}; the plan says somebody else does it."
                yield Broken(4, "hands", text, (group.id, key))
    for visit in plan.visits:
        if visit.group in steps and visit.step not in steps[visit.group]:
            text = f"Group {visit.group} has no step {visit.step} that {visit.technician} could come for."
            yield Broken(4, "visit_step", text, (visit.group, visit.step))


def _come_for(group: Group) -> set[str]:
    """The steps of visits: AI sessions, AI after seen heat, first keys of treatment trips."""
    keys: set[str] = set()
    if group.ai_by is Hands.TECHNICIAN:
        keys |= {step.key for step in group.protocol.ai_steps}
        keys |= {session.key for session in heat_sessions(group.protocol)}
    if group.steps_by is Hands.TECHNICIAN:
        keys |= {trip[0].key for trip in group.protocol.trips if not any(step.is_ai for step in trip)}
    return keys


def check_last_stops(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """After a ranch that is marked as last of the day a technician goes to no other."""
    for (name, day), visits in days_of(season, plan).items():
        for one, other in itertools.pairwise(visits):
            here, there = groups[one.group].ranch, groups[other.group].ranch
            if season.ranches[here].last_stop and there != here:
                ranch = season.ranches[here].name
                text = f"{name} goes from {ranch} to another ranch on {day}; it must be the last of the day."
                yield Broken(4, "last_stop", text, (name, day.isoformat(), here))


def check_hands(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """Each session that a technician must do has technicians, at its time, with its head, on enough stalls."""
    visits: dict[tuple[str, int, str], list[Visit]] = defaultdict(list)
    for visit in plan.visits:
        visits[visit.group, visit.lot, visit.step].append(visit)
    for placed in plan.groups:
        group = groups.get(placed.id)
        if group is None:
            continue
        for number, lot in enumerate(placed.lots):
            for step in lot.steps:
                if step.key not in group.protocol.by_key:
                    continue
                there = visits.get((group.id, number, step.key), [])
                yield from _session(season, group, number, step.key, (step.start, step.end), there, lot.head)


def _needs_technician(group: Group, key: str) -> bool:
    trip = next((trip for trip in group.protocol.trips if trip[0].key == key), None)
    ai = next((step for step in group.protocol.ai_steps if step.key == key), None)
    if ai is not None:
        return group.ai_by is Hands.TECHNICIAN
    if trip is None or any(step.is_ai for step in trip):
        return False
    return group.steps_by is Hands.TECHNICIAN


def _reserved(group: Group, key: str, head: int) -> int:
    """The least head that a lot's session is booked for: with split-time AI, what comes to it with 90 % certainty."""
    step = group.protocol.by_key[key]
    return session_head(group.protocol, step, head) if step.is_ai else head


def _session(
    season: Season,
    group: Group,
    number: int,
    key: str,
    span: tuple[datetime, datetime],
    there: list[Visit],
    head: int,
) -> Iterator[Broken]:
    about = (group.id, key)
    what = f"{key} of group {group.id}, lot {number + 1},"
    if not there:
        if _needs_technician(group, key) and key not in group.carried_out:
            yield Broken(4, "nobody", f"{what} has no technician.", about)
        return
    if len({visit.technician for visit in there}) != len(there):
        yield Broken(4, "two_places", f"{what} has one technician twice.", about)
    for visit in there:
        if abs(visit.start - span[0]) > SLACK or abs(visit.end - span[1]) > SLACK:
            yield Broken(4, "visit_time", f"{what} and the visit of {visit.technician} are at different times.", about)
    total, least = sum(visit.head for visit in there), _reserved(group, key, head)
    if not least <= total <= head:
        asked = f"{head} head" if least == head else f"{head} head and reserves for {least}"
        yield Broken(4, "visit_head", f"{what} has {asked}, its visits {total}.", about)
    barns = {visit.barn for visit in there}
    stalls = max(
        [
            season.ranches[group.ranch].ai_stalls,
            *(season.barns[name].stalls for name in barns if name and name in season.barns),
        ]
    )
    if len(there) > stalls:
        yield Broken(5, "stalls", f"{what} has {len(there)} technicians at once on {stalls} stalls.", about)
    if group.needs_barn and key in {step.key for step in group.protocol.ai_steps} and barns in ({None}, set()):
        yield Broken(5, "barn_missing", f"{what} needs the breeding barn.", about)


def check_barns(season: Season, plan: Plan, groups: dict[str, Group]) -> Iterator[Broken]:
    """A barn is at one ranch a day, with time to clean between ranches."""
    uses: dict[str, list[Visit]] = defaultdict(list)
    for visit in sorted(plan.visits, key=lambda item: (item.start, item.end)):
        if visit.barn in season.barns and visit.barn is not None:
            uses[visit.barn].append(visit)
    for name, visits in uses.items():
        for i, one in enumerate(visits):
            for other in visits[i + 1 :]:
                yield from _handover(season, groups, name, one, other)


def _handover(season: Season, groups: dict[str, Group], name: str, one: Visit, other: Visit) -> Iterator[Broken]:
    ranches = [season.ranches[groups[visit.group].ranch] for visit in (one, other)]
    if ranches[0].id == ranches[1].id:
        return
    about = (name, one.group, other.group)
    if local_day(one.start, ranches[0].zone) == local_day(other.start, ranches[1].zone):
        text = f"Barn {name} is at {ranches[0].name} and at {ranches[1].name} on one day."
        yield Broken(5, "barn_two_ranches", text, about)
    hours = (other.start - one.end).total_seconds() / 3600
    if hours < season.barns[name].clean_hours - 0.02:
        text = f"Barn {name} has {hours:.1f} h between {ranches[0].name} and {ranches[1].name}; cleaning takes longer."
        yield Broken(5, "barn_cleaning", text, about)
