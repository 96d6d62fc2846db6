"""Pounds and kilograms, inches and centimetres, Fahrenheit and Celsius: values are kept metric, shown as a person wants.

1 lb is 0.45359237 kg and 1 in is 2.54 cm by definition (international yard and pound agreement, 1959).
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

KG_PER_LB = 0.45359237
CM_PER_INCH = 2.54
# Two ways of writing one weight differ in the last bits only; a limit is met when it is missed by less than this share.
_ALIKE = 1e-9


class WeightUnit(StrEnum):
    """Units of weight."""

    LB = "lb"
    KG = "kg"


class LengthUnit(StrEnum):
    """Units of length."""

    INCH = "in"
    CM = "cm"


class TemperatureUnit(StrEnum):
    """Units of temperature."""

    F = "F"
    C = "C"


@dataclass(frozen=True, slots=True)
class Units:
    """The units that a person reads and types."""

    weight: WeightUnit = WeightUnit.LB
    length: LengthUnit = LengthUnit.CM
    temperature: TemperatureUnit = TemperatureUnit.F


US_UNITS = Units()
METRIC_UNITS = Units(WeightUnit.KG, LengthUnit.CM, TemperatureUnit.C)


def to_kg(value: float, unit: WeightUnit) -> float:
    """A weight as typed, in kg."""
    return value * KG_PER_LB if unit is WeightUnit.LB else value


def from_kg(kg: float, unit: WeightUnit) -> float:
    """A weight in the unit that a person reads."""
    return kg / KG_PER_LB if unit is WeightUnit.LB else kg


def to_cm(value: float, unit: LengthUnit) -> float:
    """A length as typed, in cm."""
    return value * CM_PER_INCH if unit is LengthUnit.INCH else value


def from_cm(cm: float, unit: LengthUnit) -> float:
    """A length in the unit that a person reads."""
    return cm / CM_PER_INCH if unit is LengthUnit.INCH else cm


def to_celsius(value: float, unit: TemperatureUnit) -> float:
    """A temperature as typed, in Celsius."""
    return (value - 32) / 1.8 if unit is TemperatureUnit.F else value


def from_celsius(celsius: float, unit: TemperatureUnit) -> float:
    """A temperature in the unit that a person reads."""
    return celsius * 1.8 + 32 if unit is TemperatureUnit.F else celsius


def reaches(value: float, limit: float) -> bool:
    """Whether a value meets a limit, unhurt by the last bits of a change of units."""
    return value >= limit - abs(limit) * _ALIKE


def weight_words(kg: float, units: Units) -> str:
    """A weight to the full pound or kilogram, such as "715 lb"."""
    return f"{from_kg(kg, units.weight):,.0f} {units.weight}"


def gain_words(kg_a_day: float, units: Units) -> str:
    """A gain such as "1.4 lb a day", rounded to two places below one."""
    value = round(from_kg(kg_a_day, units.weight), 2)
    return f"{value:.2f} {units.weight} a day" if abs(value) < 1 else f"{value:.1f} {units.weight} a day"


def area_words(cm2: float, units: Units) -> str:
    """A pelvic area. Limits are printed in square centimetres, so these stand first for whoever reads inches too."""
    said = f"{cm2:.0f} square centimetres"
    return f"{said} ({cm2 / CM_PER_INCH**2:.1f} square inches)" if units.length is LengthUnit.INCH else said


def day_words(day: date) -> str:
    """A day such as "Mon 3 May 2027"."""
    return f"{day:%a} {day.day} {day:%b} {day.year}"
