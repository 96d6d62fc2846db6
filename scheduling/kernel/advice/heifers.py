"""The rules for heifers: target weight, age, tract score, pelvis."""

from collections.abc import Iterator
from datetime import date, timedelta
from math import ceil

from scheduling.kernel.advice.gain import deliverable_calf_kg, gain_needed
from scheduling.kernel.advice.records import FemaleRecord
from scheduling.kernel.advice.rules import Rules
from scheduling.kernel.advice.units import Units, area_words, day_words, gain_words, reaches, weight_words
from scheduling.kernel.advice.verdicts import PlanDates, Reason, Verdict


def heifer_reasons(
    female: FemaleRecord, plan: PlanDates, rules: Rules, mature_kg: float | None, units: Units
) -> Iterator[Reason]:
    """What a heifer's weight, age, tract and pelvis say."""
    yield from _target(female, plan, rules, mature_kg, units)
    yield from _age(female, plan, rules)
    yield from _tract(female, plan, rules)
    yield from _pelvis(female, plan, rules, units)


def _target(
    female: FemaleRecord, plan: PlanDates, rules: Rules, mature_kg: float | None, units: Units
) -> Iterator[Reason]:
    weight = female.latest_weight
    if mature_kg is None:
        do = "Enter the weight of your mature cows for the herd."
        said = "The herd's mature cow weight is not on record."
        yield Reason("mature_weight", Verdict.READY_IF, said, do, plan.start, missing=True)
        return
    if weight is None:
        said = "She has not been weighed."
        yield Reason("weigh", Verdict.READY_IF, said, "Weigh her.", plan.start, missing=True)
        return
    target = mature_kg * rules.target_share
    share = f"{weight.kg / mature_kg * 100:.0f} %"
    now = f"{weight_words(weight.kg, units)} on {day_words(weight.day)} is {share} of mature weight"
    if reaches(weight.kg, target):
        said = f"{now}; the target is {rules.target_share * 100:.0f} %."
        yield Reason("target_weight", Verdict.READY, said, seen=weight.day)
    else:
        yield _short_of_target(weight.day, weight.kg, mature_kg, now, plan, rules, units)
    if (plan.ai - weight.day).days > rules.stale_days and (plan.today - weight.day).days > rules.stale_days:
        said = f"Her last weight is of {day_words(weight.day)}."
        yield Reason("weigh", Verdict.READY, said, "Weigh her again.", plan.start, seen=weight.day, missing=True)


def _short_of_target(
    day: date, kg: float, mature_kg: float, now: str, plan: PlanDates, rules: Rules, units: Units
) -> Reason:
    """Below the target: can she gain it in time, and is she at least heavy enough to try?"""
    target = mature_kg * rules.target_share
    by = plan.ai - timedelta(days=rules.ready_before_ai_days)
    days = (by - day).days
    short = f"{now}, {weight_words(target - kg, units)} short of {weight_words(target, units)}"
    if days > 0:
        gain = gain_needed(kg, target, days)
        if reaches(rules.heifer_gain_max_kg, gain):
            since = (
                ", counted from that weighing; weigh her again to see whether she keeps up" if plan.today > day else ""
            )
            do = f"Feed her to gain {gain_words(gain, units)} until {day_words(by)}{since}."
            return Reason("target_weight", Verdict.READY_IF, f"{short}.", do, by, gain, day)
        most = gain_words(rules.heifer_gain_max_kg, units)
        short += f"; it would take {gain_words(gain, units)}, and {most} is the most to count on"
    if reaches(kg, mature_kg * rules.least_share):
        do = "Take her with a lower chance of pregnancy, or choose a later AI day."
        return Reason("target_weight", Verdict.READY_IF, f"{short}.", do, plan.start, seen=day)
    wait = ceil((target - kg) / rules.heifer_gain_max_kg) + rules.ready_before_ai_days
    do = f"She can be ready for AI from {day_words(day + timedelta(days=wait))} at the earliest."
    return Reason("target_weight", Verdict.NOT_THIS_TIME, f"{short}.", do, seen=day)


def _age(female: FemaleRecord, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    if female.born is None:
        said, do = "Her birth date is not on record.", "Write it in the herd book."
        yield Reason("age", Verdict.READY, said, do, missing=True)
        return
    age = (plan.ai - female.born).days
    said = f"She is {age / 30.44:.0f} months old at AI."
    if age >= rules.heifer_age_days:
        yield Reason("age", Verdict.READY, said, seen=female.born)
    else:
        do = f"Ask the veterinarian, or choose an AI day from {day_words(female.born + timedelta(days=rules.heifer_age_days))}."
        yield Reason("age", Verdict.READY_IF, said, do, plan.start, seen=female.born)


def _tract(female: FemaleRecord, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    low, high = rules.tract_window_days
    best_day = plan.ai - timedelta(days=low)
    if female.tract is None:
        verdict = Verdict.READY_IF if rules.tract_needed else Verdict.READY
        said, do = "Her tract has not been scored.", "Have her scored by the veterinarian."
        yield Reason("tract", verdict, said, do, best_day, missing=True)
        return
    exam, score = female.tract.day, female.tract.score
    old = female.born is not None and (exam - female.born).days >= rules.tract_old_days
    said = f"Tract score {score} on {day_words(exam)}"
    if score <= 1 and plan.insert is not None:
        said += ": an insert is not for an immature tract."
        yield Reason("insert_label", Verdict.NOT_THIS_TIME, said, "Leave her out.", seen=exam)
    elif score < rules.tract_least:
        said += ": least likely to breed."
        yield Reason("tract", Verdict.NOT_THIS_TIME, said, "Score her again or cull her.", seen=exam)
    elif score < rules.tract_least_old and old:
        said += f"; a heifer past 14 months should score {rules.tract_least_old} or better."
        do = "Have her scored again before the programme starts."
        yield Reason("tract", Verdict.READY_IF, said, do, plan.start, seen=exam)
    else:
        yield Reason("tract", Verdict.READY, f"{said}.", seen=exam)
    if (plan.ai - exam).days > high:
        said = f"Her tract was scored {(plan.ai - exam).days} days before AI; {low} to {high} are advised."
        yield Reason("tract_when", Verdict.READY, said, "Have her scored again.", best_day, seen=exam)


def _pelvis(female: FemaleRecord, plan: PlanDates, rules: Rules, units: Units) -> Iterator[Reason]:
    if female.pelvis is None:
        verdict = Verdict.READY_IF if rules.pelvis_needed else Verdict.READY
        said = "Her pelvis has not been measured."
        yield Reason("pelvis", verdict, said, "Have her measured.", plan.start, missing=True)
        return
    area, day = female.pelvis.area_cm2, female.pelvis.day
    calf = weight_words(deliverable_calf_kg(area, rules.pelvis_ratio), units)
    said = f"Pelvic area {area_words(area, units)} on {day_words(day)}, room for a calf of about {calf}"
    if reaches(area, rules.pelvis_cm2):
        yield Reason("pelvis", Verdict.READY, f"{said}.", seen=day)
        return
    said += f"; the least is {rules.pelvis_cm2:.0f}."
    grown = area + rules.pelvis_growth_cm2 * max(0, (plan.ai - day).days)
    if reaches(grown, rules.pelvis_cm2):
        do = "She may have grown enough by AI: measure her again."
        yield Reason("pelvis", Verdict.READY_IF, said, do, plan.start, seen=day)
        return
    later = f"measure again at the pregnancy exam, when {rules.pelvis_at_check_cm2:.0f} is the least."
    do = f"Leave her out; if she is bred all the same, {later}"
    yield Reason("pelvis", Verdict.NOT_THIS_TIME, said, do, seen=day)
