"""iCalendar text (RFC 5545) from plain values. No clock, no request, no database."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from functools import cache, lru_cache
from operator import attrgetter
from struct import Struct
from typing import NamedTuple
from zoneinfo import ZoneInfo

from herdplan.calendars.vtimezone import vtimezone

_FOLD_AT = 75
_END = "\r\n"
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
MAX_EVENTS, MAX_BYTES = 1_300, 900_000
PRODUCT = "PRODID:-//herdplan//season feed 4//EN"


class Event(NamedTuple):
    """One event. `changed_at` is the row's own change time: it becomes DTSTAMP and LAST-MODIFIED, so that bytes are stable.

    `days` (first day, day after the last) makes it an event of whole days that blocks nobody. `alarm`: minutes before.
    `standing` ends the description: lines that many events share, so that they are escaped once.
    """

    uid: str
    sequence: int
    changed_at: datetime
    starts: datetime
    ends: datetime
    zone: str
    summary: str
    description: str
    location: str = ""
    geo: tuple[float, float] | None = None
    cancelled: bool = False
    days: tuple[date, date] | None = None
    alarm: int = 0
    url: str = ""
    standing: str = ""

    @property
    def text(self) -> str:
        """The whole description."""
        return f"{self.description}\n{self.standing}" if self.standing else self.description


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody with a mail address."""

    name: str
    address: str


class Fragment(NamedTuple):
    """A written event: its bytes, when it starts (to sort by), the zone that its local times need."""

    uid: str
    starts: datetime
    zone: str
    body: bytes

    @property
    def name(self) -> str:
        """Of the resource in a collection."""
        return f"{self.uid.partition('@')[0]}.ics"


def fragment(event: Event) -> Fragment:
    """An event, written."""
    return Fragment(event.uid, event.starts, event.zone, written(event).encode())


def alone(item: Fragment) -> bytes:
    """A calendar object of one event, as a CalDAV collection holds it: no METHOD (RFC 4791, 4.1)."""
    return b"".join((_BARE, _zone(item.zone), item.body, b"END:VCALENDAR\r\n"))


_BARE = f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n{PRODUCT}\r\nCALSCALE:GREGORIAN\r\n".encode()


def calendar(name: str, events: Iterable[Event]) -> bytes:
    """A whole calendar of events."""
    return joined(name, [fragment(event) for event in events])


def joined(name: str, fragments: Sequence[Fragment]) -> bytes:
    """A whole calendar; events beyond the caps that subscribers set (1,300 events, 900 KB) are left out from the end."""
    kept = sorted(fragments, key=attrgetter("starts", "body"))[:MAX_EVENTS]
    parts = [_head(name), *(_zone(zone) for zone in sorted({item.zone for item in kept}))]
    size = sum(len(part) for part in parts) + 20
    for item in kept:
        size += len(item.body)
        if size > MAX_BYTES:
            break
        parts.append(item.body)
    parts.append(b"END:VCALENDAR\r\n")
    return b"".join(parts)


def _head(name: str) -> bytes:
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        PRODUCT,
        "CALSCALE:GREGORIAN",
        f"NAME:{escaped(name)}",
        f"X-WR-CALNAME:{escaped(name)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT1H",
        "X-PUBLISHED-TTL:PT1H",
    ]
    return _text(lines).encode()


@cache
def _zone(key: str) -> bytes:
    return _text(vtimezone(key) or ()).encode()


def _text(lines: Iterable[str]) -> str:
    return "".join([folded(line) for line in lines])


def itip(
    method: str,
    event: Event,
    *,
    organizer: Person,
    attendee: Person,
    stamp: datetime,
    partstat: str = "NEEDS-ACTION",
) -> str:
    """A REQUEST or CANCEL of one event to one person (RFC 5546, 3.2.2 and 3.2.5). Here DTSTAMP is when it was written."""
    people = [
        f"ORGANIZER;CN={_parameter(organizer.name)}:mailto:{organizer.address}",
        f"ATTENDEE;CUTYPE=INDIVIDUAL;ROLE=REQ-PARTICIPANT;PARTSTAT={partstat};RSVP=TRUE"
        f";CN={_parameter(attendee.name)}:mailto:{attendee.address}",
    ]
    head = ["BEGIN:VCALENDAR", "VERSION:2.0", PRODUCT, "CALSCALE:GREGORIAN", f"METHOD:{method}"]
    return (
        _text(head)
        + _text(vtimezone(event.zone) or ())
        + _vevent(event, _utc(stamp), _text(people))
        + "END:VCALENDAR\r\n"
    )


def _parameter(text: str) -> str:
    """A parameter value in quotes; RFC 5545, 3.2 allows neither quotes nor control characters inside."""
    return '"' + "".join(c for c in text if c != '"' and ord(c) >= 32 and ord(c) != 127) + '"'


def written(event: Event) -> str:
    """One VEVENT with its line ends."""
    return _vevent(event)


def _vevent(event: Event, stamp: str = "", people: str = "") -> str:
    """The content lines in one piece, folded where they can be long. DTSTAMP is the change time unless one is given."""
    changed = _utc(event.changed_at)
    title = f"CANCELLED: {event.summary}" if event.cancelled else event.summary
    return (
        f"BEGIN:VEVENT\r\n{folded('UID:' + event.uid)}DTSTAMP:{stamp or changed}\r\n"
        f"LAST-MODIFIED:{changed}\r\nSEQUENCE:{event.sequence}\r\n{_span(event)}"
        f"{folded('SUMMARY:' + escaped(title))}{folded('DESCRIPTION:' + escaped(event.description))}"
        f"{_standing(event.standing) if event.standing else ''}"
        f"STATUS:{'CANCELLED' if event.cancelled else 'CONFIRMED'}\r\n"
        f"{'TRANSP:TRANSPARENT' + _END if event.cancelled or event.days else ''}"
        f"{_place(event.location, event.geo, event.url)}"
        f"{_text(_alarm(event)) if event.alarm and not event.cancelled and not event.days else ''}"
        f"{people}END:VEVENT\r\n"
    )


@lru_cache(maxsize=4096)
def _place(location: str, geo: tuple[float, float] | None, url: str) -> str:
    """Where it is: the same for all events at a ranch."""
    return (
        f"{folded('LOCATION:' + escaped(location)) if location else ''}"
        f"{f'GEO:{geo[0]:.6f};{geo[1]:.6f}{_END}' if geo else ''}"
        f"{folded('URL:' + url) if url else ''}"
    )


def _span(event: Event) -> str:
    """Start and end; of whole days the end is the day after the last (RFC 5545, 3.6.1).

    In UTC where the zone has no stable yearly rule, or a time falls into the hour that an autumn change repeats.
    """
    if event.days:
        first, after = event.days
        return f"DTSTART;VALUE=DATE:{first:%Y%m%d}\r\nDTEND;VALUE=DATE:{after:%Y%m%d}\r\n"
    key = event.zone
    zone = ZoneInfo(key)
    starts, ends = event.starts.astimezone(zone), event.ends.astimezone(zone)
    if (_plain(key, starts.toordinal()) and _plain(key, ends.toordinal())) or _told_apart(key, starts, ends):
        return f"DTSTART;TZID={key}:{_compact(starts)}\r\nDTEND;TZID={key}:{_compact(ends)}\r\n"
    return f"DTSTART:{_utc(starts)}\r\nDTEND:{_utc(ends)}\r\n"


def _alarm(event: Event) -> list[str]:
    """One alarm with the DESCRIPTION that RFC 5545, 3.6.6 asks for (without it readers refuse the whole feed)."""
    return [
        "BEGIN:VALARM",
        f"UID:alarm-{event.uid}",
        "ACTION:DISPLAY",
        f"TRIGGER:-PT{event.alarm}M",
        f"DESCRIPTION:{escaped(event.summary)}",
        "END:VALARM",
    ]


def _told_apart(key: str, *local: datetime) -> bool:
    """Whether the zone has a stable yearly rule and no time falls into an hour that a change of the clock repeats or skips."""
    return vtimezone(key) is not None and all(
        moment.utcoffset() == moment.replace(fold=1 - moment.fold).utcoffset() for moment in local
    )


@lru_cache(maxsize=4096)
def _plain(key: str, day: int) -> bool:
    """Whether the zone has a stable yearly rule and no change of the clock on that day (from the year 1) or the next."""
    start = datetime.combine(date.fromordinal(day), time(), ZoneInfo(key))
    return vtimezone(key) is not None and start.utcoffset() == (start + timedelta(days=2)).utcoffset()


def _utc(moment: datetime) -> str:
    return (_compact(moment) if moment.tzinfo is timezone.utc else _compact(moment.astimezone(timezone.utc))) + "Z"


def _compact(moment: datetime) -> str:
    """Date and time to the second in the basic format, by the clock that the moment carries."""
    return _day(moment.toordinal()) + _hour((moment.hour * 60 + moment.minute) * 60 + moment.second)


@lru_cache(maxsize=4096)
def _day(ordinal: int) -> str:
    """A day, counted from the year 1; a feed has each several times, and to put it together takes longest of all."""
    return f"{date.fromordinal(ordinal):%Y%m%dT}"


@lru_cache(maxsize=4096)
def _hour(seconds: int) -> str:
    return f"{seconds // 3600:02d}{seconds // 60 % 60:02d}{seconds % 60:02d}"


def escaped(text: str) -> str:
    """TEXT as RFC 5545, 3.3.11 asks: backslash, semicolon, comma and line ends escaped, other control characters out."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")
    return text if text.isprintable() else _CONTROL.sub("", text)


@lru_cache(maxsize=4096)
def _standing(text: str) -> str:
    """The end of a description as continuation lines of its own, so that it is escaped and cut once for all events."""
    return folded(" \\n" + escaped(text))


def folded(line: str) -> str:
    """A content line cut into pieces of at most 75 octets, never inside a character, with CRLF."""
    if len(line) <= _FOLD_AT and line.isascii():
        return line + _END
    octets = line.encode()
    size = len(octets)
    if size <= _FOLD_AT:
        return line + _END
    pieces = _even(size)(octets) if size == len(line) else _cut(octets)
    return b"\r\n ".join(pieces).decode() + _END


@cache
def _even(size: int) -> Callable[[bytes], tuple[bytes, ...]]:
    """Cuts into 75 octets and, because a space goes before each further piece, as many 74 as there are."""
    count, rest = divmod(size - _FOLD_AT, _FOLD_AT - 1)
    return Struct(f"{_FOLD_AT}s{f'{_FOLD_AT - 1}s' * count}{f'{rest}s' if rest else ''}").unpack


def _cut(octets: bytes) -> list[bytes]:
    """The same, but back to where a character begins."""
    pieces, start, end = [], 0, _FOLD_AT
    while end < len(octets):
        while octets[end] & 0xC0 == 0x80:  # inside a character
            end -= 1
        pieces.append(octets[start:end])
        start, end = end, end + _FOLD_AT - 1
    return [*pieces, octets[start:]]
