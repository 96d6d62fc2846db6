"""Ranches whose day is not the season's, and what was already done: always a plan that the checker passes."""

import copy
from datetime import timedelta
from typing import Any

import pytest

from scheduling.kernel.checker import check
from scheduling.kernel.plan import Plan
from scheduling.kernel.reader import ReadError
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document
from tests.factories.tight import PROTOCOLS

DAY = "2027-05-31"


def lone(protocol: str = "cow_7d_cosynch_insert", **change: Any) -> dict[str, Any]:
    """A season with one group at one ranch, open round the clock, and a technician next door."""
    document = season_document("S", 2)
    group = copy.deepcopy(document["groups"][0])
    kind = "heifer" if protocol.startswith("heifer") else "cow"
    group.update(ranch="R0", protocol=protocol, animal_class=kind, head=40, ai_by="technician", steps_by="ranch")
    group.update(skills=[], needs_barn=False, order="kept", ai_from=DAY, ai_to=DAY, ai_wanted=DAY, **change)
    document["groups"] = [group]
    document["ranches"] = document["ranches"][:1]
    document["ranches"][0].update(lat=45.1, lon=-102.1, zone=None, closed_days=[], handling_hours=["00:00", "23:59"])
    document["technicians"] = document["technicians"][:1]
    document["technicians"][0].update(lat=45.0, lon=-102.0, days_off=[], hours=["05:00", "20:30"], skills=[])
    return document


def planned(document: dict[str, Any], keep: Plan | None = None) -> Plan:
    season = load_season(document, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=5), keep=keep)
    assert [item.text for item in check(season, plan).broken] == []
    return plan


@pytest.mark.parametrize(
    ("hours", "day"),
    [(["14:00", "23:30"], "2027-05-30"), (["00:00", "05:00"], "2027-05-31")],
)
def test_a_ranch_ahead_of_the_season_is_visited_on_either_of_the_days_that_its_own_spans(
    hours: list[str], day: str
) -> None:
    """31 May in Sydney is 30 May, 08:00, to 31 May, 08:00, in Denver: a technician of either day's hours can come."""
    document = lone()
    document["ranches"][0].update(zone="Australia/Sydney")
    document["technicians"][0].update(hours=hours)
    plan = planned(document)
    assert plan.status == "complete"
    assert [(item.day.isoformat(), item.technician) for item in plan.days] == [(day, "T0")]
    assert plan.visits[0].start.date().isoformat() == DAY  # written in the ranch's zone


def test_a_day_off_counts_on_the_technicians_own_day() -> None:
    document = lone()
    document["ranches"][0].update(zone="Australia/Sydney")
    document["technicians"][0].update(days_off=["2027-05-31"], hours=["00:00", "23:30"])
    assert [item.day.isoformat() for item in planned(document).days] == ["2027-05-30"]
    document["technicians"][0].update(days_off=["2027-05-30"])
    assert [item.day.isoformat() for item in planned(document).days] == ["2027-05-31"]


@pytest.mark.parametrize("place", ["ranches", "technicians"])
def test_hours_to_the_second_are_refused_by_field(place: str) -> None:
    document = lone()
    name = "handling_hours" if place == "ranches" else "hours"
    document[place][0][name] = ["06:00:07", "20:00"]
    with pytest.raises(ReadError, match="whole minutes") as refused:
        load_season(document, PROTOCOLS)
    assert refused.value.field == f"{place}[0].{name}[0]"
    document[place][0][name] = ["06:00:00", "20:00"]
    load_season(document, PROTOCOLS)


def test_treatment_suits_an_insemination_that_was_done_already() -> None:
    """The second session of split-time AI was done; the treatment of the group, still open, keeps the hours to it."""
    document = lone("heifer_14d_insert_pg_split", done=[{"step": "ai2", "at": "2027-06-01T18:00:00-06:00"}])
    key = PROTOCOLS["heifer_14d_insert_pg_split"].ai_steps[-1].key
    document["groups"][0]["done"][0]["step"] = key
    planned(document)


def test_a_herd_whose_done_step_runs_past_the_season_is_left_out_with_a_cause() -> None:
    """PG for 85 head at ten an hour, begun at 20:00 on the season's last day, ends on the day after."""
    document = lone("ns_1shot_pg", done=[{"step": "pg", "at": "2027-06-10T20:00:00-06:00"}])
    days = {"ai_from": "2027-05-20", "ai_to": "2027-06-10", "ai_wanted": "2027-06-06"}
    document["groups"][0].update(head=85, ai_by="ranch", **days)
    document["ranches"][0].update(treat_rate=10)
    document["season"]["last_day"] = "2027-06-11"
    assert planned(document).status == "complete"
    document["season"]["last_day"] = "2027-06-10"
    plan = planned(document)
    assert plan.status == "empty"
    assert {cause.kind for cause in plan.unplaced[0].causes} == {"season", "done"}


@pytest.mark.parametrize("key", ["mga_start", "mga_last"])
def test_a_feeding_that_was_done_at_another_hour_keeps_its_hour_beside_a_plan_that_is_kept(key: str) -> None:
    document = lone("heifer_mga_pg_ftai")
    document["season"]["first_day"] = "2027-04-20"
    first = planned(document)
    planned_at = next(step.start for step in first.groups[0].lots[0].steps if step.key == key)
    document["groups"][0]["done"] = [{"step": key, "at": (planned_at + timedelta(hours=3)).isoformat()}]
    again = planned(document, keep=first)
    steps = {step.key: step for step in again.groups[0].lots[0].steps}
    assert steps.pop(key).start == planned_at + timedelta(hours=3)
    before = {step.key: step for step in first.groups[0].lots[0].steps if step.key != key}
    assert steps == before


def test_a_feeding_at_a_ranch_that_opens_late_in_the_evening_is_on_its_own_day() -> None:
    document = lone("heifer_mga_pg_ftai")
    document["season"]["first_day"] = "2027-04-20"
    document["ranches"][0].update(handling_hours=["23:05", "23:55"], treat_rate=100)
    document["technicians"][0].update(hours=["20:00", "23:59"], ai_rate=100)
    document["groups"][0]["head"] = 5
    document["groups"][0]["ai_by"] = "ranch"
    assert planned(document).status == "complete"


def test_nothing_is_planned_into_the_chute_at_the_hours_of_what_was_done_there() -> None:
    """Whichever group comes first in the file: AI of 60 head by the ranch was done when the other's technician would come."""
    document = lone()
    begins = planned(document).visits[0].start
    other = {**copy.deepcopy(document["groups"][0]), "id": "G9", "head": 60, "ai_by": "ranch"}
    other["done"] = [
        {"step": "pg", "at": (begins - timedelta(hours=63)).isoformat()},
        {"step": "ai", "at": (begins - timedelta(minutes=30)).isoformat()},
    ]
    document["groups"].append(other)
    plan = planned(document)  # breaks no rule
    assert plan.groups
