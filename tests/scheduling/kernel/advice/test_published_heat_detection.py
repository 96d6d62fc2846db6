"""Printed sums about heat detection and MGA days: those that come out, and those that do not, with why."""

import pytest

from scheduling.kernel.advice.comparison import SEEN_IN_HEAT
from scheduling.kernel.catalogue import load_catalogue


def test_detection_efficiency() -> None:
    """15 and 40 of 50 eligible seen in 24 days: 30 and 80 %; 80 to 85 % is attainable ("Heat detection efficiency", Oklahoma State
    University Extension, 2009)."""
    assert (15 / 50, 40 / 50) == (0.3, 0.8)
    assert 0.80 <= SEEN_IN_HEAT <= 0.85


def test_three_steps_done_right() -> None:
    """0.95 three times is 86 % ("Reproduction by the Numbers", Penn State Extension, 2010)."""
    assert pytest.approx(0.86, abs=0.005) == 0.95**3


def test_heats_between_18_and_6_are_printed_otherwise() -> None:
    """The same sheet says that no check from 18:00 to 6:00 misses 52.9 %. Its own table gives 26.9 % for 18-24 h and 29.0 % for 0-6 h:
    55.9 %. The sum does not reproduce; the four parts of the table do add up."""
    parts = {"6-12": 26.0, "12-18": 18.1, "18-24": 26.9, "0-6": 29.0}
    assert sum(parts.values()) == pytest.approx(100)
    assert parts["18-24"] + parts["0-6"] == pytest.approx(55.9)


def test_missed_heifers_are_printed_otherwise() -> None:
    """ "Detection of estrus by visual observation and radiotelemetry" (J. Anim. Sci. 74:729, 1996): 30 of 41 heifers found, 73 %; "11 of
    41 (37 %) missed" is a misprint: 11 of 41 is 26.8 %, which with 73 % makes the whole."""
    assert round(100 * 30 / 41) == 73
    assert pytest.approx(26.8, abs=0.05) == 100 * 11 / 41


def test_mga_days_by_either_count() -> None:
    """First feeding day 0, the 14th on day 13, PG on day 32; sheets that call the first feeding day 1 print PG on day 33 ("Estrus
    synchronization program for heifers", a feed cooperative's sheet, undated). The gap is 19 days after the last feeding."""
    steps = load_catalogue().protocols["heifer_mga_pg_hd"].by_key
    assert (steps["mga_start"].day, steps["mga_last"].day, steps["pg"].day) == (0, 13, 32)
    assert steps["pg"].day + 1 == 33
    assert steps["pg"].day - steps["mga_last"].day == 19
