"""Local clock times and elapsed hours. All arithmetic on hours goes through UTC."""

from datetime import date, datetime, time, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo


def at_local(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The moment when the ranch's clock shows `clock` on `day`.

    A time that a spring change skips becomes the same instant written in the new offset; of a time that an autumn change
    repeats, the first is meant.
    """
    moment = datetime.combine(day, clock.replace(fold=0), zone)
    return moment.astimezone(timezone.utc).astimezone(zone)


def after_hours(moment: datetime, hours: float, zone: tzinfo | None) -> datetime:
    """The moment `hours` elapsed hours later, in the zone."""
    return (moment.astimezone(timezone.utc) + timedelta(hours=hours)).astimezone(zone)


def hours_between(start: datetime, end: datetime) -> float:
    """Elapsed hours from start to end."""
    return (end.astimezone(timezone.utc) - start.astimezone(timezone.utc)).total_seconds() / 3600


def to_minute(moment: datetime) -> datetime:
    """Rounded to the full minute."""
    zone = moment.tzinfo
    whole = (moment.astimezone(timezone.utc) + timedelta(seconds=30)).replace(second=0, microsecond=0)
    return whole.astimezone(zone)


def changes_between(start: datetime, end: datetime, zone: ZoneInfo) -> bool:
    """Whether the zone's offset from UTC differs between the two moments."""
    return start.astimezone(zone).utcoffset() != end.astimezone(zone).utcoffset()
