"""Readiness in the words and shapes of its pages: bars, a group's work, every check of one female with its record."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from accounts.models import User
from accounts.tenancy import Member
from accounts.units import Units
from herdplan.herds.models import Record
from herdplan.herds.queries import History, females_for, histories
from herdplan.herds.record_sheets import record_text
from scheduling.kernel.advice.herd import Chart, Finding
from scheduling.kernel.advice.todo import ToDo
from scheduling.kernel.advice.units import reaches, weight_words
from scheduling.kernel.advice.verdicts import Reason, Verdict
from scheduling.kernel.advice.whys import WHYS
from scheduling.models import SeasonEntry
from scheduling.services.readiness import Animal, Dated, GroupReadiness, group_readiness
from scheduling.services.readiness_limits import rules_of
from scheduling.services.units import units_of

_WIDE = 1000  # of a bar's picture
# Which record a rule reads: what is typed at the chute when it is missing.
RECORD_OF = {
    "target_weight": Record.Kind.WEIGHT,
    "weigh": Record.Kind.WEIGHT,
    "tract": Record.Kind.TRACT,
    "tract_when": Record.Kind.TRACT,
    "insert_label": Record.Kind.TRACT,
    "pelvis": Record.Kind.PELVIS,
    "condition": Record.Kind.CONDITION,
    "condition_trend": Record.Kind.CONDITION,
    "calving_date": Record.Kind.CALVING,
    "days_insert": Record.Kind.CALVING,
    "days_ai": Record.Kind.CALVING,
    "uterus": Record.Kind.CALVING,
    "boosters": Record.Kind.VACCINATION,
    "primary_course": Record.Kind.VACCINATION,
    "live_vaccine": Record.Kind.VACCINATION,
    "pregnant": Record.Kind.PREGNANCY,
    "unknown_pregnancy": Record.Kind.PREGNANCY,
    "hold": Record.Kind.HOLD,
}
# Work that ends in a record.
_TYPED = frozenset(RECORD_OF) - {"insert_label", "days_insert", "days_ai", "uterus", "live_vaccine", "pregnant", "hold"}


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar of a chart: its words, head, width of a thousand, and on which side of the limit it stands."""

    label: str
    head: int
    width: int
    reached: bool


@dataclass(frozen=True, slots=True)
class Spread:
    """How a figure spreads over the group. `limit` in words, `missing` head without the figure."""

    key: str
    title: str
    limit: str
    bars: tuple[Bar, ...]
    missing: int
    why: str


@dataclass(frozen=True, slots=True)
class Work:
    """One thing to do for the group, with the record that is typed for it; `more`: animals besides those named."""

    code: str
    key: str
    by: date | None
    overdue: bool
    sentence: str
    tags: tuple[str, ...]
    more: int
    kind: str


@dataclass(frozen=True, slots=True)
class Check:
    """One rule on one female: what it says, the record that decided it and who typed it, what is typed where it lacks."""

    code: str
    title: str
    key: str
    word: str
    sentence: str
    do: str
    by: date | None
    missing: bool
    record: str
    day: date | None
    typed: str
    kind: str


@dataclass(frozen=True, slots=True)
class AnimalPage:
    """Everything that one female's page shows."""

    animal: Animal
    dated: Dated
    checks: tuple[Check, ...]
    share: str


_LIMIT_WORDS = {
    "share": "target {:g} %",
    "tract": "4 and 5 are cycling",
    "pelvis": "least {:g}",
    "days": "wanted {:g} days",
    "condition": "wanted {:g}",
}
_CHART_WHY = {"share": "target_weight", "days": "days_ai"}
_TAGS_NAMED = 12


def spreads_of(readiness: GroupReadiness, user: User) -> list[Spread]:
    """The group's charts; the target weight is told in the person's unit."""
    charts = readiness.group.charts if readiness.group else ()
    return [_spread(chart, readiness, user) for chart in charts]


def _spread(chart: Chart, readiness: GroupReadiness, user: User) -> Spread:
    target = chart.target
    most = max((bucket.head for bucket in chart.buckets), default=0) or 1
    bars = tuple(
        Bar(
            bucket.label,
            bucket.head,
            round(_WIDE * bucket.head / most),
            target is not None and bucket.low is not None and reaches(bucket.low, target),
        )
        for bucket in chart.buckets
    )
    limit = _LIMIT_WORDS[chart.key].format(target)
    mature = readiness.entry.group.herd.mature_kg
    if chart.key == "share" and mature and target is not None:
        units = units_of(user)
        limit += f": {weight_words(mature * target / 100, units)} of {weight_words(mature, units)}"
    return Spread(chart.key, chart.title, limit, bars, chart.missing, _CHART_WHY.get(chart.key, chart.key))


def work_of(readiness: GroupReadiness) -> list[Work]:
    """What to do by when."""
    return [_work(item, readiness.dated.plan.today) for item in readiness.work] if readiness.dated else []


def _work(item: ToDo, today: date) -> Work:
    return Work(
        code=item.code,
        key=item.verdict.name.lower(),
        by=item.by,
        overdue=item.by is not None and item.by < today,
        sentence=item.sentence,
        tags=item.tags[:_TAGS_NAMED],
        more=max(0, len(item.tags) - _TAGS_NAMED),
        kind=RECORD_OF[item.code].value if item.code in _TYPED and item.verdict < Verdict.NOT_THIS_TIME else "",
    )


def findings_of(readiness: GroupReadiness) -> tuple[Finding, ...]:
    """The rules about the whole group, the broken ones first."""
    found = readiness.group.findings if readiness.group else ()
    return tuple(sorted(found, key=lambda item: item.kept))


def animal_page(*, member: Member, entry: SeasonEntry, female: uuid.UUID, now: datetime) -> AnimalPage | None:
    """One female of the entry's group with every check; None where she is not in it. Seven queries."""
    readiness = group_readiness(member=member, entry=entry, now=now)
    animal = next((one for one in readiness.animals if one.female.pk == female), None)
    if animal is None or readiness.dated is None:
        return None
    history = histories(females_for(member).filter(pk=female), people=True)[0]
    units, zone = Units.of(member.user), ZoneInfo(entry.group.herd.ranch.zone)
    checks = tuple(_check(reason, history, units, zone) for reason in animal.judged.reasons)
    rules = rules_of(entry.season.cooperative_id).rules
    share = animal.judged.share_of_mature
    said = f"{share * 100:.0f} % of mature weight; the target is {rules.target_share * 100:g} %" if share else ""
    return AnimalPage(animal, readiness.dated, checks, said)


def _check(reason: Reason, history: History, units: Units, zone: ZoneInfo) -> Check:
    kind = RECORD_OF.get(reason.code)
    record = _decided(reason, history, kind)
    return Check(
        code=reason.code,
        title=WHYS[reason.code].title,
        key=reason.verdict.name.lower(),
        word=reason.verdict.words,
        sentence=reason.sentence,
        do=reason.do or "",
        by=reason.by if reason.do else None,
        missing=reason.missing,
        record=f"{record.get_kind_display()}: {record_text(record, units)}" if record else _book(reason, kind),
        day=record.day if record else reason.seen,
        typed=_typed(record, zone) if record else "",
        kind=kind.value if kind else "",
    )


def _decided(reason: Reason, history: History, kind: Record.Kind | None) -> Record | None:
    """The record behind a reason: of its kind, on its day."""
    rows: Iterator[Record] = iter(history.of(kind) if kind and reason.seen else ())
    return next((row for row in rows if row.day == reason.seen), None)


def _book(reason: Reason, kind: Record.Kind | None) -> str:
    """What stands in the herd book without a record of its own."""
    if reason.seen is None:
        return ""
    return "Herd book: last calved" if kind is Record.Kind.CALVING else "Herd book: born"


def _typed(record: Record, zone: ZoneInfo) -> str:
    at = record.at.astimezone(zone)
    return f"{record.by or 'somebody who has left'}, {at:%a} {at.day} {at:%b %Y}"
