"""The checker: a good plan passes; each way of breaking a rule is caught under its number."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import Report, check
from scheduling.kernel.plan import load_plan
from scheduling.kernel.season import load_season

# Worked by hand. Ranch and base are the same place, so that driving takes no time. 60 cows: PG from 16:00, AI from 08:00 on
# the third morning: the first cow waits 64 h, the last 64 + 59 (1/30 - 1/60) = 64.983 h.
SEASON: dict[str, Any] = {
    "format": "herdplan-season/1",
    "season": {"name": "Hand", "first_day": "2027-04-12", "last_day": "2027-06-05", "zone": "America/Denver"},
    "travel": {"road_factor": 1.3, "speed_kmh": 70},
    "ranches": [
        {"id": "R1", "name": "Home", "lat": 45.0, "lon": -104.0, "handling_hours": ["06:00", "20:00"], "closed_days": [], "treat_rate": 60, "ai_stalls": 1},
        {"id": "R2", "name": "Far", "lat": 45.5, "lon": -104.0, "handling_hours": ["06:00", "20:00"], "closed_days": [], "treat_rate": 60, "ai_stalls": 2},
    ],
    "groups": [
        {"id": "G1", "ranch": "R1", "animal_class": "cow", "head": 60, "protocol": "cow_7d_cosynch_insert", "ai_from": "2027-05-08", "ai_to": "2027-05-12", "ai_wanted": "2027-05-10"},
        {"id": "G2", "ranch": "R2", "animal_class": "cow", "head": 60, "protocol": "cow_7d_cosynch_insert", "ai_from": "2027-05-09", "ai_to": "2027-05-14", "ai_wanted": "2027-05-11", "needs_barn": True},
    ],
    "technicians": [
        {"id": "T1", "name": "One", "lat": 45.0, "lon": -104.0, "hours": ["05:00", "20:00"], "days_off": [], "ai_rate": 30, "max_head_per_day": 120, "skills": []},
        {"id": "T2", "name": "Two", "lat": 45.5, "lon": -104.0, "hours": ["05:00", "20:00"], "days_off": [], "ai_rate": 30, "max_head_per_day": 120, "skills": []},
    ],
    "barns": [{"id": "B1", "stalls": 2, "clean_hours": 2}],
}  # fmt: skip


def _lot(day: int) -> dict[str, Any]:
    treat = {
        "start": f"2027-04-{day + 20:02d}T16:00:00-06:00",
        "end": f"2027-04-{day + 20:02d}T17:00:00-06:00",
        "by": "ranch",
    }
    pull = {
        "start": f"2027-05-{day - 3:02d}T16:00:00-06:00",
        "end": f"2027-05-{day - 3:02d}T17:00:00-06:00",
        "by": "ranch",
    }
    ai = {"start": f"2027-05-{day:02d}T08:00:00-06:00", "end": f"2027-05-{day:02d}T10:00:00-06:00", "by": "technician"}
    steps = [("gnrh1", treat), ("in", treat), ("out", pull), ("pg", pull), ("ai", ai), ("ai_gnrh", ai)]
    return {
        "head": 60,
        "steps": [{"key": key, **span} for key, span in steps],
        "interval_hours": {"min": 64.0, "max": 64.983},
    }


def _visit(technician: str, group: str, day: int, barn: str | None) -> dict[str, Any]:
    span = {"start": f"2027-05-{day:02d}T08:00:00-06:00", "end": f"2027-05-{day:02d}T10:00:00-06:00"}
    return {"technician": technician, "group": group, "lot": 0, "step": "ai", **span, "head": 60, "barn": barn}


def _day(technician: str, day: int) -> dict[str, Any]:
    span = {"leaves": f"2027-05-{day:02d}T08:00:00-06:00", "back": f"2027-05-{day:02d}T10:00:00-06:00"}
    return {"technician": technician, "day": f"2027-05-{day:02d}", **span, "km": 0.0}


PLAN: dict[str, Any] = {
    "format": "herdplan-plan/1",
    "status": "complete",
    "seed": 1,
    "rounds": 0,
    "cost": {
        "total": 600.0,
        "parts": {
            "technician_days": 2,
            "km": 0.0,
            "days_moved": 0,
            "worst_move": 0,
            "afternoon_half_hours": 0,
            "unplaced": 0,
        },
    },
    "bound": {"value": None, "kind": "none"},
    "groups": [
        {"id": "G1", "ai_day": "2027-05-10", "lots": [_lot(10)]},
        {"id": "G2", "ai_day": "2027-05-11", "lots": [_lot(11)]},
    ],
    "visits": [_visit("T1", "G1", 10, None), _visit("T2", "G2", 11, "B1")],
    "days": [_day("T1", 10), _day("T2", 11)],
    "unplaced": [],
}
# GnRH is given ten days before AI: 30 April for AI on 10 May.
for _group, _date in ((0, "2027-04-30"), (1, "2027-05-01")):
    for _step in PLAN["groups"][_group]["lots"][0]["steps"][:2]:
        _step["start"], _step["end"] = f"{_date}T16:00:00-06:00", f"{_date}T17:00:00-06:00"


def judge(change: Callable[[dict[str, Any], dict[str, Any]], None]) -> Report:
    """The report on copies of season and plan after a change."""
    season, plan = copy.deepcopy(SEASON), copy.deepcopy(PLAN)
    change(season, plan)
    return check(load_season(season, load_catalogue().protocols), load_plan(plan))


def test_the_plan_worked_by_hand_breaks_nothing_and_costs_two_technician_days() -> None:
    report = judge(lambda season, plan: None)
    assert [item.text for item in report.broken] == []
    assert report.cost.total == 600


def shift(step: dict[str, Any], old: str, new: str) -> None:
    """Replace part of a step's times."""
    for name in ("start", "end"):
        step[name] = step[name].replace(old, new)


def steps_of(plan: dict[str, Any], *keys: str) -> list[dict[str, Any]]:
    """Steps of the first group."""
    return [step for step in plan["groups"][0]["lots"][0]["steps"] if step["key"] in keys]


def day_late(season: dict[str, Any], plan: dict[str, Any]) -> None:
    for step in steps_of(plan, "gnrh1", "in"):
        shift(step, "04-30", "05-01")


def step_gone(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["groups"][0]["lots"][0]["steps"].pop(1)


def trip_torn(season: dict[str, Any], plan: dict[str, Any]) -> None:
    shift(steps_of(plan, "in")[0], "T16", "T18")
    shift(steps_of(plan, "in")[0], "T17", "T19")


def too_early(season: dict[str, Any], plan: dict[str, Any]) -> None:
    for step in steps_of(plan, "out", "pg"):
        step["start"], step["end"] = "2027-05-07T19:00:00-06:00", "2027-05-07T20:00:00-06:00"
    season["ranches"][0]["treat_rate"] = 60
    for step in steps_of(plan, "ai", "ai_gnrh"):
        step["start"], step["end"] = "2027-05-10T06:00:00-06:00", "2027-05-10T08:00:00-06:00"
    plan["visits"][0]["start"], plan["visits"][0]["end"] = "2027-05-10T06:00:00-06:00", "2027-05-10T08:00:00-06:00"


def any_order(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["groups"][0]["order"] = "any"
    season["groups"][0]["head"] = plan["groups"][0]["lots"][0]["head"] = 118
    plan["visits"][0]["head"] = 118


def wrong_interval_printed(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["groups"][0]["lots"][0]["interval_hours"]["max"] = 65.5


def closed(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["ranches"][0]["closed_days"] = ["2027-05-07"]


def out_of_hours(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["ranches"][0]["handling_hours"] = ["09:00", "20:00"]


def rushed(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["ranches"][0]["treat_rate"] = 40


def chute_twice(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["groups"][1]["ranch"] = "R1"
    plan["groups"][1] = {**copy.deepcopy(plan["groups"][0]), "id": "G2"}
    plan["visits"][1] = {**plan["visits"][0], "technician": "T2", "group": "G2", "barn": "B1"}


def two_places(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["groups"][1] = {"id": "G2", "ai_day": "2027-05-10", "lots": copy.deepcopy(plan["groups"][0]["lots"])}
    plan["visits"][1] = {**plan["visits"][0], "group": "G2", "barn": "B1"}
    season["technicians"][0]["max_head_per_day"] = 200


def day_off(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["technicians"][0]["days_off"] = ["2027-05-10"]


def short_hours(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["technicians"][0]["hours"] = ["05:00", "09:00"]


def drive_forgotten(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["technicians"][0]["lat"] = 44.0


def over_limit(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["technicians"][0]["max_head_per_day"] = 59


def unskilled(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["groups"][0]["skills"] = ["sexed semen"]


def nobody(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["visits"].pop(0)
    plan["days"].pop(0)


def head_lost(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["visits"][0]["head"] = 50


def too_many_at_once(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["visits"][0]["head"] = 30
    plan["visits"].append({**plan["visits"][0], "technician": "T2"})


def no_barn(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["visits"][1]["barn"] = None


def barn_twice(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["visits"][0]["barn"] = "B1"
    season["barns"][0]["clean_hours"] = 24


def outside_window(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["groups"][0]["ai_from"] = "2027-05-11"
    season["groups"][0]["ai_wanted"] = "2027-05-11"


def outside_season(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["season"]["first_day"] = "2027-05-01"


def done_elsewhere(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["groups"][0]["done"] = [{"step": "pg", "at": "2027-05-07T15:00:00-06:00"}]


def lost_group(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["groups"].pop(1)
    plan["visits"].pop(1)
    plan["days"].pop(1)


def without_cause(season: dict[str, Any], plan: dict[str, Any]) -> None:
    lost_group(season, plan)
    plan["unplaced"] = [{"group": "G2", "causes": [], "remedies": []}]


def lots_short(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["groups"][0]["head"] = 61


def stranger_visits(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["visits"].append({**plan["visits"][0], "technician": "T9"})


def cheap_talk(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["cost"]["total"] = 500


def wrong_hands(season: dict[str, Any], plan: dict[str, Any]) -> None:
    for step in steps_of(plan, "out", "pg"):
        step["by"] = "technician"


def visit_to_nothing(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["visits"].append({**plan["visits"][0], "step": "weighing"})


def visit_in_others_hands(season: dict[str, Any], plan: dict[str, Any]) -> None:
    season["groups"][0]["ai_by"] = "ranch"


def ends_first(season: dict[str, Any], plan: dict[str, Any]) -> None:
    for step in steps_of(plan, "out", "pg"):
        step["end"] = step["end"].replace("T17", "T15")


def crowded(season: dict[str, Any], plan: dict[str, Any]) -> None:
    """Three groups, three technicians, two stalls: by twos they fit, all three do not."""
    season["ranches"][0] |= {"ai_stalls": 2, "treat_rate": 60}
    for number in (2, 3):
        season["groups"].append({**season["groups"][0], "id": f"G{number}x"})
        season["technicians"].append({**season["technicians"][0], "id": f"T{number}x"})
        plan["groups"].append({**copy.deepcopy(plan["groups"][0]), "id": f"G{number}x"})
        plan["visits"].append({**plan["visits"][0], "group": f"G{number}x", "technician": f"T{number}x"})


def day_said_twice(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["days"].append(copy.deepcopy(plan["days"][0]))


def wrong_status(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["status"] = "partial"


def bound_above(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["bound"] = {"kind": "proven", "value": 700}


def bound_of_nothing(season: dict[str, Any], plan: dict[str, Any]) -> None:
    plan["bound"] = {"kind": "none", "value": 600}


MUTATIONS = [
    (day_late, 1, "day_offset"),
    (step_gone, 1, "step_missing"),
    (trip_torn, 1, "trip_split"),
    (too_early, 2, "interval"),
    (any_order, 2, "interval"),
    (wrong_interval_printed, 2, "interval_printed"),
    (closed, 3, "closed_day"),
    (out_of_hours, 3, "hours"),
    (rushed, 3, "too_short"),
    (chute_twice, 3, "chute_twice"),
    (two_places, 4, "two_places"),
    (day_off, 4, "day_off"),
    (short_hours, 4, "hours"),
    (drive_forgotten, 4, "day_printed"),
    (over_limit, 4, "head_limit"),
    (unskilled, 4, "skill"),
    (nobody, 4, "nobody"),
    (head_lost, 4, "visit_head"),
    (too_many_at_once, 5, "stalls"),
    (no_barn, 5, "barn_missing"),
    (barn_twice, 5, "barn_cleaning"),
    (outside_window, 6, "ai_window"),
    (outside_season, 6, "season_days"),
    (done_elsewhere, 6, "done_moved"),
    (lost_group, 7, "group_count"),
    (without_cause, 7, "no_cause"),
    (lots_short, 7, "head"),
    (stranger_visits, 7, "visit_unknown"),
    (cheap_talk, 7, "cost_printed"),
    (wrong_hands, 4, "hands"),
    (visit_to_nothing, 4, "visit_step"),
    (visit_in_others_hands, 4, "visit_step"),
    (ends_first, 1, "backwards"),
    (crowded, 3, "chute_twice"),
    (day_said_twice, 4, "day_printed"),
    (wrong_status, 7, "status_printed"),
    (bound_above, 7, "cost_printed"),
    (bound_of_nothing, 7, "cost_printed"),
]


@pytest.mark.parametrize(("change", "rule", "code"), MUTATIONS, ids=[item[0].__name__ for item in MUTATIONS])
def test_each_way_of_breaking_a_rule_is_caught(change: Any, rule: int, code: str) -> None:
    found = {(item.rule, item.code) for item in judge(change).broken}
    assert (rule, code) in found
    assert all(item.text for item in judge(change).broken)
