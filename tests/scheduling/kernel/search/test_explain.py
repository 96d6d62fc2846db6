"""Explanations of groups left out: a smallest set of requirements, and remedies that work on the season file itself."""

import copy
import random
from collections.abc import Callable
from itertools import count
from typing import Any

import pytest

from scheduling.kernel.plan import Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.explain import _others, _Trial, explain, explain_all, fits, requirements
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document
from tests.factories.tight import PROTOCOLS, needless, remedy_works, search_at, tight_document

DAY = "2027-06-01"


def lone(**change: Any) -> dict[str, Any]:
    """A season with one group that wants one day, and one technician."""
    document = season_document("S", 2)
    group = copy.deepcopy(document["groups"][0])
    group.update(protocol="cow_7d_cosynch_insert", animal_class="cow", ai_by="technician", steps_by="ranch", head=60)
    group.update(skills=[], needs_barn=False, order="kept", ai_from=DAY, ai_to=DAY, ai_wanted=DAY)
    group.update(change)
    document["groups"] = [group]
    document["technicians"] = document["technicians"][:1]
    document["technicians"][0].update(days_off=[], max_head_per_day=100, skills=[], lat=45.0, lon=-102.0)
    for ranch in document["ranches"]:
        ranch.update(lat=45.1, lon=-102.1, closed_days=[], ai_stalls=1)
    return document


def searched(document: dict[str, Any]) -> Search:
    search = Search(Model(load_season(document, PROTOCOLS)), 1, {})
    search.first_plan()
    return search


def out_of(search: Search) -> int:
    return next(i for i, item in enumerate(search.state.placed) if item is None)


def off(document: dict[str, Any]) -> None:
    document["technicians"][0]["days_off"] = [DAY]


def closed(document: dict[str, Any]) -> None:
    for ranch in document["ranches"]:
        ranch["closed_days"] = ["2027-05-22"]  # the first treatment of AI on 1 June falls here


def skill(document: dict[str, Any]) -> None:
    document["groups"][0]["skills"] = ["embryo transfer"]


def many(document: dict[str, Any]) -> None:
    document["groups"][0]["head"] = 101


def rival(document: dict[str, Any]) -> None:
    other = copy.deepcopy(document["groups"][0])
    other.update(id="rival", head=61)
    document["groups"].append(other)


@pytest.mark.parametrize(
    ("spoil", "kinds"),
    [
        (off, {"window", "days_off"}),
        (closed, {"window", "closed"}),
        (skill, {"skill"}),
        (many, {"head_limit"}),
        (rival, {"window", "head_limit", "taken"}),
    ],
)
def test_the_causes_are_the_conflict_and_nothing_else(spoil: Any, kinds: set[str]) -> None:
    document = lone()
    spoil(document)
    search = searched(document)
    index = out_of(search)
    causes = explain(search, index, with_remedies=False).causes
    assert {cause.kind for cause in causes} == kinds
    assert all(cause.text.endswith("leaves no day.") for cause in causes)
    need = search.model.needs[index]
    for requirement in requirements(search.model, need):
        season, group = requirement.lift(search.model.season, need.group)
        assert fits(search, season, group) == (requirement.kind in kinds), requirement.kind


def test_remedies_come_with_the_cheapest_first_and_each_of_them_works() -> None:
    document = lone()
    off(document)
    search = searched(document)
    found = explain(search, 0, with_remedies=True).remedies
    assert {remedy.field for remedy in found} >= {"ai_to", "ai_from", "ai_by"}
    for remedy in found:
        changed = copy.deepcopy(document)
        changed["groups"][0][remedy.field] = remedy.to
        assert searched(changed).state.placed[0] is not None, remedy.text
    assert found[0].field == "ai_by"  # no technician-day: nothing is cheaper


def test_a_group_that_can_go_in_is_not_given_an_invented_conflict() -> None:
    search = searched(lone())
    search.state.take(0)
    assert [cause.kind for cause in explain(search, 0, with_remedies=False).causes] == ["overlooked"]


def planned(document: dict[str, object], rounds: int) -> tuple[Season, Plan]:
    """A season that is too tight, and its plan."""
    season = load_season(document, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=rounds))
    assert plan.unplaced
    return season, plan


@pytest.mark.parametrize(("size", "seed"), [("S", 1), ("S", 2), ("M", 1)])
def test_no_cause_can_be_spared(size: str, seed: int) -> None:
    """All causes held and all else lifted, the group has no place; any one of them lifted as well, it has."""
    season, plan = planned(tight_document(size, seed), rounds=20)
    search = search_at(season, plan)
    for item in plan.unplaced:
        told = explain(search, search.model.index[item.group], with_remedies=False)
        assert needless(search, told) == [], (item.group, [cause.kind for cause in told.causes])


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_remedies_work_when_the_season_file_is_changed_as_they_say(seed: int) -> None:
    document = tight_document("S", seed, days=0, most=60)
    _, plan = planned(document, rounds=20)
    remedies = [remedy for item in plan.unplaced for remedy in item.remedies]
    assert remedies
    assert [remedy for remedy in remedies if not remedy_works(document, plan, remedy)] == []


@pytest.mark.parametrize(("size", "seed"), [("S", 1), ("S", 11), ("S", 12), ("M", 1)])
def test_with_a_requirement_fewer_whatever_fitted_still_fits(size: str, seed: int) -> None:
    """From all requirements down to none, in an order by chance: once there is a place, there is one to the end."""
    season, plan = planned(tight_document(size, seed), rounds=20)
    search = search_at(season, plan)
    for item in plan.unplaced[:4]:
        need = search.model.needs[search.model.index[item.group]]
        held, trial = [*requirements(search.model, need), _others(need)], _Trial(search, need)
        random.Random(seed).shuffle(held)
        found = [not trial.fails(held[i:]) for i in range(len(held) + 1)]
        assert found == sorted(found), (item.group, [one.kind for one in held])


def tight() -> tuple[Search, list[int]]:
    """A season of forty ranches that is too tight, as it stands when its groups left out are explained, and five of these."""
    season = load_season(tight_document("M", 2), PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=20))
    search = search_at(season, plan)
    return search, [search.model.index[item.group] for item in plan.unplaced][:5]


def countdown(seconds: int) -> Callable[[], float]:
    """Seconds that remain, one fewer with every look."""
    looks = count()
    return lambda: seconds - next(looks)


def test_with_fewer_seconds_fewer_groups_are_looked_into_and_each_is_told_something() -> None:
    search, out = tight()
    told = []
    for seconds in (0, len(out) + 1, 8 * len(out), 10_000):
        heard: list[bool] = []
        left = countdown(seconds)
        told.append(explain_all(search, out, most=40, left=left, tell=lambda said=heard: said.append(True)))  # type: ignore[misc]
        assert len(heard) >= 2 * len(out)
    none, short, some, all_ = told
    assert [item.group for item in all_] == [search.model.needs[index].group.id for index in out]
    assert {cause.kind for item in none for cause in item.causes} == {"not_looked_into"}
    alone = {item.group for item in all_ if any(cause.kind == "taken" for cause in item.causes)}
    assert alone
    assert {item.group for item in short if [cause.kind for cause in item.causes] == ["taken"]} >= alone
    assert not any(item.remedies for item in none)
    assert 0 < sum(bool(item.remedies) for item in some) <= sum(bool(item.remedies) for item in all_)
    assert all_ == tuple(explain(search, index, with_remedies=True) for index in out)


def test_a_filter_that_is_broken_off_says_that_fewer_may_do() -> None:
    search, out = tight()
    whole = explain(search, out[0], with_remedies=False)
    told = explain(search, out[0], with_remedies=False, left=countdown(4))
    assert {cause.kind for cause in whole.causes} < {cause.kind for cause in told.causes}
    assert all("no time to see" in cause.text for cause in told.causes)
    assert not any("no time to see" in cause.text for cause in whole.causes)
