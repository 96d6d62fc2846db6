"""Groups that are too large for one technician's day, at ranches with one stall."""

import copy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.kernel.plan import Plan
from tests.factories.seasons import season_document
from tests.scheduling.kernel.search.test_solve import planned


def document(head: int, *, limits: tuple[int, ...] = (110, 110), **changes: Any) -> dict[str, Any]:
    """One group of so many head at a ranch with one stall, technicians who take so many a day, no barn."""
    made = season_document("M", 2)
    group = {**made["groups"][0], "animal_class": "cow", "protocol": "cow_7d_cosynch_insert", "head": head}
    group.update({"ai_by": "technician", "steps_by": "ranch", "skills": [], "needs_barn": False, "order": "kept"})
    group.update(changes)
    people = made["technicians"][: len(limits)]
    for person, limit in zip(people, limits, strict=True):
        person.update(max_head_per_day=limit, days_off=[], lat=45.0, lon=-102.5)
    ranches = [row for row in made["ranches"] if row["id"] == group["ranch"]]
    ranches[0].update(ai_stalls=1, closed_days=[], lat=45.1, lon=-102.5, treat_rate=60)
    return {**made, "groups": [group], "ranches": ranches, "technicians": people, "barns": []}


def shares(plan: Plan) -> list[int]:
    """Head by technician at the first session, in the order of their hours."""
    first = plan.visits[0].step
    people = dict.fromkeys(visit.technician for visit in plan.visits)
    heads = (
        sum(visit.head for visit in plan.visits if (visit.technician, visit.step) == (name, first)) for name in people
    )
    return [head for head in heads if head]


def test_one_technician_takes_over_where_the_other_may_take_no_more() -> None:
    """150 head, 110 a day each: the first takes 110, the second the rest, one after the other at the one stall."""
    plan = planned(document(150), rounds=0)
    assert shares(plan) == [110, 40]
    ends = [visit.end for visit in plan.visits]
    starts = [visit.start for visit in plan.visits]
    assert all(end <= start for end, start in zip(ends[:-1], starts[1:], strict=True))
    assert plan.status == "complete"


def test_three_take_turns_where_two_do_not_reach() -> None:
    plan = planned(document(150, limits=(60, 60, 60)), rounds=0)
    assert shares(plan) == [60, 60, 30]


def test_nobody_comes_where_all_together_may_not_take_the_group() -> None:
    plan = planned(document(150, limits=(60, 60)), rounds=0)
    assert plan.status == "empty"
    (cause,) = plan.unplaced[0].causes
    assert cause.kind == "head_limit"


def test_work_that_is_there_leaves_less_room() -> None:
    """Another group of 60 has the only other AI day; on its own day its technician has room for 50 more."""
    made = document(120, limits=(110, 110))
    day = made["groups"][0]["ai_wanted"]
    made["groups"][0].update(ai_from=day, ai_to=day)
    other = {**copy.deepcopy(made["groups"][0]), "id": "G-other", "head": 60}
    ranch = {**made["ranches"][0], "id": "R-other", "lat": 45.05}
    made["groups"].append({**other, "ranch": "R-other"})
    made["ranches"].append(ranch)
    plan = planned(made, rounds=60)
    assert plan.status == "complete"
    heads = {visit.technician: 0 for visit in plan.visits}
    for visit in plan.visits:
        heads[visit.technician] += visit.head
    assert sum(heads.values()) == 180
    assert max(heads.values()) <= 110


@settings(deadline=None, max_examples=12)
@given(st.data())
def test_whatever_is_taken_in_turns_keeps_every_rule(data: st.DataObject) -> None:
    """`planned` asks the checker."""
    key = data.draw(
        st.sampled_from(
            ["cow_7d_cosynch_insert", "cow_5d_cosynch_insert", "cow_7d_cosynch_insert_split", "cow_7_7_synch"]
        )
    )
    limits = tuple(data.draw(st.lists(st.integers(40, 120), min_size=2, max_size=4)))
    made = document(data.draw(st.integers(60, 240)), limits=limits, protocol=key)
    made["groups"][0]["order"] = data.draw(st.sampled_from(["kept", "any"]))
    made["groups"][0]["needs_barn"] = data.draw(st.booleans())
    made["barns"] = [{"id": "B", "stalls": 1, "clean_hours": 2}]
    made["ranches"][0]["treat_rate"] = data.draw(st.sampled_from([30, 60, 90]))
    for person in made["technicians"]:
        person["ai_rate"] = data.draw(st.sampled_from([20, 25, 40]))
    planned(made, rounds=2)


def test_a_plan_that_is_kept_keeps_the_turns() -> None:
    made = document(150)
    plan = planned(made, rounds=0)
    again = planned(made, rounds=20, keep=plan)
    assert again.groups == plan.groups
    assert again.visits == plan.visits


def test_when_one_is_ill_another_takes_that_turn_on_the_same_day() -> None:
    made = document(150, limits=(110, 110, 110))
    plan = planned(made, rounds=0)
    ill = plan.visits[-1].technician
    day = plan.groups[0].ai_day
    next(person for person in made["technicians"] if person["id"] == ill)["days_off"] = [day.isoformat()]
    again = planned(made, rounds=20, keep=plan)
    assert again.groups[0].ai_day == day
    assert ill not in {visit.technician for visit in again.visits}


@pytest.mark.parametrize("seed", [1, 3])
def test_a_season_with_large_groups_breaks_no_rule_and_leaves_out_fewer(seed: int) -> None:
    """Every eighth group of a season of forty ranches has 130 to 180 head."""
    made = season_document("M", seed)
    for number, group in enumerate(made["groups"][::8]):
        group.update(head=130 + number % 6 * 10, steps_by="ranch", order="kept", skills=[])
    large = {group["id"] for group in made["groups"][::8]}
    plan = planned(made, rounds=40)
    placed = large & {group.id for group in plan.groups}
    assert len(placed) >= 12
