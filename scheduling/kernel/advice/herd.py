"""A group's readiness: how many are ready, how their figures spread, what the group needs, and a second group.

Shares are fractions of the head that a figure is on record for; every share says of how many.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scheduling.kernel.advice.figures import Cited
from scheduling.kernel.advice.gain import PREGNANT_BY_TRACT
from scheduling.kernel.advice.readiness import judge
from scheduling.kernel.advice.records import FemaleRecord
from scheduling.kernel.advice.rules import DEFAULT_RULES, Rules
from scheduling.kernel.advice.todo import ToDo, todo_of
from scheduling.kernel.advice.units import US_UNITS, Units, day_words, reaches
from scheduling.kernel.advice.verdicts import Judged, PlanDates, Verdict
from scheduling.kernel.advice.whys import WHYS


@dataclass(frozen=True, slots=True)
class Bucket:
    """Head from `low` (included) to `high` (not included); None is open-ended."""

    label: str
    low: float | None
    high: float | None
    head: int


@dataclass(frozen=True, slots=True)
class Chart:
    """How a figure spreads over a group. `target` is the limit that is drawn, `missing` the head without the figure."""

    key: str
    title: str
    buckets: tuple[Bucket, ...]
    target: float | None
    missing: int


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule about the whole group: kept or not, in words, over how many head."""

    code: str
    kept: bool
    sentence: str
    value: float
    head: int

    @property
    def sources(self) -> tuple[Cited, ...]:
        """Who printed the rule."""
        return WHYS[self.code].sources


@dataclass(frozen=True, slots=True)
class SecondGroup:
    """Late calvers as a group of their own: its AI day, who is in it, how many are ready then, who is too late even so."""

    tags: tuple[str, ...]
    plan: PlanDates
    days_later: int
    ready: int
    left_out: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class GroupJudged:
    """A group's judgement."""

    head: int
    judged: tuple[Judged, ...]
    counts: dict[Verdict, int]
    charts: tuple[Chart, ...]
    findings: tuple[Finding, ...]
    todo: tuple[ToDo, ...]
    second_group: SecondGroup | None
    expected_ai_pregnancies: float | None

    def share(self, verdict: Verdict) -> float:
        """Share of the group with a verdict; 0 for an empty group."""
        return self.counts[verdict] / self.head if self.head else 0.0


_LATE = frozenset({"days_insert", "days_ai", "uterus"})


def judge_group(
    females: Sequence[FemaleRecord],
    plan: PlanDates,
    rules: Rules = DEFAULT_RULES,
    *,
    mature_kg: float | None = None,
    units: Units = US_UNITS,
) -> GroupJudged:
    """Every female of a group for one plan, and the group as a whole."""
    judged = tuple(judge(female, plan, rules, mature_kg=mature_kg, units=units) for female in females)
    counts = {verdict: sum(one.verdict is verdict for one in judged) for verdict in Verdict}
    return GroupJudged(
        head=len(females),
        judged=judged,
        counts=counts,
        charts=tuple(_charts(females, judged, plan, rules)),
        findings=tuple(_findings(females, judged, plan, rules)),
        todo=todo_of(judged, plan, rules, units),
        second_group=second_group(females, judged, plan, rules, units),
        expected_ai_pregnancies=expected_ai_pregnancies(females),
    )


def expected_ai_pregnancies(females: Iterable[FemaleRecord]) -> float | None:
    """Pregnancies to synchronized AI that the tract scores promise; None without a score.

    "Reproductive Tract Scoring Replacement Heifers", Virginia Cooperative Extension, 1998.
    """
    scores = [female.tract.score for female in females if female.tract and female.tract.score in PREGNANT_BY_TRACT]
    return sum(PREGNANT_BY_TRACT[score][0] for score in scores) if scores else None


def second_group(
    females: Sequence[FemaleRecord],
    judged: Sequence[Judged],
    plan: PlanDates,
    rules: Rules = DEFAULT_RULES,
    units: Units = US_UNITS,
) -> SecondGroup | None:
    """The late calvers as a group of their own, at the first day that suits all who can be waited for; None without any."""
    wait: dict[str, int] = {}
    for female, one in zip(females, judged, strict=True):
        late = any(reason.code in _LATE and reason.verdict > Verdict.READY for reason in one.reasons)
        calved, _ = female.calving(plan.today)
        if late and calved is not None:
            wait[female.tag] = _days_to_wait(calved, plan, rules)
    inside = {tag: days for tag, days in wait.items() if days <= rules.second_group_days}
    if not inside:
        return None
    later = max(inside.values())
    moved = plan.moved(later)
    ready = sum(judge(f, moved, rules, units=units).verdict is Verdict.READY for f in females if f.tag in inside)
    left_out = tuple(tag for tag in wait if tag not in inside)
    said = (
        f"{len(inside)} late calvers as a second group: start {day_words(moved.start)}, AI {day_words(moved.ai)}, "
        f"{later} days after the first group. {ready} of them are ready then."
    )
    return SecondGroup(tuple(inside), moved, later, ready, left_out, said)


def _days_to_wait(calved: date, plan: PlanDates, rules: Rules) -> int:
    """Days by which the programme must move so that she is inside the limits at AI and at the insert."""
    needs = [calved + timedelta(days=rules.ai_days) - plan.ai]
    if plan.insert is not None:
        needs.append(calved + timedelta(days=rules.insert_days) - plan.insert)
    return max(0, *(need.days for need in needs))


def _charts(
    females: Sequence[FemaleRecord], judged: Sequence[Judged], plan: PlanDates, rules: Rules
) -> Iterable[Chart]:
    heifers = [female for female in females if female.is_heifer]
    cows = [one for female, one in zip(females, judged, strict=True) if not female.is_heifer]
    if heifers:
        shares = [one.share_of_mature for female, one in zip(females, judged, strict=True) if female.is_heifer]
        percent = [None if share is None else share * 100 for share in shares]
        yield _chart("share", "Share of mature weight, %", percent, (50, 55, 60, 65, 70), rules.target_share * 100)
        scores = [float(female.tract.score) if female.tract else None for female in heifers]
        yield _chart("tract", "Tract score", scores, (2, 3, 4, 5), 4)
        areas = [female.pelvis.area_cm2 if female.pelvis else None for female in heifers]
        yield _chart("pelvis", "Pelvic area, square centimetres", areas, (130, 140, 150, 160, 170), rules.pelvis_cm2)
    if cows:
        days = [one.days_at_ai for one in cows]
        figures = [None if day is None else float(day) for day in days]
        edges = (rules.insert_days, rules.uterus_days, rules.ai_days, 60, 80)
        yield _chart("days", "Days since calving at AI", figures, edges, rules.ai_days)
    latest = [female.latest_condition for female in females]
    if any(latest) or cows:
        scored = [item.score if item else None for item in latest]
        yield _chart("condition", "Body condition", scored, (3, 4, 5, 6, 7), rules.condition)


def _chart(
    key: str, title: str, values: Sequence[float | None], edges: tuple[float, ...], target: float | None
) -> Chart:
    known = [value for value in values if value is not None]
    target = None if target is None else round(target, 6)
    edges = tuple(sorted({*edges, *(() if target is None else (target,))}))  # no bar stands on both sides of the limit
    buckets = []
    for low, high in zip((None, *edges), (*edges, None), strict=True):
        head = sum((low is None or reaches(v, low)) and (high is None or not reaches(v, high)) for v in known)
        label = f"{1 if low is None else low:g}" if key == "tract" else _label(low, high)  # whole scores, one a bar
        buckets.append(Bucket(label, low, high, head))
    return Chart(key, title, tuple(buckets), target, len(values) - len(known))


def _label(low: float | None, high: float | None) -> str:
    if low is None:
        return f"under {high:g}"
    return f"{low:g} and more" if high is None else f"{low:g} to under {high:g}"


def _findings(
    females: Sequence[FemaleRecord], judged: Sequence[Judged], plan: PlanDates, rules: Rules
) -> Iterable[Finding]:
    days = [one.days_at_ai for one in judged if one.days_at_ai is not None]
    if days:
        mean = sum(days) / len(days)
        said = f"The cows average {mean:.0f} days since calving at AI; {rules.average_days:.0f} are wanted."
        yield Finding("average_days", reaches(mean, rules.average_days), said, mean, len(days))
    if days and plan.insert is not None:
        youngest = min(days) - (plan.ai - plan.insert).days
        said = f"The latest calver is {youngest} days after calving at the insert; {rules.insert_days} are wanted."
        yield Finding("youngest", youngest >= rules.insert_days, said, youngest, len(days))
    scores = [female.tract.score for female in females if female.is_heifer and female.tract]
    if scores:
        share = sum(score >= 4 for score in scores) / len(scores)
        said = f"{share * 100:.0f} % of {len(scores)} heifers score 4 or 5; {rules.tract_share * 100:.0f} % are wanted."
        yield Finding("tract_share", reaches(share, rules.tract_share), said, share, len(scores))
    conditions = [female.latest_condition.score for female in females if female.latest_condition]
    if conditions:
        mean = sum(conditions) / len(conditions)
        said = f"Condition averages {mean:.1f}; {rules.condition:g} is wanted."
        yield Finding("average_condition", reaches(mean, rules.condition), said, mean, len(conditions))
