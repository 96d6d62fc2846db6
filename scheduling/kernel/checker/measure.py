"""Distances, durations and local days, worked out again from the plan's text. Km, hours, aware datetimes."""

from datetime import date, datetime, timedelta, timezone
from math import asin, cos, radians, sin, sqrt
from zoneinfo import ZoneInfo

from scheduling.kernel.season import Season

EARTH_RADIUS_KM = 6371.0  # mean radius; "Geodetic Reference System 1980", International Association of Geodesy, 1980
SLACK = timedelta(seconds=61)  # plans are written to the minute


def road_km(season: Season, start: tuple[float, float], end: tuple[float, float]) -> float:
    """Great-circle km between two places times the season's road factor."""
    lat1, lon1, lat2, lon2 = (radians(value) for value in (*start, *end))
    half = sin((lat2 - lat1) / 2) ** 2 + cos(lat1) * cos(lat2) * sin((lon2 - lon1) / 2) ** 2
    return 2 * EARTH_RADIUS_KM * asin(min(1.0, sqrt(half))) * season.travel.road_factor


def drive(season: Season, start: tuple[float, float], end: tuple[float, float]) -> timedelta:
    """Driving time between two places."""
    return timedelta(hours=road_km(season, start, end) / season.travel.speed_kmh)


def elapsed_h(start: datetime, end: datetime) -> float:
    """Elapsed hours, daylight-saving changes included."""
    return (end.astimezone(timezone.utc) - start.astimezone(timezone.utc)).total_seconds() / 3600


def local_day(moment: datetime, zone: ZoneInfo) -> date:
    """The calendar day of a moment in a zone."""
    return moment.astimezone(zone).date()


def said(moment: datetime, zone: ZoneInfo) -> str:
    """A moment for people: weekday, day, hour."""
    return moment.astimezone(zone).strftime("%a %d %b, %H:%M")
