"""What earlier seasons asked of ranches and technicians, for a season that weighs fair shares."""

from typing import Any
from uuid import UUID

from django.db.models import Count
from django.db.models.functions import TruncDate

from scheduling.models import Booking, Season
from scheduling.services.fairness import earlier_seasons, holidays_of, season_burdens


def add_shares(document: dict[str, Any], season: Season) -> None:
    """Put holidays and earlier shares into a season's document; nothing where the season does not weigh them."""
    if season.weights.get("rest_day"):
        days = (day for day in holidays_of(season.cooperative) if season.first_day <= day <= season.last_day)
        document["season"]["holidays"] = sorted(day.isoformat() for day in days)
        asked = season_burdens(season.cooperative, earlier_seasons(season))
        for ranch in document["ranches"]:
            had = (burdens[ranch["id"]].rest_days for burdens in asked.values() if burdens and ranch["id"] in burdens)
            ranch["rest_days_before"] = sum(had)
    if season.weights.get("day_before"):
        worked = _worked(season)
        for person in document["technicians"]:
            person["days_before"] = worked.get(UUID(person["id"]), 0)


def _worked(season: Season) -> dict[UUID, int]:
    """Days of work by technician in the last three published seasons before this one."""
    booked = Booking.objects.filter(entry__season__in=earlier_seasons(season)).exclude(status=Booking.Status.CANCELLED)
    worked = (
        booked.annotate(day=TruncDate("starts")).values_list("technician").annotate(days=Count("day", distinct=True))
    )
    return {person: days for person, days in worked.order_by()}  # noqa: C416 (typed rows)
