"""A technician lost for a week, and a judge of what the repair of a plan changes: which groups got another day for nothing."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.plan import Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols


def lost_week(size: str, seed: int, rounds: int = 30) -> tuple[Season, Plan, Season]:
    """A season with its plan, and the season in which the technician of the visit in the middle is away for seven days."""
    document = season_document(size, seed)
    season = load_season(document, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=rounds))
    return season, plan, load_season(without_the_middle(document, plan), PROTOCOLS)


def without_the_middle(document: dict[str, Any], plan: Plan) -> dict[str, Any]:
    """The document with a week off for the technician of the visit in the middle, from its day."""
    visit = plan.visits[len(plan.visits) // 2]
    person = next(row for row in document["technicians"] if row["id"] == visit.technician)
    week = [(visit.start.date() + timedelta(days=i)).isoformat() for i in range(7)]
    person["days_off"] = sorted({*person["days_off"], *week})
    return document


def moved(before: Plan, after: Plan) -> dict[str, date]:
    """Groups that stand on another day, with the day they had."""
    old = {group.id: group.ai_day for group in before.groups}
    return {group.id: old[group.id] for group in after.groups if old.get(group.id, group.ai_day) != group.ai_day}


def cost_at_home(season: Season, plan: Plan, name: str, day: date) -> float | None:
    """The plan's cost with one group on a day and all others where they are; None where that cannot be, as the checker sees it."""
    groups = tuple(
        replace(group, ai_from=day, ai_to=day, ai_wanted=day) if group.id == name else group for group in season.groups
    )
    tried = solve(replace(season, groups=groups), seed=1, budget=Budget(rounds=0), keep=plan)
    stands = {group.id: group for group in tried.groups}
    others = [group for group in plan.groups if group.id != name]
    if name not in stands or any(stands.get(group.id) != group for group in others):
        return None
    found = check(season, tried)
    return None if [item for item in found.broken if item.code != "cost_printed"] else found.cost.total


def needless(season: Season, before: Plan, plan: Plan) -> dict[str, float]:
    """Groups on another day that could have kept theirs, each by itself, with what the plan would cost then."""
    costs = {name: cost_at_home(season, plan, name, day) for name, day in moved(before, plan).items()}
    return {name: cost for name, cost in costs.items() if cost is not None}
