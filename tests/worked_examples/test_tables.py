"""Printed tables: temperature-humidity index, people's heat index, due dates, sunrise."""

from datetime import date, datetime, timedelta, timezone

import pytest

from scheduling.kernel.calving import GESTATION_DAYS_ALTERNATIVE, calving_period, due_date
from scheduling.kernel.heat import (
    cattle_band,
    people_heat_index_f,
    thi_australian,
    thi_from_celsius,
    thi_from_fahrenheit,
)
from scheduling.kernel.sun import sun_times

# "Heat Stress and Beef Production", Chart 1, Clemson University, copy of 2009. Humidity 40 to 90 % across.
CHART = {
    76: (70, 71, 72, 73, 74, 75),
    78: (71, 73, 74, 75, 76, 77),
    80: (73, 74, 75, 76, 78, 79),
    82: (74, 75, 77, 78, 79, 81),
    84: (75, 77, 78, 80, 81, 83),
    86: (77, 78, 80, 81, 83, 84),
    88: (78, 80, 81, 83, 85, 86),
    90: (79, 81, 83, 85, 86, 88),
    92: (80, 82, 84, 86, 87, 90),
    94: (82, 84, 86, 88, 90, 92),
    96: (83, 86, 88, 90, 92),
    98: (85, 87, 89, 91),
    100: (86, 88, 91),
    102: (87, 90, 92),
    104: (88, 91),
}
# Cells that the formula does not give when rounded: misprints or another rounding in the chart.
ODD = {(92, 40), (92, 50), (92, 60), (92, 80), (104, 40)}


def cells() -> list[tuple[int, int, int]]:
    """Temperature, humidity and the printed index of every cell."""
    return [(t, 40 + 10 * i, value) for t, row in CHART.items() for i, value in enumerate(row)]


def test_the_chart_has_77_cells_and_the_formula_gives_72_of_them() -> None:
    assert len(cells()) == 77
    exact = {(t, r) for t, r, value in cells() if int(thi_from_fahrenheit(t, r) + 0.5) == value}
    assert {(t, r) for t, r, _ in cells()} - exact == ODD
    assert all(abs(thi_from_fahrenheit(t, r) - value) <= 1.3 for t, r, value in cells())


def test_both_formulae_agree_within_0_7() -> None:
    assert all(abs(thi_from_fahrenheit(t, r) - thi_australian((t - 32) / 1.8, r)) <= 0.75 for t, r, _ in cells())


def test_published_single_values() -> None:
    """31 C at 40 % and 27 C at 80 % are 78 (guide text of the Australian dairy body, undated); 86 F at 60 % is 80 ("Clues to an
    impending heat stress crisis", University of Nebraska, 2024)."""
    assert round(thi_from_celsius(31, 40)) == 78
    assert round(thi_from_celsius(27, 80)) == 78
    assert round(thi_from_fahrenheit(86, 60)) == 80


@pytest.mark.parametrize(
    ("thi", "name"), [(74, "normal"), (75, "alert"), (78, "alert"), (79, "danger"), (83.4, "danger"), (84, "emergency")]
)
def test_bands(thi: float, name: str) -> None:
    """Alert 75-78, danger 79-83, emergency from 84: the same chart."""
    assert cattle_band(thi).name == name


@pytest.mark.parametrize(
    ("t", "r", "value"),
    [(86, 60, 91.1), (90, 50, 94.6), (90, 70, 105.9), (95, 50, 105.2), (96, 65, 121.0), (100, 40, 109.3)],
)
def test_people_heat_index(t: float, r: float, value: float) -> None:
    """The regression of the US National Weather Service, "Heat Index definition and equation", undated."""
    assert people_heat_index_f(t, r) == pytest.approx(value, abs=0.1)


def test_mild_weather_has_no_jump_in_the_heat_index() -> None:
    assert people_heat_index_f(70, 50) == pytest.approx(70, abs=1.5)


# AI date and due date at 283 and at 285 days: calendar arithmetic with leap years, AI day being day 0.
DUE = [
    (date(2026, 1, 1), date(2026, 10, 11), date(2026, 10, 13)),
    (date(2026, 3, 1), date(2026, 12, 9), date(2026, 12, 11)),
    (date(2026, 5, 21), date(2027, 2, 28), date(2027, 3, 2)),
    (date(2026, 6, 1), date(2027, 3, 11), date(2027, 3, 13)),
    (date(2027, 6, 1), date(2028, 3, 10), date(2028, 3, 12)),
    (date(2024, 1, 1), date(2024, 10, 10), date(2024, 10, 12)),
]


@pytest.mark.parametrize(("ai", "at283", "at285"), DUE)
def test_due_dates(ai: date, at283: date, at285: date) -> None:
    """283 days: "Gestation Length" guideline, Beef Improvement Federation; 285: University of Nebraska, 2013."""
    assert due_date(ai) == at283
    assert due_date(ai, GESTATION_DAYS_ALTERNATIVE) == at285


def test_calving_periods_of_21_days() -> None:
    first = date(2027, 2, 28)
    assert calving_period(first - timedelta(days=9), first) == 1
    assert calving_period(first + timedelta(days=20), first) == 1
    assert calving_period(first + timedelta(days=21), first) == 2


def test_sunrise_against_the_equinox_and_the_polar_day() -> None:
    """At an equinox the sun is up about 12 h everywhere; beyond the polar circle it does not set in June (astronomy)."""
    times = sun_times(date(2027, 3, 20), 45.0, 0.0)
    assert times is not None
    assert abs((times[1] - times[0]) - timedelta(hours=12, minutes=8)) < timedelta(minutes=6)
    assert sun_times(date(2027, 6, 21), 75.0, 20.0) is None
    # Greenwich, 21 June: sunrise 03:43, sunset 20:21 UTC (printed in almanacs; from memory, to two minutes).
    june = sun_times(date(2027, 6, 21), 51.48, 0.0)
    assert june is not None
    assert abs(june[0] - datetime(2027, 6, 21, 3, 43, tzinfo=timezone.utc)) < timedelta(minutes=3)
    assert abs(june[1] - datetime(2027, 6, 21, 20, 21, tzinfo=timezone.utc)) < timedelta(minutes=3)
