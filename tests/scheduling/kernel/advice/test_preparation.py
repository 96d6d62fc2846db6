"""The calendar before AI: its dates, sources, and that it counts from AI or from calving alike."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.kernel.advice.figures import Ground
from scheduling.kernel.advice.preparation import Preparing, ai_day_for_calving, preparation
from scheduling.kernel.advice.verdicts import plan_dates
from scheduling.kernel.advice.whys import WHYS
from scheduling.kernel.calving import due_date
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass
from scheduling.kernel.reader import ReadError
from tests.scheduling.kernel.advice.samples import AI, PLAN

PROTOCOLS = load_catalogue().protocols
HEIFERS = Preparing(AnimalClass.HEIFER)


def test_vaccination_days_for_ai_on_21_may() -> None:
    """Boosters by 21 April (30 days: common practice; "Heifer breeding soundness exams", Mississippi State, 2018), first dose by
    24 March when given 28 days before (three to four weeks: "Types of vaccines", Meat & Livestock Australia, undated)."""
    rows = {row.key: row for row in preparation(PLAN, HEIFERS)}
    assert rows["boosters"].last == date(2027, 4, 21)
    assert rows["first_dose"].last == date(2027, 3, 24)
    assert rows["first_dose"].source.ground is Ground.PRINT
    assert rows["semen"].source.ground is Ground.MEMORY
    assert "first_dose" not in {row.key for row in preparation(PLAN, replace(HEIFERS, first_time_vaccine=False))}


def test_exam_four_to_six_weeks_before() -> None:
    """ "Control of Estrus in Heifers, symposium summary", 2012."""
    exam = {row.key: row for row in preparation(PLAN, HEIFERS)}["exam"]
    assert (exam.first, exam.last) == (AI - timedelta(days=42), AI - timedelta(days=28))


def test_bull_exam_counts_from_turn_in() -> None:
    """30 to 60 days before turn-in: "Breeding soundness exams", University of Arkansas, undated."""
    exam = {row.key: row for row in preparation(PLAN, HEIFERS)}["bull_exam"]
    assert (exam.first, exam.last) == (AI - timedelta(days=50), AI - timedelta(days=20))
    assert "bull_exam" not in {row.key for row in preparation(PLAN, replace(HEIFERS, bulls_in_days=None))}


def test_cows_are_scored_and_heifers_weighed() -> None:
    cows = {row.key for row in preparation(PLAN, Preparing(AnimalClass.COW))}
    heifers = {row.key for row in preparation(PLAN, HEIFERS)}
    assert {"score_first", "score_again"} <= cows
    assert {"weigh_first", "exam", "weigh_again"} <= heifers
    assert not cows & {"weigh_first", "exam"}


def test_bulls_alone_need_no_semen() -> None:
    keys = {row.key for row in preparation(PLAN, replace(HEIFERS, inseminates=False))}
    assert keys == {row.key for row in preparation(PLAN, HEIFERS)} - {"semen", "nitrogen"}


def test_every_item_says_who_says_so() -> None:
    for row in preparation(PLAN, HEIFERS):
        assert row.code in WHYS
        assert row.source.words
        assert row.text
    sample = next(row for row in preparation(PLAN, HEIFERS) if row.key == "weigh_again")
    assert sample.source.words == "common practice, no published source"


def test_what_is_past_is_kept_and_said() -> None:
    rows = preparation(replace(PLAN, today=AI - timedelta(days=29)), HEIFERS)
    assert {row.key for row in rows if row.late} >= {"boosters", "first_dose", "weigh_first"}
    assert len(rows) == len(preparation(PLAN, HEIFERS))


def test_ai_day_from_a_wanted_calving_start() -> None:
    """283 days: "Gestation Length (guideline)", Beef Improvement Federation; heifers 14 days ahead: "Postpartum recovery", 2022."""
    assert ai_day_for_calving(date(2028, 2, 28)) == AI
    assert ai_day_for_calving(date(2028, 2, 28), ahead_days=14) == AI - timedelta(days=14)
    with pytest.raises(ReadError, match="gestation_days"):
        ai_day_for_calving(AI, 100)


@given(st.sampled_from(sorted(PROTOCOLS)), st.dates(date(2026, 1, 1), date(2030, 12, 31)), st.integers(0, 200))
def test_any_protocol_has_its_calendar_in_order(protocol: str, calves: date, back: int) -> None:
    ai = ai_day_for_calving(calves)
    assert due_date(ai) == calves
    rows = preparation(plan_dates(PROTOCOLS[protocol], ai, ai - timedelta(days=back)), HEIFERS)
    assert [row.last for row in rows] == sorted(row.last for row in rows)
    assert all(row.first <= row.last for row in rows)
    assert len({row.key for row in rows}) == len(rows)
    assert all(row.late == (row.last < ai - timedelta(days=back)) for row in rows)
