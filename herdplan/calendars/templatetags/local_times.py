"""Moments on the clock of a place."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django import template

register = template.Library()


@register.filter
def local_time(moment: datetime, zone: str) -> str:
    """Weekday, day and hour at the place, with the zone's short name."""
    local = moment.astimezone(ZoneInfo(zone))
    return f"{local:%a %d %b, %H:%M} ({local:%Z})"
