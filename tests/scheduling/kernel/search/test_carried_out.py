"""In the middle of a season: what was carried out stays as it was, at whatever hour, and nobody loses a place for it."""

import copy
import random
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scheduling.kernel.checker import check
from scheduling.kernel.compare import Situation, compare
from scheduling.kernel.plan import Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document
from tests.factories.tight import PROTOCOLS
from tests.scheduling.kernel.search.test_zones_and_done import lone, planned

SPLIT = "cow_7d_cosynch_insert_split"


def started(document: dict[str, Any], plan: Plan, now: datetime, late: Iterator[int]) -> dict[str, Any]:
    """The season at `now`: every step that was planned before it was carried out, each so many minutes late."""
    season, later = load_season(document, PROTOCOLS), copy.deepcopy(document)
    later["season"]["not_before"] = now.isoformat()
    rows = {row["id"]: row for row in later["groups"]}
    for placed in plan.groups:
        group = next(group for group in season.groups if group.id == placed.id)
        begun = {step.key: step.start for step in placed.lots[0].steps}
        rows[placed.id]["done"] = []
        for trip in [*group.protocol.trips, *([step] for step in group.protocol.steps if step.trip is None)]:
            at = min(begun[trip[0].key] + timedelta(minutes=next(late)), now)
            if begun[trip[0].key] < now:
                rows[placed.id]["done"] += [{"step": step.key, "at": at.isoformat()} for step in trip]
    return later


def minutes(seed: int, most: int) -> Iterator[int]:
    """Minutes early or late."""
    rng = random.Random(seed)
    while True:
        yield rng.randint(-most, most)


def replanned(document: dict[str, Any], keep: Plan | None, rounds: int = 60) -> tuple[Season, Plan]:
    season = load_season(document, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=rounds), keep=keep)
    assert [item.text for item in check(season, plan).broken] == []
    assert plan.status == "complete"
    return season, plan


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
@pytest.mark.parametrize("most", [0, 12, 40])
def test_groups_whose_steps_were_ticked_off_at_other_hours_keep_their_place(seed: int, most: int) -> None:
    """On the evening of a day two thirds through the season: with the plan kept nothing of what is finished changes, without
    it nobody is left out."""
    document = season_document("S", seed)
    before = load_season(document, PROTOCOLS)
    plan = solve(before, seed=1, budget=Budget(rounds=300))
    assert plan.status == "complete"
    starts = sorted(visit.start for visit in plan.visits)
    evening = starts[len(starts) * 2 // 3].replace(hour=23, minute=30)
    later = started(document, plan, evening, minutes(seed, most))
    season, kept = replanned(later, plan)
    replanned(later, None)
    finished = {group.id for group in season.groups if set(group.protocol.by_key) == group.carried_out}
    assert finished
    changed = compare(Situation(season, plan), Situation(season, kept)).groups
    assert finished.isdisjoint(item.group for item in changed)
    days = {group.id: group.ai_day for group in plan.groups}
    begun = {group.id for group in season.groups if group.done}
    assert all(group.ai_day == days[group.id] for group in kept.groups if group.id in begun)
    if not most:
        assert not changed


def any_middle(seed: int, most: int) -> tuple[dict[str, Any], Plan]:
    """A small season of any programmes, hands and lots, with a plan; then at some moment of it, a technician lost at times."""
    rng, document = random.Random(seed), season_document("S", seed)
    for ranch in document["ranches"]:
        ranch.update(ai_stalls=rng.randint(1, 3), treat_rate=rng.choice((30, 45, 60, 90)))
    for group in document["groups"]:
        kinds = [key for key in PROTOCOLS if key.startswith(group["animal_class"])]
        group.update(head=rng.randint(5, 150), order=rng.choice(("kept", "any")), protocol=rng.choice(kinds))
        group.update(steps_by=rng.choice(("ranch", "ranch", "technician")), ai_by=rng.choice(("ranch", "technician")))
        group.update(needs_barn=rng.random() < 0.2)
    plan = solve(load_season(document, PROTOCOLS), seed=1, budget=Budget(rounds=3))
    starts = sorted(step.start for group in plan.groups for lot in group.lots for step in lot.steps)
    now = rng.choice(starts) + timedelta(minutes=rng.randint(1, 200))
    later = started(document, plan, now, minutes(seed, most))
    if rng.random() < 0.4:
        ill = rng.choice(later["technicians"])
        ill["days_off"] += [(now.date() + timedelta(days=i)).isoformat() for i in range(1, 6)]
    return later, plan


@settings(max_examples=8, deadline=None)
@given(st.integers(1, 10_000), st.sampled_from([0, 10, 60, 300]), st.booleans())
@example(3, 0, True)  # a watch for heat under way
@example(2, 300, True)
def test_at_any_moment_a_season_is_planned_again_and_what_is_finished_stays(
    seed: int, most: int, with_plan: bool
) -> None:
    document, plan = any_middle(seed, most)
    season = load_season(document, PROTOCOLS)
    again = solve(season, seed=1, budget=Budget(rounds=10), keep=plan if with_plan else None)
    assert [item.text for item in check(season, again).broken] == []
    out = {item.group for item in again.unplaced}
    if with_plan:
        for group in season.groups:
            over = group.done and set(group.protocol.by_key) == group.carried_out and not group.protocol.heat_watches
            assert not (over and group.id in out)


def both(protocol: str = SPLIT) -> tuple[dict[str, Any], Plan]:
    """Two groups at one ranch with one technician, and their plan."""
    document = lone(protocol)
    document["groups"].append({**copy.deepcopy(document["groups"][0]), "id": "G9", "head": 30})
    return document, planned(document)


def tick(document: dict[str, Any], group: str, **hours: datetime) -> None:
    """Tick steps of a group off."""
    row = next(row for row in document["groups"] if row["id"] == group)
    row["done"] = [{"step": key, "at": at.isoformat()} for key, at in hours.items()]


def hours_of(plan: Plan, group: str) -> dict[str, datetime]:
    placed = next(item for item in plan.groups if item.id == group)
    return {step.key: step.start for step in placed.lots[0].steps}


@pytest.mark.parametrize("with_plan", [True, False])
def test_two_sessions_ticked_off_at_one_minute_leave_both_groups_their_second(with_plan: bool) -> None:
    """Whoever ticks off at the end of the morning gives one hour for all. Nobody was at two groups at once, but it is done."""
    document, plan = both()
    hours = hours_of(plan, "G0")
    done = {key: hours[key] for key in ("gnrh1", "out", "ai1")}
    for group in ("G0", "G9"):
        tick(document, group, **done)
    document["season"]["not_before"] = (done["ai1"] + timedelta(hours=5)).isoformat()
    _, again = replanned(document, plan if with_plan else None)
    for group in ("G0", "G9"):
        assert hours_of(again, group)["ai1"] == done["ai1"]
        assert [visit.head > 0 for visit in again.visits if (visit.group, visit.step) == (group, "ai2")] == [True]


@pytest.mark.parametrize("with_plan", [True, False])
def test_a_first_session_far_too_late_does_not_cost_the_second(with_plan: bool) -> None:
    """AI ticked off six hours after its window: no plan can mend that, and the second session keeps its own hours from PG."""
    document, plan = lone(SPLIT), planned(lone(SPLIT))
    hours = hours_of(plan, "G0")
    late = hours["ai1"] + timedelta(hours=9)
    tick(document, "G0", gnrh1=hours["gnrh1"], out=hours["out"], ai1=late)
    document["season"]["not_before"] = (late + timedelta(minutes=5)).isoformat()
    season, again = replanned(document, plan if with_plan else None)
    found = hours_of(again, "G0")
    assert found["ai1"] == late
    rule = season.groups[0].protocol.by_key["ai2"].after
    assert rule is not None
    assert rule.window[0] <= (found["ai2"] - found["pg"]) / timedelta(hours=1) <= rule.window[1]


def test_hours_of_what_is_still_open_are_held_from_what_was_carried_out() -> None:
    """PG three hours late: AI of the plan would come too early for it, and is moved."""
    document, plan = lone(), planned(lone())
    hours = hours_of(plan, "G0")
    tick(document, "G0", gnrh1=hours["gnrh1"], out=hours["out"] + timedelta(hours=6))
    season, again = replanned(document, plan)
    found = hours_of(again, "G0")
    rule = season.groups[0].protocol.by_key["ai"].after
    assert rule is not None
    assert found["pg"] == hours["out"] + timedelta(hours=6)
    assert (hours["ai"] - found["pg"]) / timedelta(hours=1) < rule.window[0]
    assert rule.window[0] <= (found["ai"] - found["pg"]) / timedelta(hours=1) <= rule.window[1]


def test_a_second_pg_that_a_technician_gives_is_hours_after_the_first_as_it_was_given() -> None:
    """The first was late: the second, whose visit is the only one that is open, follows it and not the plan."""
    document = lone("cow_5d_cosynch_insert", steps_by="technician")
    document["groups"][0]["ai_by"] = "ranch"
    plan = planned(document)
    hours = hours_of(plan, "G0")
    late = hours["out"] + timedelta(minutes=100)
    tick(document, "G0", gnrh1=hours["gnrh1"], out=late)
    document["season"]["not_before"] = (late + timedelta(minutes=1)).isoformat()
    for keep in (plan, None):
        season, again = replanned(document, keep)
        rule = season.groups[0].protocol.by_key["pg2"].after
        assert rule is not None
        assert rule.window[0] <= (hours_of(again, "G0")["pg2"] - late) / timedelta(hours=1) <= rule.window[1]


def test_a_group_gives_way_where_the_one_before_it_ran_late() -> None:
    """AI of the first group took longer to begin: the second's, planned right after it, begins later, and nothing else moves."""
    document, plan = both("cow_7d_cosynch_insert")
    first, second = sorted(("G0", "G9"), key=lambda name: hours_of(plan, name)["ai"])
    hours = hours_of(plan, first)
    late = hours["ai"] + timedelta(minutes=25)
    tick(document, first, gnrh1=hours["gnrh1"], out=hours["out"], ai=late)
    then = hours_of(plan, second)
    tick(document, second, gnrh1=then["gnrh1"], out=then["out"])
    document["season"]["not_before"] = (late + timedelta(minutes=1)).isoformat()
    season, again = replanned(document, plan)
    ends = next(visit.end for visit in again.visits if visit.group == first)
    assert hours_of(again, second)["ai"] >= ends > then["ai"]
    assert [item.group for item in compare(Situation(season, plan), Situation(season, again)).groups] == [second]


@pytest.mark.parametrize("late", [0, 25])
def test_a_technician_who_is_out_already_goes_on_from_there(late: int) -> None:
    """Four hours from home, the first group done: the second follows at once, whatever rounds take out and put back."""
    document, _ = both("cow_7d_cosynch_insert")
    document["ranches"][0]["lat"] = 47.2
    document["technicians"][0]["hours"] = ["00:00", "23:59"]
    plan = planned(document)
    first, second = sorted(("G0", "G9"), key=lambda name: hours_of(plan, name)["ai"])
    hours, then = hours_of(plan, first), hours_of(plan, second)
    assert plan.visits[1].start == plan.visits[0].end
    begun = hours["ai"] + timedelta(minutes=late)
    tick(document, first, gnrh1=hours["gnrh1"], out=hours["out"], ai=begun)
    tick(document, second, gnrh1=then["gnrh1"], out=then["out"])
    document["season"]["not_before"] = (plan.visits[0].end - timedelta(minutes=1)).isoformat()
    season, again = replanned(document, plan)
    assert hours_of(again, second)["ai"] == then["ai"] + timedelta(minutes=late)
    changed = compare(Situation(season, plan), Situation(season, again)).groups
    assert [item.group for item in changed] == ([second] if late else [])


def test_a_watch_for_heat_that_is_over_holds_its_visits_though_its_days_are_closed() -> None:
    """The pages close every day that is over, so that nothing new is put there."""
    document = lone("cow_2shot_pg")
    document["ranches"][0].update(handling_hours=["06:00", "20:00"])
    plan = planned(document)
    heat = [visit for visit in plan.visits if visit.step.startswith("heat:")]
    assert len(heat) > 4
    now = max(visit.end for visit in heat) + timedelta(minutes=1)
    later = started(document, plan, now, minutes(1, 0))
    over = {visit.start.date().isoformat() for visit in heat}
    later["ranches"][0]["closed_days"] = sorted(day for day in over if day < now.date().isoformat())
    assert later["ranches"][0]["closed_days"]
    season = load_season(later, PROTOCOLS)
    again = solve(season, seed=1, budget=Budget(rounds=20), keep=plan)
    assert again.status == "complete"
    assert [visit for visit in again.visits if visit.step.startswith("heat:")] == heat


def test_the_checker_holds_open_hours_and_leaves_those_of_what_was_done() -> None:
    document, plan = lone(SPLIT), planned(lone(SPLIT))
    hours = hours_of(plan, "G0")
    tick(document, "G0", gnrh1=hours["gnrh1"], out=hours["out"] + timedelta(hours=3))
    season = load_season(document, PROTOCOLS)
    assert {item.code for item in check(season, plan).broken} == {"done_moved"}
    _, moved = replanned(document, None)
    tick(document, "G0", gnrh1=hours["gnrh1"], out=hours["out"] + timedelta(hours=3), ai1=hours_of(moved, "G0")["ai1"])
    assert not check(load_season(document, PROTOCOLS), moved).broken
