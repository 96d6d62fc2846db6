"""The time zones that a co-op or ranch may be in: IANA names of the countries served, and nothing else."""

from functools import cache
from zoneinfo import available_timezones

_REGIONS = ("America/", "Australia/", "Pacific/", "Europe/", "Africa/", "Asia/", "Atlantic/", "Indian/")


@cache
def zone_names() -> tuple[str, ...]:
    """IANA zone names in alphabetical order."""
    return tuple(sorted(name for name in available_timezones() if name.startswith(_REGIONS)))


def zone_choices() -> list[tuple[str, str]]:
    """Choices for a form field."""
    return [(name, name.replace("_", " ")) for name in zone_names()]
