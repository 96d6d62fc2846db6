"""Is she ready for the planned dates? One female's records against the rules, with reasons and what to do by when.

Pure and quick: no clock (the plan says what today is), no database. Verdicts never depend on the units of the words.
"""

from collections.abc import Iterator
from datetime import date

from scheduling.kernel.advice.cows import calving_reasons, condition_reasons
from scheduling.kernel.advice.heifers import heifer_reasons
from scheduling.kernel.advice.records import FemaleRecord, Pregnancy
from scheduling.kernel.advice.rules import DEFAULT_RULES, Rules
from scheduling.kernel.advice.units import US_UNITS, Units, day_words
from scheduling.kernel.advice.vaccines import vaccination_reasons
from scheduling.kernel.advice.verdicts import Judged, PlanDates, Reason, Verdict


def judge(
    female: FemaleRecord,
    plan: PlanDates,
    rules: Rules = DEFAULT_RULES,
    *,
    mature_kg: float | None = None,
    units: Units = US_UNITS,
) -> Judged:
    """One female for one plan. `mature_kg` is her herd's mature cow weight (heifers); `units` only change the words."""
    reasons = [*_common(female, plan, rules)]
    if female.is_heifer:
        reasons += heifer_reasons(female, plan, rules, mature_kg, units)
    else:
        reasons += calving_reasons(female, plan, rules)
    reasons += condition_reasons(female, plan, rules, units)
    reasons.sort(key=lambda reason: -reason.verdict)
    worst = reasons[0].verdict if reasons else Verdict.READY
    weight = female.latest_weight
    share = weight.kg / mature_kg if weight and mature_kg and female.is_heifer else None
    return Judged(female.tag, worst, tuple(reasons), _days_at_ai(female, plan), share)


def _days_at_ai(female: FemaleRecord, plan: PlanDates) -> int | None:
    calved, _ = female.calving(plan.today)
    return (plan.ai - calved).days if calved and not female.is_heifer else None


def _common(female: FemaleRecord, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    yield from _pregnancy(female, plan, rules)
    yield from _holds(female, plan)
    yield from vaccination_reasons(female, plan, rules)
    if plan.feeds_mga and not female.is_heifer:
        yield Reason("mga_label", Verdict.NOT_THIS_TIME, "MGA must not be fed to cows.", "Choose a cow programme.")


def _pregnancy(female: FemaleRecord, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    checked = female.pregnancy_checked
    if female.pregnancy is Pregnancy.PREGNANT:
        if not female.is_heifer and female.due is not None and max(female.due, plan.today) < plan.start:
            return  # she will have calved; her days since calving decide
        do = "Keep her out of the group." if female.is_heifer else "Keep her out; if she has calved, record the day."
        yield Reason("pregnant", Verdict.NOT_THIS_TIME, "She is pregnant.", do, seen=checked)
        return
    long_ago = checked is not None and (plan.today - checked).days > rules.stale_days
    if female.kept_from_bulls:
        said = "She was kept from bulls since she last calved or was weaned."
        yield Reason("unknown_pregnancy", Verdict.READY, said)
    elif female.pregnancy is Pregnancy.OPEN and not long_ago:
        said = f"Found open on {day_words(checked)}." if checked else "She is open."
        yield Reason("unknown_pregnancy", Verdict.READY, said, seen=checked)
    else:
        yield _unsure(checked if female.pregnancy is Pregnancy.OPEN else None, plan)


def _unsure(open_on: date | None, plan: PlanDates) -> Reason:
    """Nobody can be sure that she is open: never checked, or checked open so long ago that she may have been with a bull."""
    by = plan.pg or plan.start
    so = "Nobody knows whether she is open"
    if open_on:
        so = f"She was open on {day_words(open_on)}, {(plan.today - open_on).days} days ago; nobody knows about today"
    what = "PG would make her abort if she is pregnant" if plan.pg else "a pregnant female must not be bred"
    do = f"Have her checked before {day_words(by)}, or record that her group was kept from bulls."
    return Reason("unknown_pregnancy", Verdict.READY_IF, f"{so}, and {what}.", do, by, seen=open_on, missing=True)


def _holds(female: FemaleRecord, plan: PlanDates) -> Iterator[Reason]:
    found = [
        hold for hold in female.holds if hold.since <= plan.ai and (hold.until is None or hold.until >= plan.start)
    ]
    for hold in found:
        ends = f"until {day_words(hold.until)}" if hold.until else "without an end date"
        do = "Ask whoever set the hold; choose a later start if it ends." if hold.until else "Ask whoever set the hold."
        said = f"She is under a health hold {ends}: {hold.why}."
        yield Reason("hold", Verdict.NOT_THIS_TIME, said, do, plan.start, seen=hold.since)
    if not found:
        yield Reason("hold", Verdict.READY, "No health hold is on record for these days.")
