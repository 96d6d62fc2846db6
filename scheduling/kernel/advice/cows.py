"""The rules for cows: days since calving; and condition, which counts for heifers too where it is scored."""

from collections.abc import Iterator
from datetime import date, timedelta
from math import ceil

from scheduling.kernel.advice.gain import condition_gain_needed
from scheduling.kernel.advice.records import FemaleRecord, Pregnancy
from scheduling.kernel.advice.rules import Rules
from scheduling.kernel.advice.units import Units, day_words, gain_words, reaches
from scheduling.kernel.advice.verdicts import PlanDates, Reason, Verdict


def calving_reasons(female: FemaleRecord, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    """What a cow's days since calving say."""
    calved, expected = female.calving(plan.today)
    if calved is None:
        said, do = "Her calving date is not on record.", "Record the day she calved."
        yield Reason("calving_date", Verdict.READY_IF, said, do, plan.start, missing=True)
        return
    if expected and (calved - plan.ai).days > rules.second_group_days and female.pregnancy is Pregnancy.PREGNANT:
        return  # another season's calf: that she is pregnant says all
    if expected:
        told = "at a guess, a year after her last calving" if female.due_guessed else "by her pregnancy check"
        said = f"She has not calved yet; she is expected {day_words(calved)}, {told}."
        do = "Record the day she calves."
        yield Reason("calving_date", Verdict.READY_IF, said, do, plan.start, missing=True)
    seen = None if expected else calved
    if plan.insert is not None:
        yield _days_at_insert(calved, plan.insert, rules, seen)
    yield _days_at_breeding(calved, plan, rules, seen)


def _days_at_insert(calved: date, insert: date, rules: Rules, seen: date | None) -> Reason:
    days = (insert - calved).days
    said = f"She is {days} days after calving when the insert goes in"
    if days < 0:
        said = f"She is expected to calve {-days} days after the insert goes in"
    if days >= rules.insert_days:
        return Reason("days_insert", Verdict.READY, f"{said}.", seen=seen)
    do = (
        f"An insert is possible from {day_words(calved + timedelta(days=rules.insert_days))}: a second group, or bulls."
    )
    if days < rules.insert_label_days:
        said += f"; the label forbids it before {rules.insert_label_days}."
        return Reason("days_insert", Verdict.NOT_THIS_TIME, said, do, seen=seen)
    return Reason("days_insert", Verdict.READY_IF, f"{said}; {rules.insert_days} are usual.", do, insert, seen=seen)


def _days_at_breeding(calved: date, plan: PlanDates, rules: Rules, seen: date | None) -> Reason:
    days = (plan.ai - calved).days
    said = f"She is {days} days after calving at AI" if days >= 0 else f"She is expected to calve {-days} days after AI"
    ready = day_words(calved + timedelta(days=rules.ai_days))
    if days >= rules.ai_days:
        return Reason("days_ai", Verdict.READY, f"{said}.", seen=seen)
    if days >= rules.uterus_days:
        do = f"Take her with a poorer chance, or choose AI from {ready}."
        said += f"; {rules.ai_days} are advised."
        return Reason("days_ai", Verdict.READY_IF, said, do, plan.start, seen=seen)
    said += f"; the uterus needs {rules.uterus_days} days to heal."
    do = f"AI from {ready} in a second group, or leave her to the bulls. Synchronizing may still start her cycling."
    return Reason("uterus", Verdict.NOT_THIS_TIME, said, do, seen=seen)


def condition_reasons(female: FemaleRecord, plan: PlanDates, rules: Rules, units: Units) -> Iterator[Reason]:
    """What condition and its trend say."""
    latest = female.latest_condition
    if latest is None:
        if not female.is_heifer:
            said = "Her condition has not been scored."
            yield Reason("condition", Verdict.READY_IF, said, "Score her.", plan.start, missing=True)
        return
    said = f"Condition {latest.score:g} on {day_words(latest.day)}"
    if reaches(latest.score, rules.condition):
        yield from _trend(female, plan, rules, said)
        return
    said += f"; {rules.condition:g} or better is wanted at AI."
    days = (plan.ai - max(latest.day, plan.today)).days
    if days > 0:
        gain = condition_gain_needed(latest.score, rules.condition, days, rules.condition_kg)
        if reaches(rules.cow_gain_max_kg, gain):
            besides = " beside the calf that she carries" if female.pregnancy is Pregnancy.PREGNANT else ""
            do = f"Feed her to gain {gain_words(gain, units)} until {day_words(plan.ai)}{besides}."
            yield Reason("condition", Verdict.READY_IF, said, do, plan.ai, gain, latest.day)
            return
    wait = ceil((rules.condition - latest.score) * rules.condition_kg / rules.cow_gain_max_kg)
    ready = day_words(max(latest.day, plan.today) + timedelta(days=wait))
    do = f"She cannot gain it in time; with good feed she can be ready from {ready}."
    yield Reason("condition", Verdict.NOT_THIS_TIME, said, do, seen=latest.day)


def _trend(female: FemaleRecord, plan: PlanDates, rules: Rules, said: str) -> Iterator[Reason]:
    """In condition now: will the trend of the last two scores leave her so at AI?"""
    dated = sorted(female.conditions, key=lambda item: item.day)
    last = dated[-1]
    before = [item for item in dated[:-1] if item.day < last.day]
    if not before or before[-1].score <= last.score:
        yield Reason("condition", Verdict.READY, f"{said}.", seen=last.day)
        return
    loss = (before[-1].score - last.score) / (last.day - before[-1].day).days
    expected = last.score - loss * max(0, (plan.ai - last.day).days)
    said += f", down from {before[-1].score:g} on {day_words(before[-1].day)}"
    if reaches(expected, rules.condition):
        yield Reason("condition_trend", Verdict.READY, f"{said}.", "Watch her condition.", plan.start, seen=last.day)
        return
    do = "Feed her so that she stops losing, and score her again."
    said += "; at this pace she is thin at AI."
    yield Reason("condition_trend", Verdict.READY_IF, said, do, plan.start, seen=last.day)
