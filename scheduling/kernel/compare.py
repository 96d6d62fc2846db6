"""What differs between two plans of a season: for each group, ranch and technician, in figures.

Pure values in, values out. Days are whole days, hours elapsed hours, distances km, costs the points of the season's weights.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import ceil

from scheduling.kernel.calving import due_date
from scheduling.kernel.clock import hours_between
from scheduling.kernel.plan import Cost, GroupPlan, Plan, Visit
from scheduling.kernel.season import Group, Season

_MINUTE_H = 1 / 60
_NOON_H = 12
_SATURDAY = 5


@dataclass(frozen=True)
class Situation:
    """A season and a plan of it. The plan's printed cost is taken as it stands."""

    season: Season
    plan: Plan


@dataclass(frozen=True, slots=True)
class StepChange:
    """A step of a lot (0-based) that is done at another time; `hours` is elapsed, positive where it comes later."""

    lot: int
    key: str
    was: datetime
    now: datetime

    @property
    def hours(self) -> float:
        """Elapsed hours from the old start to the new one."""
        return hours_between(self.was, self.now)


@dataclass(frozen=True, slots=True)
class GroupChange:
    """What changes for a group. A day is None, lots are empty and technicians nobody where the plan has no place for it.

    `steps` holds steps at other times, only where the lots are the same; `ai_by_was`/`ai_by_now` say who inseminates.
    """

    group: str
    ranch: str
    day_was: date | None
    day_now: date | None
    wanted: date
    lots_was: tuple[int, ...]
    lots_now: tuple[int, ...]
    steps: tuple[StepChange, ...]
    technicians_was: tuple[str, ...]
    technicians_now: tuple[str, ...]
    ai_by_was: str
    ai_by_now: str
    begins_was: datetime | None
    begins_now: datetime | None
    started: bool

    @property
    def days(self) -> int:
        """Days by which AI moves; positive is later, 0 where either plan has no place."""
        return (self.day_now - self.day_was).days if self.day_was and self.day_now else 0

    @property
    def lost(self) -> bool:
        """Whether the group had a place and has none now."""
        return self.day_was is not None and self.day_now is None

    @property
    def gained(self) -> bool:
        """Whether the group had no place and has one now."""
        return self.day_was is None and self.day_now is not None

    @property
    def recut(self) -> bool:
        """Whether a placed group is cut into other lots."""
        return bool(self.lots_was and self.lots_now) and self.lots_was != self.lots_now

    @property
    def crew_changed(self) -> bool:
        """Whether other technicians come."""
        return self.technicians_was != self.technicians_now

    @property
    def calving_now(self) -> date | None:
        """When they are due now."""
        return due_date(self.day_now) if self.day_now else None

    @property
    def anything(self) -> bool:
        """Whether anything at all differs."""
        moved = self.day_was != self.day_now or bool(self.steps)
        return moved or self.lots_was != self.lots_now or self.crew_changed or self.ai_by_was != self.ai_by_now


@dataclass(frozen=True, slots=True)
class Burden:
    """What a plan asks of a ranch: days moved from its wishes (sum and largest), AI days on weekends or holidays (a day counts
    once whatever the number of groups), started half hours of technicians' AI after noon, groups left without a place."""

    groups: int = 0
    days_moved: int = 0
    worst_move: int = 0
    rest_days: int = 0
    ai_days: int = 0
    afternoon_half_hours: int = 0
    unplaced: int = 0

    def plus(self, other: "Burden") -> "Burden":
        """Both together: sums, and the larger of the largest moves."""
        return Burden(
            self.groups + other.groups,
            self.days_moved + other.days_moved,
            max(self.worst_move, other.worst_move),
            self.rest_days + other.rest_days,
            self.ai_days + other.ai_days,
            self.afternoon_half_hours + other.afternoon_half_hours,
            self.unplaced + other.unplaced,
        )

    @property
    def rest_share(self) -> float:
        """Share of the ranch's AI days that fall on a weekend or holiday, 0 to 1."""
        return self.rest_days / self.ai_days if self.ai_days else 0.0


def together(burdens: Iterable[Burden | None]) -> Burden:
    """Burdens of several seasons as one; None counts nothing."""
    total = Burden()
    for burden in burdens:
        total = total.plus(burden or Burden())
    return total


@dataclass(frozen=True, slots=True)
class Load:
    """A technician's season: days with a visit, head to inseminate (reserved head), km driven."""

    days: int = 0
    head: int = 0
    km: float = 0.0


@dataclass(frozen=True)
class Comparison:
    """Two plans side by side. `groups` holds those for which anything changes; ranches and technicians hold all."""

    groups: tuple[GroupChange, ...]
    burdens_was: Mapping[str, Burden]
    burdens_now: Mapping[str, Burden]
    loads_was: Mapping[str, Load]
    loads_now: Mapping[str, Load]
    cost_was: Cost
    cost_now: Cost

    @property
    def dearer_by(self) -> float:
        """Points that the second plan costs more (less where negative)."""
        return round(self.cost_now.total - self.cost_was.total, 1)

    @property
    def moved(self) -> tuple[GroupChange, ...]:
        """Groups on another AI day."""
        return tuple(item for item in self.groups if item.days)

    @property
    def lost(self) -> tuple[GroupChange, ...]:
        """Groups that lose their place."""
        return tuple(item for item in self.groups if item.lost)

    @property
    def gained(self) -> tuple[GroupChange, ...]:
        """Groups that get a place."""
        return tuple(item for item in self.groups if item.gained)

    @property
    def ranches(self) -> frozenset[str]:
        """Ranches for which anything changes."""
        return frozenset(item.ranch for item in self.groups)


def compare(was: Situation, now: Situation, *, holidays: Set[date] = frozenset()) -> Comparison:
    """Everything that differs between two plans, of one season or of a season and its changed self."""
    return Comparison(
        tuple(item for item in _groups(was, now) if item.anything),
        burdens(was.season, was.plan, holidays),
        burdens(now.season, now.plan, holidays),
        loads(was.season, was.plan),
        loads(now.season, now.plan),
        was.plan.cost,
        now.plan.cost,
    )


def _groups(was: Situation, now: Situation) -> Iterator[GroupChange]:
    before = {item.id: item for item in was.plan.groups}
    after = {item.id: item for item in now.plan.groups}
    groups = {group.id: group for group in was.season.groups}
    known_before = set(groups)
    groups |= {group.id: group for group in now.season.groups}
    done = {group.id: group.carried_out for group in groups.values()}
    crew_before, crew_after = _crews(was.plan, done), _crews(now.plan, done)
    hands = {group.id: group.ai_by.value for group in was.season.groups}
    for name, group in groups.items():
        one, other = before.get(name), after.get(name)
        yield GroupChange(
            group=name,
            ranch=group.ranch,
            day_was=one.ai_day if one else None,
            day_now=other.ai_day if other else None,
            wanted=group.ai_wanted,
            lots_was=_heads(one),
            lots_now=_heads(other),
            steps=tuple(_steps(one, other, done[name])) if one and other else (),
            technicians_was=crew_before.get(name, ()),
            technicians_now=crew_after.get(name, ()),
            ai_by_was=hands[name] if name in known_before else group.ai_by.value,
            ai_by_now=group.ai_by.value,
            begins_was=_begins(one),
            begins_now=_begins(other),
            started=bool(group.done),
        )


def _crews(plan: Plan, done: Mapping[str, Set[str]]) -> dict[str, tuple[str, ...]]:
    """Who comes, but to what was carried out."""
    people: dict[str, set[str]] = defaultdict(set)
    for visit in plan.visits:
        if visit.step not in done.get(visit.group, ()):
            people[visit.group].add(visit.technician)
    return {group: tuple(sorted(names)) for group, names in people.items()}


def _heads(placed: GroupPlan | None) -> tuple[int, ...]:
    return tuple(lot.head for lot in placed.lots) if placed else ()


def _begins(placed: GroupPlan | None) -> datetime | None:
    return min((step.start for lot in placed.lots for step in lot.steps), default=None) if placed else None


def _steps(one: GroupPlan, other: GroupPlan, done: Set[str]) -> Iterator[StepChange]:
    """Steps at other times, but those carried out. A group that is cut anew has no lot to compare with."""
    if _heads(one) != _heads(other):
        return
    for number, (before, after) in enumerate(zip(one.lots, other.lots, strict=True)):
        new = {step.key: step.start for step in after.steps}
        for step in before.steps:
            start = new.get(step.key)
            if start is not None and step.key not in done and abs(hours_between(step.start, start)) > _MINUTE_H:
                yield StepChange(number, step.key, step.start, start)


# -- what a plan asks of ranches and technicians ----------------------------------------------------------------------
def burdens(season: Season, plan: Plan, holidays: Set[date] = frozenset()) -> dict[str, Burden]:
    """What the plan asks of every ranch of the season, by ranch id. Days are the ranch's own calendar days."""
    groups = {group.id: group for group in season.groups}
    found = dict.fromkeys(season.ranches, Burden())
    days: dict[str, set[date]] = defaultdict(set)
    for placed in plan.groups:
        group = groups.get(placed.id)
        if group is None:
            continue
        moved = abs((placed.ai_day - group.ai_wanted).days)
        found[group.ranch] = found[group.ranch].plus(Burden(groups=1, days_moved=moved, worst_move=moved))
        days[group.ranch] |= _ai_days(season, group, placed)
    for visit in plan.visits:
        group = groups.get(visit.group)
        if group is not None:
            halves = _afternoon(season, group, visit)
            found[group.ranch] = found[group.ranch].plus(Burden(afternoon_half_hours=halves))
    for item in plan.unplaced:
        group = groups.get(item.group)
        if group is not None:
            found[group.ranch] = found[group.ranch].plus(Burden(unplaced=1))
    for ranch, when in days.items():
        rest = sum(1 for day in when if day.weekday() >= _SATURDAY or day in holidays)
        found[ranch] = replace(found[ranch], rest_days=rest, ai_days=len(when))
    return found


def _ai_days(season: Season, group: Group, placed: GroupPlan) -> set[date]:
    """Days on which the group is inseminated; with heat detection alone the day that stands for them."""
    if not group.protocol.ai_steps:
        return {placed.ai_day} if group.protocol.heat_watches else set()
    zone, keys = season.ranches[group.ranch].zone, {step.key for step in group.protocol.ai_steps}
    return {step.start.astimezone(zone).date() for lot in placed.lots for step in lot.steps if step.key in keys}


def _is_ai(group: Group, key: str) -> bool:
    step = group.protocol.by_key.get(key)
    return key.startswith("heat:") or (step is not None and step.is_ai)


def _afternoon(season: Season, group: Group, visit: Visit) -> int:
    """Started half hours of a technician's AI after 12:00 at the ranch, as the season contract counts them."""
    if not _is_ai(group, visit.step):
        return 0
    zone = season.ranches[group.ranch].zone
    start = visit.start.astimezone(zone)
    noon = start.replace(hour=_NOON_H, minute=0, second=0, microsecond=0)
    return max(0, ceil(hours_between(max(start, noon), visit.end) * 2 - 1e-6))


def loads(season: Season, plan: Plan) -> dict[str, Load]:
    """Every technician's season in the plan, by technician id."""
    groups = {group.id: group for group in season.groups}
    found = dict.fromkeys(season.technicians, Load())
    for day in plan.days:
        old = found.get(day.technician, Load())
        found[day.technician] = Load(old.days + 1, old.head, round(old.km + day.km, 1))
    for visit in plan.visits:
        group = groups.get(visit.group)
        if group is not None and _is_ai(group, visit.step):
            old = found.get(visit.technician, Load())
            found[visit.technician] = replace(old, head=old.head + visit.head)
    return found


def days_between(first: date, last: date) -> tuple[date, ...]:
    """Every day from first to last, both included."""
    return tuple(first + timedelta(days=i) for i in range((last - first).days + 1))
