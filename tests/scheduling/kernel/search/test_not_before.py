"""Planning in the middle of a day: nothing new begins in hours that are over, what was carried out stays."""

import copy
from datetime import date, datetime
from typing import Any

import pytest

from scheduling.kernel.checker import check
from scheduling.kernel.plan import Plan
from scheduling.kernel.reader import ReadError
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document
from tests.factories.tight import PROTOCOLS

AI = date(2027, 5, 31)
NOON = datetime.fromisoformat("2027-05-31T12:00:00-06:00")
# The programme's treatments, ten and three days before AI, at 16:00: AI 60 to 66 hours after the PG is due from 4:00 to 10:00.
GIVEN = [
    {"step": "gnrh1", "at": "2027-05-21T16:00:00-06:00"},
    {"step": "in", "at": "2027-05-21T16:00:00-06:00"},
    {"step": "out", "at": "2027-05-28T16:00:00-06:00"},
    {"step": "pg", "at": "2027-05-28T16:00:00-06:00"},
]


def document(**change: Any) -> dict[str, Any]:
    """One group of 40 with the technician next door."""
    made = season_document("S", 2)
    group = copy.deepcopy(made["groups"][0])
    group.update(ranch="R0", protocol="cow_7d_cosynch_insert", animal_class="cow", head=40, ai_by="technician")
    group.update(steps_by="ranch", skills=[], needs_barn=False, order="kept", **change)
    made["groups"], made["ranches"] = [group], made["ranches"][:1]
    made["ranches"][0].update(lat=45.1, lon=-102.1, zone=None, closed_days=[], handling_hours=["06:00", "20:00"])
    made["technicians"] = made["technicians"][:1]
    made["technicians"][0].update(lat=45.0, lon=-102.0, days_off=[], hours=["05:00", "20:30"], skills=[], ai_rate=25)
    return made


def planned(made: dict[str, Any]) -> Plan:
    """The plan, checked."""
    season = load_season(made, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=5))
    assert [item.text for item in check(season, plan).broken] == []
    return plan


def on_the_day(**change: Any) -> dict[str, Any]:
    """The same, wished for on one day, its treatments given."""
    return document(ai_from=str(AI), ai_to=str(AI), ai_wanted=str(AI), done=GIVEN, **change)


def test_ai_that_is_due_waits_for_the_hour_it_is_now_and_the_way_to_the_ranch() -> None:
    made = on_the_day()
    (usual,) = planned(made).visits
    assert usual.start < NOON.replace(hour=9)
    made["season"]["not_before"] = "2027-05-31T08:00:00-06:00"
    (visit,) = planned(made).visits
    minutes = (visit.start - NOON.replace(hour=8)).total_seconds() / 60
    assert 10 < minutes < 30  # 13.6 km by air and more by road from the technician's base
    assert visit.start > usual.start


def test_an_hour_that_is_over_for_good_is_told_as_the_cause() -> None:
    made = on_the_day()
    made["season"]["not_before"] = "2027-05-31T15:00:00-06:00"
    (out,) = planned(made).unplaced
    assert {cause.kind for cause in out.causes} >= {"past"}
    assert any("othing can begin before Mon 31 May, 15:00" in cause.text for cause in out.causes)


def test_a_programme_that_is_to_begin_begins_later_today_or_on_another_day() -> None:
    made = document(ai_from="2027-05-31", ai_to="2027-06-05", ai_wanted="2027-05-31")
    made["season"]["not_before"] = "2027-05-21T19:30:00-06:00"  # half an hour is left at the chute, 40 head take longer
    (group,) = planned(made).groups
    assert group.ai_day == date(2027, 6, 1)
    made["season"]["not_before"] = "2027-05-21T15:10:00-06:00"
    (group,) = planned(made).groups
    assert group.ai_day == AI
    assert group.lots[0].steps[0].start >= NOON.replace(day=21, hour=15, minute=10)


def test_a_feeding_of_today_is_written_down_for_the_hour_it_is() -> None:
    made = document(ai_from="2027-06-04", ai_to="2027-06-05", ai_wanted="2027-06-04")
    made["groups"][0].update(protocol="heifer_mga_pg_tai", animal_class="heifer")
    made["season"]["first_day"] = "2027-04-20"
    (usual,) = planned(made).groups
    first = usual.lots[0].steps[0]
    assert first.key.startswith("mga")
    made["season"]["not_before"] = first.start.replace(hour=11).isoformat()
    (group,) = planned(made).groups
    assert group.lots[0].steps[0].start == first.start.replace(hour=11)


def test_the_checker_names_what_begins_in_the_past() -> None:
    made = document(ai_from=str(AI), ai_to=str(AI), ai_wanted=str(AI))
    plan = planned(made)
    made["season"]["not_before"] = "2027-05-22T08:00:00-06:00"
    broken = check(load_season(made, PROTOCOLS), plan).broken
    assert {(item.rule, item.code) for item in broken} == {(3, "past")}
    assert "nothing can begin before" in broken[0].text


def test_the_moment_needs_an_offset() -> None:
    made = document(ai_from=str(AI), ai_to=str(AI), ai_wanted=str(AI))
    made["season"]["not_before"] = "2027-05-22T08:00:00"
    with pytest.raises(ReadError, match="a time with offset"):
        load_season(made, PROTOCOLS)
