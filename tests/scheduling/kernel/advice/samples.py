"""Females that are ready in every way, to be spoilt one record at a time."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from scheduling.kernel.advice.records import (
    ConditionScore,
    FemaleRecord,
    Pelvis,
    Pregnancy,
    TractScore,
    Vaccination,
    VaccineKind,
    Weighing,
)
from scheduling.kernel.advice.units import WeightUnit, to_kg
from scheduling.kernel.advice.verdicts import PlanDates, Verdict
from scheduling.kernel.protocol import AnimalClass

TODAY = date(2027, 3, 20)
AI = date(2027, 5, 21)
PLAN = PlanDates(TODAY, AI - timedelta(days=10), AI, AI - timedelta(days=10), AI - timedelta(days=3))
MATURE = to_kg(1_100, WeightUnit.LB)


def lb(value: float) -> float:
    """Pounds in kg."""
    return to_kg(value, WeightUnit.LB)


def heifer(**changes: Any) -> FemaleRecord:
    """A heifer of 715 lb (65 % of 1,100 lb), tract score 4, pelvis 13 by 12 cm, open, vaccinated."""
    sound = FemaleRecord(
        "H1",
        AnimalClass.HEIFER,
        born=date(2026, 3, 1),
        weights=(Weighing(date(2027, 3, 15), lb(715)),),
        tract=TractScore(date(2027, 3, 19), 4),
        pelvis=Pelvis(date(2027, 3, 19), 13, 12),
        vaccinations=(Vaccination(date(2027, 3, 15), VaccineKind.KILLED),),
        pregnancy=Pregnancy.OPEN,
    )
    return replace(sound, **changes)


def cow(**changes: Any) -> FemaleRecord:
    """A cow in condition 5, 80 days after calving at AI, open, vaccinated."""
    sound = FemaleRecord(
        "C1",
        AnimalClass.COW,
        born=date(2021, 3, 1),
        calved=AI - timedelta(days=80),
        conditions=(ConditionScore(date(2027, 3, 15), 5),),
        vaccinations=(Vaccination(date(2027, 3, 15), VaccineKind.KILLED),),
        pregnancy=Pregnancy.OPEN,
    )
    return replace(sound, **changes)


READY, IF, NOT = Verdict.READY, Verdict.READY_IF, Verdict.NOT_THIS_TIME
