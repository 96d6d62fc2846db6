"""What differs between two plans of a season: for each group, ranch and technician, in figures and in sentences.

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
    def most_hours(self) -> float:
        """The largest move of a step in hours, without sign."""
        return max((abs(step.hours) for step in self.steps), default=0.0)

    @property
    def calving_was(self) -> date | None:
        """When calves of the first AI day were due."""
        return due_date(self.day_was) if self.day_was else None

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
    crew_before, crew_after = _crews(was.plan), _crews(now.plan)
    groups = {group.id: group for group in was.season.groups}
    known_before = set(groups)
    groups |= {group.id: group for group in now.season.groups}
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
            steps=tuple(_steps(one, other)) if one and other else (),
            technicians_was=crew_before.get(name, ()),
            technicians_now=crew_after.get(name, ()),
            ai_by_was=hands[name] if name in known_before else group.ai_by.value,
            ai_by_now=group.ai_by.value,
            begins_was=_begins(one),
            begins_now=_begins(other),
            started=bool(group.done),
        )


def _crews(plan: Plan) -> dict[str, tuple[str, ...]]:
    people: dict[str, set[str]] = defaultdict(set)
    for visit in plan.visits:
        people[visit.group].add(visit.technician)
    return {group: tuple(sorted(names)) for group, names in people.items()}


def _heads(placed: GroupPlan | None) -> tuple[int, ...]:
    return tuple(lot.head for lot in placed.lots) if placed else ()


def _begins(placed: GroupPlan | None) -> datetime | None:
    return min((step.start for lot in placed.lots for step in lot.steps), default=None) if placed else None


def _steps(one: GroupPlan, other: GroupPlan) -> Iterator[StepChange]:
    """Steps at other times. A group that is cut anew has no lot to compare with."""
    if _heads(one) != _heads(other):
        return
    for number, (before, after) in enumerate(zip(one.lots, other.lots, strict=True)):
        new = {step.key: step.start for step in after.steps}
        for step in before.steps:
            start = new.get(step.key)
            if start is not None and abs(hours_between(step.start, start)) > _MINUTE_H:
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


# -- sentences --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Asked:
    """What a plan asks of a ranch for one group, or of a technician (`ranch` and `group` are empty then), in sentences.

    `to_accept`: more than who comes changes, so that the ranch must be asked.
    """

    ranch: str
    group: str
    technician: str
    texts: tuple[str, ...]
    to_accept: bool


def asked(comparison: Comparison, now: Situation, names: Mapping[str, str]) -> tuple[Asked, ...]:
    """Who is asked to change what. `names` gives the groups' names by id; groups in the order of their ranches' names."""
    season = now.season
    groups = {group.id: group for group in season.groups}
    rows = [
        Asked(item.ranch, item.group, "", tuple(_group_texts(item, season, groups.get(item.group))), _weighs(item))
        for item in comparison.groups
    ]
    rows.sort(key=lambda row: (_ranch_name(season, row.ranch), names.get(row.group, row.group)))
    return (*rows, *_technician_rows(comparison, season))


def _weighs(item: GroupChange) -> bool:
    """Whether the ranch must be asked: another day, other hours, other lots, other hands, or no place."""
    return (
        item.day_was != item.day_now
        or bool(item.steps)
        or item.lots_was != item.lots_now
        or item.ai_by_was != item.ai_by_now
    )


def _ranch_name(season: Season, ranch: str) -> str:
    return season.ranches[ranch].name if ranch in season.ranches else ranch


def _group_texts(item: GroupChange, season: Season, group: Group | None) -> Iterator[str]:
    if item.lost:
        yield f"It loses its place on {day_words(item.day_was)}."
        return
    if item.gained:
        yield f"It gets a place: AI on {day_words(item.day_now)}, {_against_wish(item)}."
    elif item.days:
        yield (
            f"AI moves from {day_words(item.day_was)} to {day_words(item.day_now)}, {shift_words(item.days)}; "
            f"{_against_wish(item)}. Calves are due {shift_words(item.days)}, from {day_words(item.calving_now)}."
        )
    if item.ai_by_was != item.ai_by_now:
        yield "The ranch inseminates itself." if item.ai_by_now == "ranch" else "A technician inseminates."
    if item.recut:
        yield f"It goes through the chute in {_lots(item.lots_now)} instead of {_lots(item.lots_was)}."
    elif not item.days:
        yield from _hour_texts(item, season, group)
    if item.crew_changed and not item.gained and item.ai_by_was == item.ai_by_now:
        yield _crew_text(item, season)
    if item.started and not item.lost:
        yield (
            f"Steps have been done: AI stays on {day_words(item.day_now)}."
            if not item.days
            else ("Steps have been done already; they are counted to the new day.")
        )


def _against_wish(item: GroupChange) -> str:
    assert item.day_now is not None
    days = (item.day_now - item.wanted).days
    return f"{shift_words(days)} than wished" if days else "as wished"


def _hour_texts(item: GroupChange, season: Season, group: Group | None) -> Iterator[str]:
    """Steps of one chute trip speak once."""
    if group is None:
        return
    zone, told = season.ranches[group.ranch].zone, set()
    for step in item.steps:
        was, now = step.was.astimezone(zone), step.now.astimezone(zone)
        if (step.lot, was, now) in told or step.key not in group.protocol.by_key:
            continue
        told.add((step.lot, was, now))
        lot = f", lot {step.lot + 1}" if len(item.lots_now) > 1 else ""
        when = f"{now:%H:%M} instead of {was:%H:%M}"
        yield f"{group.protocol.by_key[step.key].label}{lot} on {day_words(now.date())} begins {when}."


def _crew_text(item: GroupChange, season: Season) -> str:
    def names(people: tuple[str, ...]) -> str:
        found = sorted(season.technicians[name].name if name in season.technicians else name for name in people)
        return " and ".join(found)

    come = names(tuple(set(item.technicians_now) - set(item.technicians_was)))
    stay_away = names(tuple(set(item.technicians_was) - set(item.technicians_now)))
    if come and stay_away:
        return f"{come} comes instead of {stay_away}."
    return f"{come} comes as well." if come else f"{stay_away} does not come."


def _lots(heads: tuple[int, ...]) -> str:
    if len(heads) == 1:
        return f"one lot of {heads[0]}"
    return f"{len(heads)} lots of {', '.join(str(head) for head in heads[:-1])} and {heads[-1]}"


def _technician_rows(comparison: Comparison, season: Season) -> Iterator[Asked]:
    people = sorted(
        comparison.loads_now, key=lambda key: season.technicians[key].name if key in season.technicians else key
    )
    for name in people:
        was, now = comparison.loads_was.get(name, Load()), comparison.loads_now[name]
        texts = tuple(_load_texts(was, now))
        if texts:
            yield Asked("", "", name, texts, to_accept=False)


def _load_texts(was: Load, now: Load) -> Iterator[str]:
    days, head, km = now.days - was.days, now.head - was.head, now.km - was.km
    if days:
        yield f"{abs(days)} {'day' if abs(days) == 1 else 'days'} {'more' if days > 0 else 'fewer'}."
    if head:
        yield f"{abs(head)} head {'more' if head > 0 else 'fewer'} to inseminate."
    if abs(km) >= 1:
        yield f"{abs(km):.0f} km {'more' if km > 0 else 'less'} to drive."


def day_words(day: date | None) -> str:
    """A day as people read it: Mon 3 May."""
    return f"{day:%a} {day.day} {day:%b}" if day else "no day"


def shift_words(days: int) -> str:
    """A move by whole days in words; "the same day" where there is none."""
    if not days:
        return "the same day"
    return f"{abs(days)} {'day' if abs(days) == 1 else 'days'} {'later' if days > 0 else 'earlier'}"


# -- the price --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Price:
    """Costs in the points of the season's weights: of the plan before anything happened, of carrying on with what of it can
    still be carried out (`lost` groups are then not bred at AI), and of the new plan."""

    before: float
    unchanged: float
    changed: float
    lost: tuple[str, ...]

    @property
    def change_costs(self) -> float:
        """Points that the new plan costs more than the plan before."""
        return round(self.changed - self.before, 1)

    @property
    def not_changing_costs(self) -> float:
        """Points that carrying on would cost more than the new plan; negative where carrying on is cheaper."""
        return round(self.unchanged - self.changed, 1)


def price(was: Situation, carried_on: Plan, now: Situation) -> Price:
    """What it costs to change, and not to. `carried_on` is what stands of the old plan in the changed season."""
    gone = {item.id for item in was.plan.groups} - {item.id for item in carried_on.groups}
    return Price(was.plan.cost.total, carried_on.cost.total, now.plan.cost.total, tuple(sorted(gone)))


def days_between(first: date, last: date) -> tuple[date, ...]:
    """Every day from first to last, both included."""
    return tuple(first + timedelta(days=i) for i in range((last - first).days + 1))


# What a change is worth to whoever is asked for it, in points of the usual weights: a group on another day, each day of it,
# other technicians, other hours on the same day. Our own prices: that a date once given is kept is common practice.
_CHANGED_DAY, _PER_DAY, _CHANGED_CREW, _CHANGED_HOURS = 450.0, 30.0, 40.0, 20.0


def disturbance(comparison: Comparison) -> float:
    """How much two plans differ for those who live by the first, in points."""
    return sum(_disturbed(item) for item in comparison.groups)


def _disturbed(item: GroupChange) -> float:
    points = _CHANGED_DAY + _PER_DAY * abs(item.days) if item.days else 0.0
    points += _CHANGED_CREW if item.crew_changed else 0.0
    same_day = item.day_was == item.day_now
    return points + (_CHANGED_HOURS if same_day and (item.steps or item.recut) else 0.0)
