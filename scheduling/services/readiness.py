"""Readiness from the rows: a ranch's females with their records brought before the rules for an entry's dates."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from accounts.tenancy import Member
from herdplan.herds.models import AnimalClass as Class
from herdplan.herds.models import Female, Record
from herdplan.herds.queries import History, females_for, histories
from scheduling.kernel.advice.herd import GroupJudged, SecondGroup, judge_group, second_group
from scheduling.kernel.advice.records import (
    ConditionScore,
    FemaleRecord,
    Hold,
    Pelvis,
    Pregnancy,
    TractScore,
    Vaccination,
    VaccineKind,
    Weighing,
)
from scheduling.kernel.advice.rules import Rules
from scheduling.kernel.advice.todo import ToDo, todo_of
from scheduling.kernel.advice.units import Units
from scheduling.kernel.advice.verdicts import Judged, PlanDates, Verdict, plan_dates
from scheduling.kernel.protocol import AnimalClass
from scheduling.models import PlanVersion, ReadinessWord, Season, SeasonEntry
from scheduling.queries import sees_drafts
from scheduling.services.catalogue import protocol_of
from scheduling.services.readiness_limits import rules_of
from scheduling.services.units import units_of

# What nobody overrides: a pregnancy and the limits of labels. The record is put right instead.
_FIRM = frozenset({"pregnant", "insert_label", "mga_label", "days_insert"})
# A cow that is pregnant and has no due date is guessed to calve a year after her last calving: a default of this program.
_CALVES_AGAIN = timedelta(days=365)
VERDICTS = {verdict.name.lower(): verdict for verdict in Verdict}


@dataclass(frozen=True, slots=True)
class Dated:
    """The dates that an entry is judged for, and where its AI day comes from: "published", "draft" or "wish"."""

    plan: PlanDates
    origin: str

    @property
    def words(self) -> str:
        """Where the AI day comes from, for people."""
        return {"published": "published", "draft": "in the draft plan"}.get(self.origin, "wished")

    @property
    def begun(self) -> bool:
        """Whether the programme has begun, so that less can be changed."""
        return self.plan.today > self.plan.start

    @property
    def over(self) -> bool:
        """Whether AI is over: the females are then judged as they stood that day."""
        return self.plan.today > self.plan.ai


@dataclass(frozen=True, slots=True)
class Animal:
    """One female with her judgement, and an adviser's word on her where one is in force."""

    female: Female
    judged: Judged
    word: ReadinessWord | None

    @property
    def firm(self) -> bool:
        """Whether something speaks against her that nobody overrides."""
        return any(item.code in _FIRM and item.verdict is Verdict.NOT_THIS_TIME for item in self.judged.reasons)

    @property
    def set_aside(self) -> bool:
        """Whether a word that she is ready does not count, because of a pregnancy or a label."""
        return self.word is not None and self.word.verdict == ReadinessWord.Verdict.READY and self.firm

    @property
    def verdict(self) -> Verdict:
        """The adviser's word where it counts, else what the rules say."""
        if self.word is None or self.set_aside:
            return self.judged.verdict
        said_ready = self.word.verdict == ReadinessWord.Verdict.READY
        return Verdict.READY if said_ready else Verdict.NOT_THIS_TIME

    @property
    def key(self) -> str:
        """The verdict's name in addresses and templates."""
        return self.verdict.name.lower()

    @property
    def weighs_most(self) -> tuple[Any, ...]:
        """The reasons of her gravest verdict; none for a ready female."""
        worst = self.judged.verdict
        return tuple(item for item in self.judged.reasons if item.verdict is worst) if worst else ()


@dataclass(frozen=True, slots=True)
class GroupReadiness:
    """An entry judged. `dated` and `group` are None where this edition of the catalogue does not know its programme.

    `late`: late calvers as a second group; `work`: what to do by when. Both leave aside whom an adviser has spoken of.
    """

    entry: SeasonEntry
    dated: Dated | None
    group: GroupJudged | None
    animals: tuple[Animal, ...]
    signed: ReadinessWord | None
    late: SecondGroup | None
    work: tuple[ToDo, ...] = ()

    @property
    def counts(self) -> dict[str, int]:
        """Head by verdict, advisers' words included."""
        found = dict.fromkeys(VERDICTS, 0)
        for animal in self.animals:
            found[animal.key] += 1
        return found

    @property
    def mix(self) -> list[tuple[str, int, int]]:
        """The verdicts side by side: name, head to the left of it, head."""
        counts = self.counts
        heads = list(counts.values())
        return [(key, sum(heads[:i]), head) for i, (key, head) in enumerate(counts.items())]

    @property
    def head(self) -> int:
        """Females on record."""
        return len(self.animals)

    @property
    def unknown(self) -> int:
        """Head of the entry that are not in the herd book one by one."""
        return max(0, self.entry.head - self.head)

    @property
    def per_cent(self) -> int | None:
        """Share ready of those on record, never rounded up to all; None without any."""
        return 100 * self.counts["ready"] // self.head if self.animals else None

    @property
    def stale(self) -> bool:
        """Whether the group was signed off for another AI day than it has now."""
        day = self.signed.ai_day if self.signed else None
        return day is not None and self.dated is not None and day != self.dated.plan.ai

    def with_verdict(self, key: str) -> list[Animal]:
        """The animals of a verdict; all of them for any other word."""
        return [animal for animal in self.animals if key not in VERDICTS or animal.key == key]


def season_readiness(
    *, member: Member, season: Season, entries: Sequence[SeasonEntry], now: datetime
) -> list[GroupReadiness]:
    """Entries of a season judged for the dates that the member may see. Four queries, however many females there are."""
    rules = rules_of(season.cooperative_id).rules
    days = _ai_days(member, season)
    found = _histories(member, entries)
    words = _words(entries)
    units = units_of(member.user)
    return [
        _judged(entry, _dated(entry, days, now), found[entry.group_id], words[entry.pk], rules, units)
        for entry in entries
    ]


def group_readiness(*, member: Member, entry: SeasonEntry, now: datetime) -> GroupReadiness:
    """One entry judged. Four queries."""
    return season_readiness(member=member, season=entry.season, entries=[entry], now=now)[0]


def _histories(member: Member, entries: Iterable[SeasonEntry]) -> Mapping[uuid.UUID, list[History]]:
    """The females of each entry's group with their records, by tag. Two queries."""
    groups = [entry.group_id for entry in entries]
    females = females_for(member).filter(group__in=groups, status=Female.Status.ACTIVE).select_related(None)
    found: dict[uuid.UUID, list[History]] = defaultdict(list)
    for history in histories(females, bare=True):
        if history.female.group_id is not None:
            found[history.female.group_id].append(history)
    return found


def _words(entries: Iterable[SeasonEntry]) -> Mapping[uuid.UUID, dict[uuid.UUID | None, ReadinessWord]]:
    """Words in force by entry and female; None is the whole group. One query."""
    found: dict[uuid.UUID, dict[uuid.UUID | None, ReadinessWord]] = defaultdict(dict)
    ids = [entry.pk for entry in entries]
    for word in ReadinessWord.objects.filter(entry__in=ids, withdrawn_at=None).select_related("by"):
        found[word.entry_id][word.female_id] = word
    return found


def _ai_days(member: Member, season: Season) -> dict[str, tuple[date, str]]:
    """AI day and its origin by entry: the published plan's, else the draft's for whoever sees drafts."""
    days: dict[str, tuple[date, str]] = {}
    for plan, origin in ((season.plan if sees_drafts(member) else None, "draft"), (season.published_plan, "published")):
        days |= {key: (day, origin) for key, day in _of_plan(plan)}
    return days


def _of_plan(plan: PlanVersion | None) -> list[tuple[str, date]]:
    rows = plan.document.get("groups", []) if plan else []
    return [(row["id"], date.fromisoformat(row["ai_day"])) for row in rows]


def _dated(entry: SeasonEntry, days: Mapping[str, tuple[date, str]], now: datetime) -> Dated | None:
    protocol = protocol_of(entry.protocol)
    if protocol is None:
        return None
    day, origin = days.get(str(entry.pk), (entry.ai_wanted, "wish"))
    return Dated(plan_dates(protocol, day, entry.group.herd.ranch.day_at(now)), origin)


def dated_for(member: Member, entry: SeasonEntry, now: datetime) -> Dated | None:
    """The dates that an entry is judged for."""
    return _dated(entry, _ai_days(member, entry.season), now)


def _judged(
    entry: SeasonEntry,
    dated: Dated | None,
    found: Sequence[History],
    words: Mapping[uuid.UUID | None, ReadinessWord],
    rules: Rules,
    units: Units,
) -> GroupReadiness:
    if dated is None:
        return GroupReadiness(entry, None, None, (), words.get(None), None)
    plan = replace(dated.plan, today=dated.plan.ai) if dated.over else dated.plan
    until = plan.ai if dated.over else date.max
    records = [as_record(history, kept_from_bulls=entry.kept_from_bulls, until=until) for history in found]
    group = judge_group(records, plan, rules, mature_kg=entry.group.herd.mature_kg, units=units)
    animals = tuple(
        Animal(history.female, judged, words.get(history.female.pk))
        for history, judged in zip(found, group.judged, strict=True)
    )
    late = None if dated.begun else _late(records, animals, group, plan, rules, units)
    work = () if dated.over else group.todo
    if work and any(
        animal.word for animal in animals
    ):  # whom an adviser has spoken of needs nothing more, but for what is firm
        rest = [animal.judged for animal in animals if animal.word is None or animal.set_aside]
        work = todo_of(rest, plan, rules, units)
    return GroupReadiness(entry, dated, group, animals, words.get(None), late, work)


def _late(
    records: Sequence[FemaleRecord],
    animals: Sequence[Animal],
    group: GroupJudged,
    plan: PlanDates,
    rules: Rules,
    units: Units,
) -> SecondGroup | None:
    """The late calvers, without those of whom an adviser has said something."""
    if group.second_group is None or not any(animal.word for animal in animals):
        return group.second_group
    rest = [(one, animal.judged) for one, animal in zip(records, animals, strict=True) if animal.word is None]
    return second_group([one for one, _ in rest], [judged for _, judged in rest], plan, rules, units)


def _trimmed(history: History, until: date) -> History:
    """What was on record on a day: after AI, a pregnancy is what was wanted."""
    kept = {kind: tuple(row for row in rows if row.day <= until) for kind, rows in history.records.items()}
    return History(history.female, kept)


def as_record(history: History, *, kept_from_bulls: bool, until: date = date.max) -> FemaleRecord:
    """A female's rows up to a day as the kernel reads them. A pregnancy check of before her last calving says nothing."""
    female = history.female
    if until < date.max:
        history = _trimmed(history, until)
    calved = next((day for day in history.calvings if day <= until), None)
    check = history.latest(Record.Kind.PREGNANCY)
    if check is not None and calved is not None and calved >= check.day:
        check = None
    pregnancy = Pregnancy(check.pregnancy) if check else Pregnancy.UNKNOWN
    cow = female.animal_class != Class.HEIFER
    due = _due(check, calved) if check is not None and cow and pregnancy is Pregnancy.PREGNANT else None
    tract, pelvis = history.latest(Record.Kind.TRACT), history.latest(Record.Kind.PELVIS)
    return FemaleRecord(
        tag=female.tag,
        animal_class=AnimalClass(female.animal_class),
        born=female.born,
        calved=calved,
        due=due,
        due_guessed=due is not None and check is not None and check.due is None,
        weights=tuple(Weighing(row.day, row.weight_kg or 0.0) for row in history.of(Record.Kind.WEIGHT)),
        conditions=tuple(ConditionScore(row.day, row.condition or 0.0) for row in history.of(Record.Kind.CONDITION)),
        tract=TractScore(tract.day, tract.tract_score or 0) if tract else None,
        pelvis=Pelvis(pelvis.day, pelvis.pelvic_height_cm or 0.0, pelvis.pelvic_width_cm or 0.0) if pelvis else None,
        vaccinations=_vaccinations(history, heifer=not cow),
        pregnancy=pregnancy,
        pregnancy_checked=check.day if check else None,
        kept_from_bulls=kept_from_bulls,
        holds=tuple(Hold(row.day, row.until, row.reason) for row in history.of(Record.Kind.HOLD)),
    )


def _due(check: Record, calved: date | None) -> date | None:
    """When a pregnant cow should calve: by what the check told of her days, else a guess from her last calving."""
    return check.due or (calved + _CALVES_AGAIN if calved else None)


def _vaccinations(history: History, *, heifer: bool) -> tuple[Vaccination, ...]:
    """Doses that guard breeding. Of a heifer the first dose on record of a vaccine counts as her first ever."""
    seen: set[str] = set()
    doses = []
    for row in reversed(history.of(Record.Kind.VACCINATION)):
        if row.vaccine == Record.Vaccine.CLOSTRIDIAL:
            continue
        kind = VaccineKind.MODIFIED_LIVE if row.vaccine == Record.Vaccine.VIRAL_LIVE else VaccineKind.KILLED
        doses.append(Vaccination(row.day, kind, heifer and row.vaccine not in seen, row.vaccine))
        seen.add(row.vaccine)
    return tuple(doses)
