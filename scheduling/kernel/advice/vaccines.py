"""The rules for vaccines: how long before AI, and two doses the first time. The veterinarian decides the programme."""

from collections.abc import Iterator
from datetime import timedelta

from scheduling.kernel.advice.records import FemaleRecord, Vaccination, VaccineKind
from scheduling.kernel.advice.rules import Rules
from scheduling.kernel.advice.units import day_words
from scheduling.kernel.advice.verdicts import PlanDates, Reason, Verdict


def vaccination_reasons(female: FemaleRecord, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    """What her doses on record say: too close to AI, second dose wanting, boosters wanting."""
    for dose in female.vaccinations:
        if dose.kind is VaccineKind.MODIFIED_LIVE and dose.day <= plan.ai:
            yield from _live(dose, plan, rules)
        elif dose.first_time and dose.day <= plan.ai:
            yield from _second_dose(female, dose, plan, rules)
    yield from _boosters(female, plan, rules)


def _live(dose: Vaccination, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    lead = (plan.ai - dose.day).days
    wanted = rules.first_live_days if dose.first_time else rules.booster_days
    if lead >= wanted:
        return
    earliest = day_words(dose.day + timedelta(days=wanted))
    first = " for a first dose" if dose.first_time else ""
    said = f"She had a modified-live vaccine {lead} days before AI; {wanted} days are wanted{first}."
    verdict = Verdict.NOT_THIS_TIME if lead < rules.booster_days else Verdict.READY_IF
    do = f"Choose an AI day from {earliest}, or ask the veterinarian."
    yield Reason("live_vaccine", verdict, said, do, plan.start, seen=dose.day)


def _second_dose(female: FemaleRecord, first: Vaccination, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    """A killed vaccine given for the first time wants a second dose, the last one in good time before AI."""
    least, most = rules.second_dose_days
    wait, soonest = timedelta(days=least), first.day + timedelta(days=rules.second_dose_least_days)
    if any(dose.vaccine == first.vaccine and dose.day >= soonest for dose in female.vaccinations):
        return
    last_day = plan.ai - timedelta(days=rules.booster_days)
    opens, closes = max(first.day + wait, plan.today), min(first.day + timedelta(days=most), last_day)
    said = f"Her dose of {day_words(first.day)} is the first on record and no second one in time; "
    said += f"the first time two are usual, {least} to {most} days apart, but the label and the veterinarian decide."
    or_else = "or record her earlier dose"
    if opens <= closes:
        do, by = f"Give the second from {day_words(opens)} to {day_words(closes)}, {or_else}.", closes
    elif plan.today <= last_day - wait:
        by = last_day
        do = f"Ask the veterinarian about two doses, {least} to {most} days apart, the last by {day_words(by)}; {or_else}."
    else:
        do, by = f"Too close to AI for a second dose: ask the veterinarian, {or_else}.", plan.start
    yield Reason("primary_course", Verdict.READY_IF, said, do, by, seen=first.day, missing=True)


def _boosters(female: FemaleRecord, plan: PlanDates, rules: Rules) -> Iterator[Reason]:
    last_day = plan.ai - timedelta(days=rules.booster_days)
    latest = max((dose.day for dose in female.vaccinations if dose.day <= plan.ai), default=None)
    if latest is not None and (plan.ai - latest).days <= rules.booster_valid_days:
        said = f"Her last vaccination, {day_words(latest)}, is {(plan.ai - latest).days} days before AI."
        if latest <= last_day:
            yield Reason("boosters", Verdict.READY, said, seen=latest)
            return
        later = day_words(latest + timedelta(days=rules.booster_days))
        do = f"Ask the veterinarian whether to keep this AI day or to wait until {later}."
        yield Reason("boosters", Verdict.READY_IF, said, do, plan.start, seen=latest)
        return
    if not rules.vaccination_needed:
        return
    said = "No vaccination before breeding is on record." if latest is None else f"Last vaccinated {day_words(latest)}."
    if plan.today <= last_day:
        do = f"Give the boosters that the veterinarian names by {day_words(last_day)}; {first_time_words(plan, rules)}."
        yield Reason("boosters", Verdict.READY_IF, said, do, last_day, seen=latest, missing=True)
    else:
        do = "Too close to AI for boosters: ask the veterinarian, or move the AI day."
        yield Reason("boosters", Verdict.READY_IF, said, do, plan.start, seen=latest, missing=True)


def first_time_words(plan: PlanDates, rules: Rules) -> str:
    """When an animal that never had a vaccine must have its first dose for the second to come in time before AI."""
    least, most = rules.second_dose_days
    last_day = plan.ai - timedelta(days=rules.booster_days)
    for apart in (most, least):
        first = last_day - timedelta(days=apart)
        if plan.today <= first:
            said = f"first-time animals usually need two doses {apart} days apart, the first by {day_words(first)}"
            return f"{said}; the label decides"
    return "it is too late for the two doses that first-time animals need, so ask the veterinarian about those"
