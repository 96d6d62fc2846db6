"""Set partitioning over the routes seen: some groups given anew beside others who stay on the same technician-days."""

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Bound
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.explain import explain
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.partition import Partition
from scheduling.kernel.search.polish import Polish, improve, in_play, routes_in_play
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols


def begun(seed: int, rounds: int = 600) -> Search:
    """A season of 120 groups on the way."""
    search = Search(Model(load_season(season_document("M", seed), PROTOCOLS)), 1, {})
    search.first_plan()
    search.improve(rounds, 20.0)
    search.restore(search.best)
    return search


def broken(search: Search) -> list[str]:
    """Rules broken by the state as a plan."""
    out = [index for index, item in enumerate(search.state.placed) if item is None]
    unplaced = tuple(explain(search, index, with_remedies=False) for index in out)
    plan = plan_of(search.state, seed=1, rounds=0, bound=Bound(None, "none"), unplaced=unplaced)
    return [item.text for item in check(search.model.season, plan).broken]


@pytest.mark.parametrize("seed", [2, 3, 4])
def test_groups_out_of_play_stay_on_days_that_are_given_anew(seed: int) -> None:
    search = begun(seed)
    state = search.state
    chosen = in_play(state, range(0, len(state.placed), 2), search.free_set)
    staying = [item for i, item in enumerate(state.placed) if item is not None and i not in chosen]
    shared = {
        key: route
        for key, route in state.days.items()
        if len({visit.need.index in chosen for visit in route.visits}) == 2
    }
    before = state.cost()
    assert improve(search, chosen)
    assert state.cost() < before
    assert any(state.days.get(key) is not route for key, route in shared.items())
    for item in staying:
        assert state.placed[item.need.index] is item
    assert state.is_whole()
    assert broken(search) == []


def test_a_day_that_others_are_on_is_never_given_away() -> None:
    search = begun(1)
    state = search.state
    chosen = in_play(state, range(0, len(state.placed), 2), search.free_set)
    answer = Partition(state, chosen, routes_in_play(state, chosen), 0).solve()
    assert answer is not None
    assert answer.optimal
    for key, route in state.days.items():
        others = {visit for visit in route.visits if visit.need.index not in chosen}
        if others and key in answer.days:
            assert others <= set(answer.days[key].visits)
    held = {key for key, route in state.days.items() if any(visit.need.index not in chosen for visit in route.visits)}
    played = {key for key, _ in routes_in_play(state, chosen)}
    assert held & played <= set(answer.days)


def test_a_season_is_polished_in_stretches_that_all_become_cheaper_together() -> None:
    search = begun(4)
    before = search.state.cost()
    Polish(search).all(lambda: True, most=50)
    assert search.state.cost() < before
    assert search.state.is_whole()
    assert broken(search) == []


@pytest.mark.parametrize("barns", [1, 2])
def test_two_groups_of_one_technician_day_may_need_a_barn(barns: int) -> None:
    """Both stand in the day's row of barns; a column that named the row twice was refused, and the solver ran on without an end."""
    document = season_document("S", 2)
    group = document["groups"][0] | {
        "ranch": "R0",
        "protocol": "cow_7d_cosynch_insert",
        "animal_class": "cow",
        "head": 30,
    }
    group |= {"ai_by": "technician", "steps_by": "ranch", "skills": [], "needs_barn": True, "order": "kept"}
    group |= {"ai_from": "2027-05-31", "ai_to": "2027-05-31", "ai_wanted": "2027-05-31"}
    document["groups"] = [group, group | {"id": "G1"}]
    document["ranches"], document["technicians"] = document["ranches"][:1], document["technicians"][:1]
    document["ranches"][0].update(zone=None, closed_days=[], handling_hours=["05:00", "21:00"], treat_rate=60)
    document["technicians"][0].update(
        days_off=[], hours=["04:00", "22:00"], skills=[], ai_rate=30, max_head_per_day=200
    )
    document["barns"] = [{"id": f"B{i}", "stalls": 2, "clean_hours": 0} for i in range(barns)]
    search = Search(Model(load_season(document, PROTOCOLS)), 1, {})
    search.first_plan()
    (route,) = search.state.days.values()
    assert len(route.visits) == 2
    partition = Partition(search.state, [0, 1], routes_in_play(search.state, [0, 1]), 0)
    answer = partition.solve()
    assert answer is not None
    assert answer.optimal
    assert answer.cost == pytest.approx(partition.cost_now())
