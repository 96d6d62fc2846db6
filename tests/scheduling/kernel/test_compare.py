"""Two plans side by side: figures that add up to the cost, sentences that name who is asked to change what."""

from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.kernel.asked import asked
from scheduling.kernel.calving import due_date
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.compare import Burden, Situation, burdens, compare, days_between, loads
from scheduling.kernel.disturbance import disturbance, price
from scheduling.kernel.plan import Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import Season, load_season
from scheduling.kernel.standing import calmed, standing
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
SEEDS = st.integers(1, 8)


@cache
def situation(seed: int, rounds: int = 0) -> Situation:
    """A small season and a plan of it."""
    season = load_season(season_document("S", seed), PROTOCOLS)
    return Situation(season, solve(season, seed=seed, budget=Budget(rounds=rounds)))


def changed(seed: int, **people: list[str]) -> Season:
    """The season with more days off for technicians."""
    document = season_document("S", seed)
    for person in document["technicians"]:
        person["days_off"] = sorted({*person["days_off"], *people.get(person["id"], [])})
    return load_season(document, PROTOCOLS)


def one_group(**fields: Any) -> Season:
    """Sixty cows on one ranch, two technicians."""
    document: dict[str, Any] = {
        "format": "herdplan-season/1",
        "season": {"name": "x", "first_day": "2027-04-12", "last_day": "2027-06-05", "zone": "America/Denver"},
        "travel": {"road_factor": 1.3, "speed_kmh": 70},
        "ranches": [{"id": "R1", "name": "Willow Draw", "lat": 45.0, "lon": -104.0, "handling_hours": ["06:00", "20:00"],
                     "treat_rate": 60, "ai_stalls": 1}],
        "groups": [{"id": "G1", "ranch": "R1", "animal_class": "cow", "head": 60, "protocol": "cow_7d_cosynch_insert",
                    "ai_from": "2027-05-01", "ai_to": "2027-05-20", "ai_wanted": "2027-05-08", **fields}],
        "technicians": [{"id": "T1", "name": "Ann", "lat": 45.1, "lon": -104.1, "hours": ["05:00", "20:00"], "ai_rate": 25,
                         "max_head_per_day": 100},
                        {"id": "T2", "name": "Bo", "lat": 45.5, "lon": -104.6, "hours": ["05:00", "20:00"], "ai_rate": 25,
                         "max_head_per_day": 100}],
    }  # fmt: skip
    return load_season(document, PROTOCOLS)


def solved(season: Season, keep: Plan | None = None) -> Situation:
    """The season with a plan."""
    return Situation(season, solve(season, seed=1, budget=Budget(rounds=5), keep=keep))


@given(seed=SEEDS)
@settings(max_examples=8)
def test_a_plan_differs_in_nothing_from_itself(seed: int) -> None:
    here = situation(seed)
    found = compare(here, here)
    assert found.groups == ()
    assert found.dearer_by == 0
    assert asked(found, here, {}) == ()


@given(seed=SEEDS, other=st.sampled_from([10, 40]))
@settings(max_examples=16)
def test_there_and_back_is_the_same_with_the_other_sign(seed: int, other: int) -> None:
    one, two = situation(seed), situation(seed, other)
    there, back = compare(one, two), compare(two, one)
    assert {item.group: item.days for item in there.groups} == {item.group: -item.days for item in back.groups}
    assert [item.lost for item in there.groups] == [item.gained for item in back.groups]
    assert there.dearer_by == -back.dearer_by
    hours = {(item.group, step.lot, step.key): step.hours for item in there.groups for step in item.steps}
    assert hours == {
        (item.group, step.lot, step.key): pytest.approx(-step.hours) for item in back.groups for step in item.steps
    }


@given(seed=SEEDS, rounds=st.sampled_from([0, 10, 40]))
@settings(max_examples=16)
def test_burdens_and_loads_add_up_to_the_cost_that_the_checker_counts(seed: int, rounds: int) -> None:
    here = situation(seed, rounds)
    cost = check(here.season, here.plan).cost
    asked_of = burdens(here.season, here.plan).values()
    assert sum(item.days_moved for item in asked_of) == cost.days_moved
    assert max(item.worst_move for item in asked_of) == cost.worst_move
    assert sum(item.afternoon_half_hours for item in asked_of) == cost.afternoon_half_hours
    assert sum(item.unplaced for item in asked_of) == cost.unplaced
    assert sum(item.groups for item in asked_of) + cost.unplaced == len(here.season.groups)
    work = loads(here.season, here.plan).values()
    assert sum(item.days for item in work) == cost.technician_days
    assert sum(item.km for item in work) == pytest.approx(cost.km, abs=0.1 * cost.technician_days + 0.1)


@given(seed=SEEDS)
@settings(max_examples=8)
def test_every_ai_day_is_a_rest_day_when_all_days_are_holidays(seed: int) -> None:
    here = situation(seed)
    every = frozenset(days_between(here.season.first_day, here.season.last_day))
    plain, rested = burdens(here.season, here.plan), burdens(here.season, here.plan, every)
    for ranch, burden in rested.items():
        assert burden.rest_days == burden.ai_days
        assert burden.rest_share in (0.0, 1.0)
        assert plain[ranch].rest_days <= burden.rest_days


@given(seed=SEEDS)
@settings(max_examples=8)
def test_what_stands_of_a_plan_breaks_nothing_and_moves_nobody(seed: int) -> None:
    here = situation(seed, 10)
    visit = here.plan.visits[len(here.plan.visits) // 2]
    day = visit.start.astimezone(here.season.zone).date().isoformat()
    season = changed(seed, **{visit.technician: [day]})
    left = standing(season, here.plan)
    assert [item.text for item in check(season, left).broken] == []
    old = {group.id: group for group in here.plan.groups}
    assert all(old[group.id] == group for group in left.groups)
    gone = set(old) - {group.id for group in left.groups}
    assert gone == {
        item.group
        for item in here.plan.visits
        if item.technician == visit.technician and item.start.astimezone(here.season.zone).date().isoformat() == day
    }
    assert len(left.groups) + len(left.unplaced) == len(season.groups)


@given(seed=SEEDS)
@settings(max_examples=8)
def test_an_unchanged_season_stands_as_it_is(seed: int) -> None:
    here = situation(seed, 10)
    left = standing(here.season, here.plan)
    assert left.groups == here.plan.groups
    assert left.visits == here.plan.visits
    assert left.cost == check(here.season, here.plan).cost


def test_a_move_by_two_days_is_said_with_calving_and_wish() -> None:
    was = solved(one_group())
    now = solved(one_group(ai_from="2027-05-10", ai_wanted="2027-05-10"))
    (group,) = compare(was, now).groups
    assert (group.days, group.day_was, group.day_now) == (2, date(2027, 5, 8), date(2027, 5, 10))
    # 283 days: "Gestation Length" guideline, Beef Improvement Federation, undated.
    assert group.calving_now == due_date(date(2027, 5, 10)) == date(2028, 2, 17)
    assert all(step.hours == pytest.approx(48) for step in group.steps)
    row = asked(compare(was, now), now, {"G1": "Home cows"})[0]
    assert row.to_accept
    assert row.texts[0] == (
        "AI moves from Sat 8 May to Mon 10 May, 2 days later; as wished. Calves are due 2 days later, from Thu 17 Feb."
    )


def test_a_saturday_counts_as_a_rest_day_and_a_monday_as_a_holiday() -> None:
    was = solved(one_group())
    assert burdens(was.season, was.plan)["R1"] == Burden(groups=1, rest_days=1, ai_days=1)
    now = solved(one_group(ai_wanted="2027-05-10"))
    assert burdens(now.season, now.plan)["R1"].rest_days == 0
    assert burdens(now.season, now.plan, {date(2027, 5, 10)})["R1"].rest_days == 1


def test_another_technician_alone_need_not_be_accepted() -> None:
    was = solved(one_group())
    document = one_group()
    people = {
        "T1": replace(document.technicians["T1"], days_off=frozenset({date(2027, 5, 8)})),
        "T2": document.technicians["T2"],
    }
    now = solved(replace(document, technicians=people), was.plan)
    found = compare(was, now)
    rows = asked(found, now, {})
    assert found.groups[0].days == 0
    assert "Bo comes instead of Ann." in rows[0].texts
    if not found.groups[0].steps:
        assert not rows[0].to_accept
    texts = {row.technician: row.texts for row in rows if row.technician}
    assert texts["T1"][:2] == ("1 day fewer.", "60 head fewer to inseminate.")
    assert texts["T2"][:2] == ("1 day more.", "60 head more to inseminate.")


def test_the_hours_of_a_trip_are_said_once() -> None:
    was = solved(one_group())
    later = timedelta(minutes=30)
    (group,) = was.plan.groups
    lot = group.lots[0]
    steps = tuple(
        replace(step, start=step.start + later, end=step.end + later) if step.key in ("gnrh1", "in") else step
        for step in lot.steps
    )
    moved = replace(was.plan, groups=(replace(group, lots=(replace(lot, steps=steps),)),))
    found = compare(was, Situation(was.season, moved))
    (row,) = [row for row in asked(found, Situation(was.season, moved), {}) if row.group]
    assert len(found.groups[0].steps) == 2
    assert len(row.texts) == 1
    assert "instead of" in row.texts[0]
    assert row.to_accept


def test_hours_that_change_are_said_of_their_lot() -> None:
    was = solved(one_group())
    (group,) = was.plan.groups
    lot, later = group.lots[0], timedelta(minutes=30)
    moved = replace(lot, steps=tuple(replace(s, start=s.start + later, end=s.end + later) for s in lot.steps))
    cut, changed_cut = (replace(was.plan, groups=(replace(group, lots=lots),)) for lots in ((lot, lot), (lot, moved)))
    before, after = Situation(was.season, cut), Situation(was.season, changed_cut)
    (row,) = [row for row in asked(compare(before, after), after, {}) if row.group]
    assert len(row.texts) == 3
    assert all(", lot 2 of 2 on " in text for text in row.texts)


def test_a_ranch_that_inseminates_itself_and_a_lost_place_are_said() -> None:
    was, own = solved(one_group()), solved(one_group(ai_by="ranch"))
    assert "The ranch inseminates itself." in asked(compare(was, own), own, {})[0].texts
    nobody = replace(was.season, technicians={})
    lost = Situation(nobody, standing(nobody, was.plan))
    found = compare(was, lost)
    assert [item.group for item in found.lost] == ["G1"]
    assert asked(found, lost, {})[0].texts == ("It loses its place on Sat 8 May.",)
    said = price(was, lost.plan, own)
    assert said.lost == ("G1",)
    assert said.unchanged == 3000
    assert said.not_changing_costs == round(3000 - own.plan.cost.total, 1)
    assert said.change_costs == round(own.plan.cost.total - was.plan.cost.total, 1)


def repaired(seed: int) -> tuple[Situation, Situation, Season]:
    """A plan, the plan that a search finds after a technician's day is lost, and the changed season."""
    was = situation(seed, 10)
    visit = was.plan.visits[len(was.plan.visits) // 2]
    season = changed(seed, **{visit.technician: [visit.start.astimezone(was.season.zone).date().isoformat()]})
    return was, Situation(season, solve(season, seed=seed, budget=Budget(rounds=60), keep=was.plan)), season


@given(seed=SEEDS)
@settings(max_examples=8)
def test_a_calmed_plan_breaks_nothing_and_changes_no_more_than_the_plan_found(seed: int) -> None:
    was, found, season = repaired(seed)
    calm = Situation(season, calmed(season, was.plan, found.plan))
    assert [item.text for item in check(season, calm.plan).broken] == []
    one, other = compare(was, found), compare(was, calm)
    assert {item.group for item in other.groups} <= {item.group for item in one.groups}
    assert disturbance(other) <= disturbance(one)
    assert {item.group for item in other.moved} == {item.group for item in one.moved}
    assert {group.id for group in calm.plan.groups} == {group.id for group in found.plan.groups}


def test_calming_puts_hours_back_that_nobody_needed_to_change() -> None:
    was = situation(3, 10)
    day = max({group.ai_day for group in was.plan.groups})
    later = timedelta(minutes=20)
    name = min(group.id for group in was.plan.groups if group.ai_day == day)
    moved = tuple(
        replace(
            group,
            lots=tuple(
                replace(lot, steps=tuple(replace(s, start=s.start + later, end=s.end + later) for s in lot.steps))
                for lot in group.lots
            ),
        )
        if group.id == name
        else group
        for group in was.plan.groups
    )
    visits = tuple(
        replace(visit, start=visit.start + later, end=visit.end + later) if visit.group == name else visit
        for visit in was.plan.visits
    )
    shifted = replace(was.plan, groups=moved, visits=visits)
    assert compare(was, Situation(was.season, shifted)).groups[0].group == name
    assert calmed(was.season, was.plan, shifted).groups == was.plan.groups
