"""What to do by when: the reasons of a group's animals gathered into one line of work for each rule and day."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from scheduling.kernel.advice.rules import DEFAULT_RULES, Rules
from scheduling.kernel.advice.units import US_UNITS, Units, day_words, gain_words
from scheduling.kernel.advice.vaccines import first_time_words
from scheduling.kernel.advice.verdicts import Judged, PlanDates, Verdict
from scheduling.kernel.advice.whys import WHYS

_READY, _IF, _NOT = Verdict.READY, Verdict.READY_IF, Verdict.NOT_THIS_TIME


@dataclass(frozen=True, slots=True)
class ToDo:
    """One thing to do for some females of the group, by a day (None: no day helps). READY: worth doing, not decisive."""

    code: str
    verdict: Verdict
    by: date | None
    sentence: str
    tags: tuple[str, ...]


# What is done, by rule and verdict; {n} is the head, {by} the day, {low} and {high} gains, {most} the most to count on.
_SAID = {
    ("target_weight", _NOT): "Leave {n} out or move the AI day: the target is out of reach, even at {most}",
    ("condition", _NOT): "Feed {n} and breed them later: too thin to gain it by AI, even at {most}",
    ("weigh", _IF): "Weigh {n} before {by}",
    ("weigh", _READY): "Weigh {n} again before {by}: the last weight is old",
    ("mature_weight", _IF): "Enter the weight of the herd's mature cows: {n} wait for it",
    ("age", _IF): "Ask the veterinarian about {n} that are younger than usual at AI, or move the AI day",
    ("tract", _IF): "Have the tracts of {n} scored by {by}",
    ("tract", _READY): "Have the tracts of {n} scored by {by}",
    ("tract", _NOT): "Score {n} again, or take them out: their tract scores are too low",
    ("tract_when", _READY): "Have the tracts of {n} scored again by {by}: the scores are old at AI",
    ("insert_label", _NOT): "Leave {n} out: an insert is not for an immature tract",
    ("pelvis", _IF): "Measure the pelvis of {n} before {by}",
    ("pelvis", _READY): "Measure the pelvis of {n} before {by}",
    ("pelvis", _NOT): "Leave {n} out: the pelvis is too small",
    ("condition", _IF): "Score the condition of {n} before {by}",
    ("condition_trend", _IF): "Feed {n} so that they stop losing, and score them again before {by}",
    ("condition_trend", _READY): "Watch the condition of {n}: they have lost some",
    ("calving_date", _IF): "Record the calving of {n} before {by}",
    ("days_insert", _IF): "Give {n} a later start: they calve late for an insert on {by}",
    ("days_insert", _NOT): "Give {n} a later start or leave them to the bulls: the label forbids their insert so early",
    ("days_ai", _IF): "Take {n} with a poorer chance, or give them a later AI day: they calve late for this one",
    ("uterus", _NOT): "Give {n} a later AI day or leave them to the bulls: they calve too late",
    ("primary_course", _IF): "Give {n} their second dose by {by}, or record their earlier one",
    ("live_vaccine", _IF): "Ask the veterinarian about {n}: a modified-live vaccine close to AI, or move the AI day",
    ("live_vaccine", _NOT): "Move the AI day of {n}, or ask the veterinarian: a modified-live vaccine too close to AI",
    ("pregnant", _NOT): "Take {n} out of the group: pregnant",
    ("unknown_pregnancy", _IF): "Have {n} checked for pregnancy before {by}, or say that the group was kept from bulls",
    ("hold", _NOT): "Ask whoever set the health hold of {n}",
    ("mga_label", _NOT): "Choose another programme for {n}: MGA must not be fed to cows",
}


def todo_of(
    judged: Sequence[Judged], plan: PlanDates, rules: Rules = DEFAULT_RULES, units: Units = US_UNITS
) -> tuple[ToDo, ...]:
    """One line for each rule, verdict and day, the earliest day first. What is only worth doing must still be possible."""
    gathered: dict[tuple[str, Verdict, date | None], list[tuple[str, float | None]]] = defaultdict(list)
    for one in judged:
        for reason in one.reasons:
            worth = reason.do is not None and reason.by is not None and reason.by >= plan.today
            if reason.verdict > _READY or worth:
                gathered[reason.code, reason.verdict, reason.by].append((one.tag, reason.amount))
    rows = [_row(key, members, plan, rules, units) for key, members in gathered.items()]
    return tuple(sorted(rows, key=lambda row: (row.by is None, row.by or date.max, row.code, row.verdict)))


def _row(
    key: tuple[str, Verdict, date | None],
    members: list[tuple[str, float | None]],
    plan: PlanDates,
    rules: Rules,
    units: Units,
) -> ToDo:
    code, verdict, by = key
    gains = [amount for _, amount in members if amount is not None]
    most = gain_words(rules.heifer_gain_max_kg if code == "target_weight" else rules.cow_gain_max_kg, units)
    words = {"n": f"{len(members)} head", "by": day_words(by) if by else "AI", "most": most}
    if gains:
        words |= {"gain": _gain(gains, units)}
    said = _template(key, bool(gains), plan).format(**words)
    if code == "boosters" and by and by < plan.start:
        said += f"; {first_time_words(plan, rules)}"
    return ToDo(code, verdict, by, f"{said}.", tuple(tag for tag, _ in members))


def _gain(gains: list[float], units: Units) -> str:
    low, high = gain_words(min(gains), units), gain_words(max(gains), units)
    return low if low == high else f"{low.removesuffix(' a day')} to {high}"


def _template(key: tuple[str, Verdict, date | None], gains: bool, plan: PlanDates) -> str:
    code, verdict, by = key
    if gains:
        return "Feed {n} to gain {gain} until {by}. This can be done: up to {most} can be counted on"
    if code == "target_weight" and verdict is _IF:
        return "Take {n} with a lower chance, or move the AI day: too light to make the target, heavy enough to try"
    if code == "boosters":
        if by and by < plan.start:
            return "Give {n} the boosters that the veterinarian names by {by}"
        return "Ask the veterinarian about {n}: it is too late for boosters before AI"
    return _SAID.get((code, verdict), f"{WHYS[code].title}: {{n}} by {{by}}")
