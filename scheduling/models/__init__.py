"""Rows of the plan: seasons and what is published, trials, clashes and fairness, readiness, prices and weather, care."""

from scheduling.models.advice import BARN_SPLITS, CoopPrices, MonthWeather, SplitBy, WeatherFile, WeatherReading
from scheduling.models.care import CheckWay, GroupCare, ItemAct, PlannedMove
from scheduling.models.fairness import ClashAnswer, ClashCase, ClashRemedy, GaveWay, Holiday
from scheduling.models.readiness import ReadinessLimit, ReadinessWord
from scheduling.models.seasons import (
    Booking,
    EntryNote,
    Hands,
    Order,
    PlanJob,
    PlannedStep,
    PlanPart,
    PlanVersion,
    ProtocolAdjustment,
    Season,
    SeasonEntry,
    StepRecord,
)
from scheduling.models.trials import PlanTrial, Replanning

__all__ = [
    "BARN_SPLITS",
    "Booking",
    "CheckWay",
    "ClashAnswer",
    "ClashCase",
    "ClashRemedy",
    "CoopPrices",
    "EntryNote",
    "GaveWay",
    "GroupCare",
    "Hands",
    "Holiday",
    "ItemAct",
    "MonthWeather",
    "Order",
    "PlanJob",
    "PlanPart",
    "PlanTrial",
    "PlanVersion",
    "PlannedMove",
    "PlannedStep",
    "ProtocolAdjustment",
    "ReadinessLimit",
    "ReadinessWord",
    "Replanning",
    "Season",
    "SeasonEntry",
    "SplitBy",
    "StepRecord",
    "WeatherFile",
    "WeatherReading",
]
