"""Making and changing a season."""

from datetime import date
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import Max, Min

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.models import Season


class SeasonFault(ValueError):
    """A season that cannot be saved: texts by field."""

    def __init__(self, faults: dict[str, list[str]]) -> None:
        super().__init__("; ".join(f"{name}: {' '.join(texts)}" for name, texts in faults.items()))
        self.faults = faults


def require_planner(member: Member, season: Season) -> None:
    """403 where the member may not plan this season: too weak a role, or another co-op's season."""
    member.require(Permission.SEASON_EDIT, Reach.COOP)
    if season.cooperative_id != member.cooperative.pk:
        raise PermissionDenied(f"{season} is not a season of {member.cooperative}.")


def save_season(*, member: Member, season: Season, values: dict[str, Any]) -> Season:
    """Save a new or changed season of the member's co-op; raises SeasonFault with texts by field, saving nothing."""
    require_planner(member, season)
    for name, value in values.items():
        setattr(season, name, value)
    try:
        season.full_clean(validate_unique=False, validate_constraints=False)
    except ValidationError as fault:
        raise SeasonFault(fault.message_dict) from None
    faults = _faults(season)
    if faults:
        raise SeasonFault(faults)
    with transaction.atomic():
        season.save()
    return season


def _faults(season: Season) -> dict[str, list[str]]:
    others = Season.objects.filter(cooperative=season.cooperative_id, name=season.name).exclude(pk=season.pk)
    if others.exists():
        return {"name": [f"The co-op has a season {season.name} already; choose another name."]}
    if season.last_day < season.first_day:
        return {"last_day": ["Choose a day that is not before the first day."]}
    if (season.last_day - season.first_day).days > 400:
        return {"last_day": ["A season lasts at most 400 days."]}
    return _left_outside(season)


def _left_outside(season: Season) -> dict[str, list[str]]:
    """Groups that are entered already must stay inside the season's days."""
    if season._state.adding:
        return {}
    days = season.entered.aggregate(first=Min("ai_from"), last=Max("ai_to"))
    first, last = days["first"], days["last"]
    faults = {}
    if isinstance(first, date) and first < season.first_day:
        faults["first_day"] = [f"A group is entered for AI from {first:%d %b %Y}; choose that day or an earlier one."]
    if isinstance(last, date) and last > season.last_day:
        faults["last_day"] = [f"A group is entered for AI until {last:%d %b %Y}; choose that day or a later one."]
    return faults
