"""Heat stress: the temperature-humidity index for cattle and the heat index for people.

Temperatures say their unit in the name, humidity is per cent.
"""

from dataclasses import dataclass

_C_PER_F = 5 / 9


def thi_from_celsius(temperature_c: float, humidity: float) -> float:
    """THI by the formula of "A Guide to Environmental Research on Animals", National Research Council, 1971."""
    fahrenheit = 1.8 * temperature_c + 32
    return fahrenheit - (0.55 - 0.0055 * humidity) * (fahrenheit - 58)


def thi_from_fahrenheit(temperature_f: float, humidity: float) -> float:
    """The same formula with the temperature in Fahrenheit."""
    return thi_from_celsius((temperature_f - 32) * _C_PER_F, humidity)


def thi_australian(temperature_c: float, humidity: float) -> float:
    """THI by the formula of "Veterinary Handbook, 14.2 Temperature Humidity Index", Australian live export, undated."""
    return 0.8 * temperature_c + humidity / 100 * (temperature_c - 14.4) + 46.4


def people_heat_index_f(temperature_f: float, humidity: float) -> float:
    """Heat index in Fahrenheit by "Heat Index definition and equation", US National Weather Service, undated.

    The regression holds above 80 F and 40 %; below that the simple form from the same service is used (from memory).
    """
    t, r = temperature_f, humidity
    simple = 0.5 * (t + 61 + (t - 68) * 1.2 + r * 0.094)
    if (simple + t) / 2 < 80:
        return (simple + t) / 2
    return (
        -42.379
        + 2.04901523 * t
        + 10.14333127 * r
        - 0.22475541 * t * r
        - 6.83783e-3 * t * t
        - 5.481717e-2 * r * r
        + 1.22874e-3 * t * t * r
        + 8.5282e-4 * t * r * r
        - 1.99e-6 * t * t * r * r
    )


@dataclass(frozen=True, slots=True)
class Band:
    """A band of an index: from `low` upwards, what to do, and who says so."""

    low: float
    name: str
    advice: str


# "Heat Stress and Beef Production", Clemson University, copy of 2009 (Livestock Safety Index).
CATTLE_BANDS = (
    Band(0, "normal", "Work cattle as planned."),
    Band(75, "alert", "Water and shade; work early."),
    Band(79, "danger", "Work only what cannot wait, early and in small lots."),
    Band(84, "emergency", "Do not work or haul cattle."),
)


def cattle_band(thi: float) -> Band:
    """The band that a THI falls in (the index is rounded to whole numbers first, as the chart prints it)."""
    return [band for band in CATTLE_BANDS if band.low <= int(thi + 0.5)][-1]
