"""A co-op's own limits, two doses the first time, and the lines of what to do by when."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.kernel.advice.herd import judge_group
from scheduling.kernel.advice.limits import LIMIT_OF, LIMITS, with_limits
from scheduling.kernel.advice.readiness import judge
from scheduling.kernel.advice.records import Pregnancy, TractScore, Vaccination, VaccineKind, Weighing
from scheduling.kernel.advice.rules import DEFAULT_RULES
from scheduling.kernel.advice.todo import todo_of
from scheduling.kernel.advice.units import LengthUnit, Units, area_words
from scheduling.kernel.advice.verdicts import Reason
from scheduling.kernel.advice.whys import WHYS
from scheduling.kernel.reader import ReadError
from tests.scheduling.kernel.advice.samples import AI, IF, MATURE, PLAN, READY, TODAY, cow, heifer, lb

KILLED = VaccineKind.KILLED


# --- limits ---


def test_every_limit_is_inside_its_own_bounds_and_has_source_and_why() -> None:
    assert with_limits({}) == DEFAULT_RULES
    for limit in LIMITS:
        assert limit.low <= limit.default <= limit.high, limit.field
        assert limit.sources
        assert limit.why in WHYS
    assert "insert_label_days" not in LIMIT_OF  # the label is nobody's to set
    assert LIMIT_OF["insert_days"].low == DEFAULT_RULES.insert_label_days == 20  # 21 CFR 529.1940, US FDA


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"ai_days": 29}, "ai_days"),
        ({"ai_days": 91}, "ai_days"),
        ({"ai_days": 45.5}, "ai_days"),
        ({"target_share": 0.9}, "target_share"),
        ({"insert_label_days": 10}, "insert_label_days"),
        ({"moon": 1}, "moon"),
        ({"target_share": 0.5}, "target_share"),  # below the least share to try
        ({"ai_days": 35}, "uterus_days"),  # the uterus needs 40
        ({"insert_days": 60}, "insert_days"),
        ({"ai_days": float("nan")}, "ai_days"),
    ],
)
def test_limits_that_cannot_be_are_refused_by_name(values: dict[str, float], field: str) -> None:
    with pytest.raises(ReadError) as fault:
        with_limits(values)
    assert fault.value.field == field


def test_limits_change_verdicts_and_nothing_else() -> None:
    rules = with_limits({"ai_days": 45, "tract_needed": 1.0, "target_share": 0.6})
    assert (rules.ai_days, rules.tract_needed, rules.target_share) == (45, True, 0.6)
    assert replace(rules, ai_days=50, tract_needed=False, target_share=0.65) == DEFAULT_RULES
    late = cow(calved=AI - timedelta(days=45))
    plan = replace(PLAN, today=PLAN.start)
    assert judge(late, plan).verdict is IF
    assert judge(late, plan, rules).verdict is READY


# --- two doses the first time ---


def course(*doses: Vaccination, today: date = TODAY) -> Reason | None:
    """What the rule of two doses says of a heifer with these doses."""
    found = judge(heifer(vaccinations=doses), replace(PLAN, today=today), mature_kg=MATURE).reasons
    return next((reason for reason in found if reason.code == "primary_course"), None)


def test_a_first_dose_wants_a_second_in_its_window_and_in_time() -> None:
    """Three to four weeks apart ("Types of vaccines", Meat & Livestock Australia, undated), the last 30 days before AI (common
    practice). AI 21 May: by 21 April."""
    first = Vaccination(date(2027, 3, 15), KILLED, True, "lepto")
    asked = course(first)
    assert asked is not None
    assert asked.by == date(2027, 4, 12)
    assert "the label and the veterinarian decide" in asked.sentence
    assert "from Mon 5 Apr 2027 to Mon 12 Apr 2027" in (asked.do or "")
    late = course(replace(first, day=date(2027, 3, 31)), today=date(2027, 4, 10))
    assert late is not None
    assert late.by == date(2027, 4, 21)  # not 28 April, which is too close to AI
    again = course(replace(first, day=date(2027, 1, 5)))
    assert again is not None
    assert "two doses" in (again.do or "")
    assert again.by == date(2027, 4, 21)
    over = course(first, today=date(2027, 4, 20))
    assert over is not None
    assert "Too close" in (over.do or "")
    assert over.by == PLAN.start


def test_a_second_dose_counts_from_two_weeks_and_of_the_same_vaccine() -> None:
    """Two weeks: the shortest that a label asks for (from memory)."""
    first = Vaccination(date(2027, 3, 1), KILLED, True, "lepto")
    assert course(first, Vaccination(date(2027, 3, 15), KILLED, vaccine="lepto")) is None
    assert course(first, Vaccination(date(2027, 3, 14), KILLED, vaccine="lepto")) is not None
    assert course(first, Vaccination(date(2027, 3, 15), KILLED, vaccine="vibrio")) is not None
    assert course(replace(first, first_time=False)) is None
    assert course(replace(first, kind=VaccineKind.MODIFIED_LIVE, day=date(2027, 2, 1))) is None


def test_first_time_animals_are_told_when_their_first_dose_is_due() -> None:
    """AI 21 May: the second by 21 April, 28 days after a first by 24 March (worked out from three to four weeks, Meat & Livestock Australia)."""
    none = heifer(vaccinations=())
    for today, words in (
        (date(2027, 3, 20), "two doses 28 days apart, the first by Wed 24 Mar 2027"),
        (date(2027, 3, 30), "two doses 21 days apart, the first by Wed 31 Mar 2027"),
        (date(2027, 4, 1), "too late for the two doses"),
    ):
        found = judge(none, replace(PLAN, today=today), mature_kg=MATURE).reasons
        said = next(reason.do or "" for reason in found if reason.code == "boosters")
        assert "Wed 21 Apr 2027" in said
        assert words in said


# --- an open check grows old ---


@given(st.integers(0, 400))
def test_an_older_open_check_never_makes_her_readier(days: int) -> None:
    checked = [
        cow(pregnancy=Pregnancy.OPEN, pregnancy_checked=TODAY - timedelta(days=ago)) for ago in (days, days + 30)
    ]
    verdicts = [judge(one, PLAN).verdict for one in checked]
    assert verdicts[0] <= verdicts[1]
    assert (verdicts[0] is READY) is (days <= DEFAULT_RULES.stale_days)


# --- what to do by when ---


def test_work_is_gathered_by_rule_and_day_and_the_earliest_comes_first() -> None:
    herd = [heifer(tag=f"L{i}", weights=(Weighing(date(2027, 3, 20), lb(653 + i)),)) for i in range(3)]
    herd += [heifer(tag="T", tract=TractScore(TODAY, 2)), heifer(tag="N", vaccinations=())]
    herd += [heifer(tag="U", pregnancy=Pregnancy.UNKNOWN)]
    group = judge_group(herd, PLAN, mature_kg=MATURE)
    by_code = {item.code: item for item in group.todo}
    assert by_code["target_weight"].tags == ("L0", "L1", "L2")
    assert by_code["target_weight"].sentence.startswith("Feed 3 head to gain 0.97 lb to 1.0 lb a day until Fri 21 May")
    assert by_code["boosters"].sentence == (
        "Give 1 head the boosters that the veterinarian names by Wed 21 Apr 2027; "
        "first-time animals usually need two doses 28 days apart, the first by Wed 24 Mar 2027; the label decides."
    )
    assert "pregnancy before Tue 18 May 2027" in by_code["unknown_pregnancy"].sentence
    assert by_code["tract"].by is None
    days = [item.by or date.max for item in group.todo]
    assert days == sorted(days)


def test_what_is_only_worth_doing_goes_when_its_day_is_over() -> None:
    unscored = heifer(tract=None)
    for today, wanted in ((date(2027, 4, 23), True), (date(2027, 4, 24), False)):
        plan = replace(PLAN, today=today)
        rows = todo_of([judge(unscored, plan, mature_kg=MATURE)], plan)
        assert any(row.code == "tract" and row.verdict is READY for row in rows) is wanted


def test_areas_are_told_in_square_centimetres_and_inches_beside_them() -> None:
    """150 cm2 over 2.54 squared is 23.25 square inches (the inch is 2.54 cm by definition)."""
    assert area_words(150, Units()) == "150 square centimetres"
    assert area_words(150, Units(length=LengthUnit.INCH)) == "150 square centimetres (23.3 square inches)"
