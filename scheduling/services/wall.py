"""Wall-clock times: what the clock at the ranch shows. Naive on purpose, so that no page can shift them again."""

from datetime import datetime
from zoneinfo import ZoneInfo


def wall(moment: datetime, zone: str | ZoneInfo) -> datetime:
    """The local time of an aware moment, without its offset."""
    return moment.astimezone(ZoneInfo(zone) if isinstance(zone, str) else zone).replace(tzinfo=None)
