"""Seasons that are too tight, and what an explanation of a group left out must keep: causes none too many, remedies that work."""

import copy
from datetime import date, timedelta
from typing import Any

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Plan, Remedy, Unplaced
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.explain import _others, _Trial, requirements
from scheduling.kernel.search.keeping import adopt, wishes_of
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
# Causes that are no requirement to be lifted: the programme itself, and a place that the search overlooked.
NOT_LIFTED = {"hours", "overlooked"}


def tight_document(size: str, seed: int, *, technicians: int = 3, days: int = 1, most: int = 120) -> dict[str, Any]:
    """A season with one technician in so many, AI at most so many days from the wish, at most so many head a day."""
    document = season_document(size, seed)
    document["technicians"] = document["technicians"][::technicians]
    for person in document["technicians"]:
        person["max_head_per_day"] = min(most, person["max_head_per_day"])
    for group in document["groups"]:
        wanted = date.fromisoformat(group["ai_wanted"])
        for name, day in (("ai_from", wanted - timedelta(days=days)), ("ai_to", wanted + timedelta(days=days))):
            held = max if name == "ai_from" else min
            group[name] = held(group[name], day.isoformat())
    return document


def search_at(season: Season, plan: Plan) -> Search:
    """The search as it stands when it explains the plan: every placed group to the minute where the plan has it."""
    search = Search(Model(season), 1, {})
    adopt(search.insertion, wishes_of(search.model, search.state, plan))
    placed = {group.id for group in plan.groups}
    assert {need.group.id for need in search.model.needs if search.state.placed[need.index] is not None} == placed
    return search


def needless(search: Search, item: Unplaced) -> list[str]:
    """What is wrong with a set of causes: it does not keep the group out, or does so without one of its causes too."""
    need = search.model.needs[search.model.index[item.group]]
    trial = _Trial(search, need)
    kinds = {cause.kind for cause in item.causes}
    core = [one for one in (*requirements(search.model, need), _others(need)) if one.kind in kinds]
    if not core:
        return [] if trial.fails([]) else ["there is a place with everything lifted"]
    wrong = [] if trial.fails(core) else ["there is a place with all causes held"]
    return wrong + [one.kind for one in core if trial.fails([other for other in core if other is not one])]


def remedy_works(document: dict[str, Any], plan: Plan, remedy: Remedy) -> bool:
    """Whether the group is in once the document is changed as the remedy says, the others kept where they can be."""
    changed = copy.deepcopy(document)
    group = next(item for item in changed["groups"] if item["id"] == remedy.group)
    group[remedy.field] = remedy.to
    season = load_season(changed, PROTOCOLS)
    out = {item.group for item in plan.unplaced} - {remedy.group}
    return any(_fits(season, plan, out, rounds) for rounds in (0, 20))


def _fits(season: Season, plan: Plan, out: set[str], rounds: int) -> bool:
    again = solve(season, seed=1, budget=Budget(rounds=rounds), keep=plan)
    return not check(season, again).broken and {item.group for item in again.unplaced} <= out
