"""VTIMEZONE components with yearly rules, made from the system's time zone data and checked against it.

RFC 5545, 3.6.5: an onset is DTSTART in the offset that was in force before it (TZOFFSETFROM).
"""

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import cache
from zoneinfo import ZoneInfo

# A year before the first that is served: an event needs an onset before it, or readers guess its offset.
FIRST_YEAR, LAST_YEAR = 2023, 2037
_DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


@dataclass(frozen=True, slots=True)
class Onset:
    """A change of offset: the local time before it, both offsets, and the new abbreviation."""

    local: datetime
    before: timedelta
    after: timedelta
    name: str
    daylight: bool

    @property
    def rule(self) -> tuple[int, int, int, int, int]:
        """Month, week of the month (-1: the last), weekday, hour, minute."""
        last = (self.local + timedelta(days=7)).month != self.local.month
        week = -1 if last else (self.local.day - 1) // 7 + 1
        return self.local.month, week, self.local.weekday(), self.local.hour, self.local.minute


@cache
def vtimezone(key: str) -> tuple[str, ...] | None:
    """Content lines of a zone's VTIMEZONE, or None where no yearly rule tells the years 2023 to 2037 (write UTC then)."""
    zone = ZoneInfo(key)
    years = [_onsets(zone, year) for year in range(FIRST_YEAR, LAST_YEAR + 1)]
    if all(not onsets for onsets in years):
        return tuple(_fixed(zone, key))
    if any(len(onsets) != 2 for onsets in years):
        return None
    blocks: list[str] = []
    for daylight in (True, False):
        mine = [next((onset for onset in onsets if onset.daylight is daylight), None) for onsets in years]
        first = mine[0]
        if first is None or any(other is None or not _alike(first, other) for other in mine):
            return None
        rule = _common_rule([onset for onset in mine if onset is not None])
        if rule is None:
            return None
        blocks += _block(first, rule)
    return ("BEGIN:VTIMEZONE", f"TZID:{key}", *blocks, "END:VTIMEZONE")


def _alike(one: Onset, other: Onset) -> bool:
    return (one.before, one.after, one.name) == (other.before, other.after, other.name)


def _common_rule(onsets: list[Onset]) -> str | None:
    """The yearly rule that all onsets keep: the n-th weekday of the month, or the last."""
    places = {(onset.local.month, onset.local.weekday(), onset.local.time()) for onset in onsets}
    if len(places) != 1:
        return None
    month, weekday, _ = places.pop()
    weeks = {(onset.local.day - 1) // 7 + 1 for onset in onsets}
    if len(weeks) == 1:
        return f"FREQ=YEARLY;BYMONTH={month};BYDAY={weeks.pop()}{_DAYS[weekday]}"
    if all(onset.rule[1] == -1 for onset in onsets):
        return f"FREQ=YEARLY;BYMONTH={month};BYDAY=-1{_DAYS[weekday]}"
    return None


def _onsets(zone: ZoneInfo, year: int) -> list[Onset]:
    """Changes of offset within a year, found to the minute."""
    found = []
    moment, end = datetime(year, 1, 1, tzinfo=timezone.utc), datetime(year + 1, 1, 1, tzinfo=timezone.utc)
    while moment < end:
        following = moment + timedelta(days=1)
        if _offset(zone, moment) != _offset(zone, following):
            found.append(_onset(zone, *_narrow(zone, moment, following)))
        moment = following
    return found


def _narrow(zone: ZoneInfo, low: datetime, high: datetime) -> tuple[datetime, datetime]:
    while high - low > timedelta(minutes=1):
        middle = low + timedelta(minutes=int((high - low).total_seconds() // 120))
        if _offset(zone, low) == _offset(zone, middle):
            low = middle
        else:
            high = middle
    return low, high


def _onset(zone: ZoneInfo, last: datetime, change: datetime) -> Onset:
    before, after = _offset(zone, last), _offset(zone, change)
    local = (change + before).replace(tzinfo=None)
    there = change.astimezone(zone)
    return Onset(local, before, after, there.tzname() or "", bool(there.dst()))


def _offset(zone: ZoneInfo, moment: datetime) -> timedelta:
    return moment.astimezone(zone).utcoffset() or timedelta()


def _block(onset: Onset, rule: str) -> list[str]:
    kind = "DAYLIGHT" if onset.daylight else "STANDARD"
    return [
        f"BEGIN:{kind}",
        f"DTSTART:{onset.local:%Y%m%dT%H%M%S}",
        f"RRULE:{rule}",
        f"TZOFFSETFROM:{_written(onset.before)}",
        f"TZOFFSETTO:{_written(onset.after)}",
        f"TZNAME:{onset.name}",
        f"END:{kind}",
    ]


def _fixed(zone: ZoneInfo, key: str) -> list[str]:
    moment = datetime(FIRST_YEAR, 1, 1, tzinfo=timezone.utc)
    offset, name = _written(_offset(zone, moment)), moment.astimezone(zone).tzname()
    block = ["BEGIN:STANDARD", f"DTSTART:{FIRST_YEAR}0101T000000", f"TZOFFSETFROM:{offset}", f"TZOFFSETTO:{offset}"]
    return ["BEGIN:VTIMEZONE", f"TZID:{key}", *block, f"TZNAME:{name}", "END:STANDARD", "END:VTIMEZONE"]


def _written(offset: timedelta) -> str:
    minutes = round(offset.total_seconds() / 60)
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}{abs(minutes) % 60:02d}"
