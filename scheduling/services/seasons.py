"""Making and changing a season."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.models import Season


class SeasonFault(ValueError):
    """A season that cannot be saved: texts by field."""

    def __init__(self, faults: dict[str, list[str]]) -> None:
        super().__init__("; ".join(f"{name}: {' '.join(texts)}" for name, texts in faults.items()))
        self.faults = faults


def save_season(*, member: Member, season: Season, values: dict[str, Any]) -> Season:
    """Save a new or changed season of the member's co-op; raises SeasonFault with texts by field, saving nothing."""
    member.require(Permission.SEASON_EDIT, Reach.COOP)
    for name, value in values.items():
        setattr(season, name, value)
    season.cooperative = member.cooperative
    try:
        season.full_clean()
    except ValidationError as fault:
        raise SeasonFault(fault.message_dict) from None
    if season.last_day < season.first_day:
        raise SeasonFault({"last_day": ["Choose a day that is not before the first day."]})
    if (season.last_day - season.first_day).days > 400:
        raise SeasonFault({"last_day": ["A season lasts at most 400 days."]})
    with transaction.atomic():
        season.save()
    return season
