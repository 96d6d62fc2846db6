"""The season compiled for search: whole minutes since the first day's midnight UTC, and numbers in place of ids.

A job is a group; an act is one thing done to it at one place and time: a pass through the chute, or a morning on which
a technician inseminates what was seen in heat.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from enum import Enum
from math import asin, ceil, cos, floor, radians, sin, sqrt
from zoneinfo import ZoneInfo

from scheduling.kernel.protocol import Step, Substance
from scheduling.kernel.season import Group, Hands, Order, Season

EARTH_RADIUS_KM = 6371.0  # mean radius; "Geodetic Reference System 1980", International Association of Geodesy, 1980
# Of 100 heifers 61 were in heat by 66 h, 39 +/- 5 came later: "STAI later timepoints", Animal Reproduction Science, 2020.
FIRST_SESSION_SHARE = 0.61
SECOND_SESSION_SHARE = 0.45
# Most heats come 48 to 72 h after PG ("2020 Beef Heifer Synchronization Protocol", South Dakota State University
# Extension, 2020). The mornings after PG on which a technician is booked, and the share of the group booked for each,
# are common practice.
HEAT_MORNINGS = ((2, 0.25), (3, 0.45), (4, 0.30))


class Kind(Enum):
    """What an act is."""

    TREAT = "treat"
    AI = "ai"
    HEAT = "heat"


@dataclass(frozen=True, slots=True)
class Act:
    """`offset`: days after the AI day. `called`: a technician comes for it. `done`: minute at which it was done."""

    keys: tuple[str, ...]
    offset: int
    kind: Kind
    called: bool
    share: float
    done: int | None


@dataclass(frozen=True, slots=True)
class Link:
    """Hours that every animal waits between two acts, in minutes."""

    first: int
    then: int
    low: float
    high: float
    target: float


@dataclass(frozen=True)
class Job:
    """One group. `days` are possible AI days (numbers from the season's first day), nearest to the wanted one first."""

    index: int
    group: Group
    ranch: int
    wanted: int
    days: tuple[int, ...]
    acts: tuple[Act, ...]
    links: tuple[Link, ...]
    technicians: tuple[int, ...]
    called: tuple[int, ...]

    @property
    def inseminated_by_technician(self) -> bool:
        """Whether any AI of this group is a technician's."""
        return any(self.acts[a].kind is not Kind.TREAT for a in self.called)


class Calendar:
    """Whole minutes against the calendars of the zones."""

    def __init__(self, season: Season) -> None:
        self.first = season.first_day
        self.count = (season.last_day - season.first_day).days + 1
        self.base = datetime.combine(season.first_day, time(), timezone.utc)

    def day(self, number: int) -> date:
        """The date of a day number."""
        return self.first + timedelta(days=number)

    def number(self, day: date) -> int:
        """The number of a date."""
        return (day - self.first).days

    def minute(self, moment: datetime) -> int:
        """The nearest whole minute."""
        return round((moment.astimezone(timezone.utc) - self.base).total_seconds() / 60)

    def at(self, number: int, clock: time, zone: ZoneInfo, *, late: bool) -> int:
        """The minute when a zone's clock shows a time; between minutes the later one, or with `late` the earlier."""
        local = datetime.combine(self.day(number), clock, zone)
        seconds = (local.astimezone(timezone.utc) - self.base).total_seconds()
        return floor(seconds / 60) if late else ceil(seconds / 60)

    def moment(self, minute: int, zone: ZoneInfo) -> datetime:
        """The minute as a time in a zone."""
        return (self.base + timedelta(minutes=minute)).astimezone(zone)

    def local_number(self, minute: int, zone: ZoneInfo) -> int:
        """The day number of a minute in a zone."""
        return self.number(self.moment(minute, zone).date())


class Problem:
    """Everything that search looks up, in lists by number."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.calendar = Calendar(season)
        self.ranches = list(season.ranches.values())
        self.technicians = list(season.technicians.values())
        self.barns = list(season.barns.values())
        self.ranch_number = {ranch.id: i for i, ranch in enumerate(self.ranches)}
        days = range(self.calendar.count)
        at = self.calendar.at
        self.opens = [[at(d, r.opens, r.zone, late=False) for d in days] for r in self.ranches]
        self.closes = [[at(d, r.closes, r.zone, late=True) for d in days] for r in self.ranches]
        self.noons = [[at(d, time(12), r.zone, late=False) for d in days] for r in self.ranches]
        self.closed = [frozenset(self.calendar.number(day) for day in r.closed_days) for r in self.ranches]
        self.starts = [[at(d, t.starts, season.zone, late=False) for d in days] for t in self.technicians]
        self.ends = [[at(d, t.ends, season.zone, late=True) for d in days] for t in self.technicians]
        self.off = [frozenset(self.calendar.number(day) for day in t.days_off) for t in self.technicians]
        places = [(r.lat, r.lon) for r in self.ranches] + [(t.lat, t.lon) for t in self.technicians]
        factor = season.travel.road_factor
        self.km = [[great_circle_km(one, other) * factor for other in places] for one in places]
        # Rounded up: a route laid in whole minutes never drives faster than the season says.
        pace = season.travel.speed_kmh / 60
        self.drive = [[ceil(km / pace - 1e-9) for km in row] for row in self.km]
        self.jobs = [compile_job(self, i, group) for i, group in enumerate(season.groups)]

    def base(self, technician: int) -> int:
        """The number of a technician's base among the places (ranches first)."""
        return len(self.ranches) + technician


def great_circle_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Great-circle distance of two places in degrees (haversine)."""
    lat1, lon1, lat2, lon2 = (radians(value) for value in (*one, *other))
    half = sin((lat2 - lat1) / 2) ** 2 + cos(lat1) * cos(lat2) * sin((lon2 - lon1) / 2) ** 2
    return 2 * EARTH_RADIUS_KM * asin(min(1.0, sqrt(half)))


def compile_job(problem: Problem, index: int, group: Group) -> Job:
    """One group, ready for search."""
    acts, links = _acts(problem, group)
    ranch = problem.ranch_number[group.ranch]
    wanted = problem.calendar.number(group.ai_wanted)
    called = tuple(i for i, act in enumerate(acts) if act.called and act.done is None)
    return Job(
        index=index,
        group=group,
        ranch=ranch,
        wanted=wanted,
        days=tuple(sorted(_days(problem, group, ranch, acts), key=lambda day: (abs(day - wanted), day))),
        acts=acts,
        links=links,
        technicians=_eligible(problem, group, ranch),
        # AI first: the hour of AI settles everything else.
        called=tuple(sorted(called, key=lambda i: (acts[i].kind is Kind.TREAT, i))),
    )


def _eligible(problem: Problem, group: Group, ranch: int) -> tuple[int, ...]:
    able = [i for i, technician in enumerate(problem.technicians) if group.skills <= technician.skills]
    return tuple(sorted(able, key=lambda i: (problem.km[problem.base(i)][ranch], i)))


def _acts(problem: Problem, group: Group) -> tuple[tuple[Act, ...], tuple[Link, ...]]:
    protocol, zone = group.protocol, problem.season.ranches[group.ranch].zone
    done = {item.step: problem.calendar.minute(item.at.astimezone(zone)) for item in group.done}
    acts, number = [], {}
    for i, trip in enumerate(protocol.trips):
        ai = any(step.is_ai for step in trip)
        hands = group.ai_by if ai else group.steps_by
        times = [done[step.key] for step in trip if step.key in done]
        acts.append(
            Act(
                keys=tuple(step.key for step in trip),
                offset=trip[0].day - protocol.reference_day,
                kind=Kind.AI if ai else Kind.TREAT,
                called=hands is Hands.TECHNICIAN,
                share=_share(group, trip) if ai else 1.0,
                done=min(times) if times else None,
            )
        )
        number.update({step.key: i for step in trip})
    links = [_link(step, number) for step in protocol.steps if step.key in number and is_hour_bound(step)]
    return (*acts, *_heat_mornings(group)), tuple(link for link in links if link is not None)


def _share(group: Group, trip: tuple[Step, ...]) -> float:
    sessions = group.protocol.ai_steps
    if len(sessions) < 2 or group.ai_by is Hands.RANCH:
        return 1.0
    return FIRST_SESSION_SHARE if sessions[0] in trip else SECOND_SESSION_SHARE


def is_hour_bound(step: Step) -> bool:
    """Whether the step's hours, not only its day, are a rule: AI, and a treatment within a day of another."""
    rule = step.after
    if rule is None:
        return False
    return step.is_ai or (rule.stated and rule.target_h > 0 and rule.window[1] < 24)


def _link(step: Step, number: dict[str, int]) -> Link | None:
    rule = step.after
    if rule is None or rule.step not in number or number[rule.step] == number[step.key]:
        return None
    low, high = rule.window
    return Link(number[rule.step], number[step.key], low * 60, high * 60, rule.target_h * 60)


def _heat_mornings(group: Group) -> list[Act]:
    """Mornings for which a technician is booked after the last PG of a programme with heat detection."""
    protocol = group.protocol
    if not protocol.heat_watches or group.ai_by is Hands.RANCH:
        return []
    pg = max(step.day for step in protocol.steps if step.substance is Substance.PG)
    last = min((step.day for step in protocol.ai_steps), default=pg + 99)
    return [
        Act(("heat",), pg + after - protocol.reference_day, Kind.HEAT, True, share, None)
        for after, share in HEAT_MORNINGS
        if pg + after < last
    ]


def _days(problem: Problem, group: Group, ranch: int, acts: tuple[Act, ...]) -> list[int]:
    calendar, zone = problem.calendar, problem.ranches[ranch].zone
    first, last = calendar.number(group.ai_from), calendar.number(group.ai_to)
    done = [act for act in acts if act.done is not None]
    if done:
        frozen = calendar.local_number(done[-1].done or 0, zone) - done[-1].offset
        first, last = max(first, frozen), min(last, frozen)
    offsets = [act.offset for act in acts if act.done is None]
    finished = {item.step for item in group.done}
    spans = [s.day - group.protocol.reference_day for s in group.protocol.steps if s.key not in finished]
    return [
        day
        for day in range(first, last + 1)
        if all(day + offset not in problem.closed[ranch] for offset in offsets)
        and all(0 <= day + offset < calendar.count for offset in (*offsets, *spans))
    ]


def order_kept(group: Group) -> bool:
    """Whether animals come to AI in the order of treatment."""
    return group.order is Order.KEPT
