"""Sunrise and sunset, to a few minutes.

Equations: "General Solar Position Calculations", National Oceanic and Atmospheric Administration, Global Monitoring
Division, undated (fractional year, equation of time, declination, hour angle at a zenith of 90.833 degrees).
"""

from datetime import date, datetime, timedelta, timezone
from math import acos, cos, degrees, pi, radians, sin, tan

_ZENITH = radians(90.833)


def sun_times(day: date, lat: float, lon: float) -> tuple[datetime, datetime] | None:
    """Sunrise and sunset in UTC at a place (degrees, east positive); None where the sun does not rise or not set."""
    year = 2 * pi / 365 * (day.timetuple().tm_yday - 1)
    equation = 229.18 * (
        0.000075 + 0.001868 * cos(year) - 0.032077 * sin(year) - 0.014615 * cos(2 * year) - 0.040849 * sin(2 * year)
    )
    tilt = (
        0.006918
        - 0.399912 * cos(year)
        + 0.070257 * sin(year)
        - 0.006758 * cos(2 * year)
        + 0.000907 * sin(2 * year)
        - 0.002697 * cos(3 * year)
        + 0.00148 * sin(3 * year)
    )
    cosine = cos(_ZENITH) / (cos(radians(lat)) * cos(tilt)) - tan(radians(lat)) * tan(tilt)
    if not -1 <= cosine <= 1:
        return None
    half = degrees(acos(cosine))
    midnight = datetime(day.year, day.month, day.day, tzinfo=timezone.utc)
    rise, fall = (720 - 4 * (lon + angle) - equation for angle in (half, -half))
    return midnight + timedelta(minutes=rise), midnight + timedelta(minutes=fall)
