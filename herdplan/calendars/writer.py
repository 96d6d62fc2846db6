"""iCalendar text (RFC 5545) from plain values. No clock, no request, no database."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timezone
from zoneinfo import ZoneInfo

from herdplan.calendars.vtimezone import vtimezone

_FOLD_AT = 75
MAX_EVENTS, MAX_BYTES = 1_300, 900_000


@dataclass(frozen=True, slots=True)
class Event:
    """One event. `changed_at` is the row's own change time: it becomes DTSTAMP and LAST-MODIFIED, so that bytes are stable."""

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


def calendar(name: str, events: Iterable[Event]) -> bytes:
    """A whole calendar; events beyond the caps that subscribers set (1,300 events, 900 KB) are left out from the end."""
    kept = sorted(events, key=lambda event: (event.starts, event.uid))[:MAX_EVENTS]
    zones = sorted({event.zone for event in kept})
    head = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//herdplan//season feed 1//EN",
        "CALSCALE:GREGORIAN",
        f"NAME:{escaped(name)}",
        f"X-WR-CALNAME:{escaped(name)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT1H",
        "X-PUBLISHED-TTL:PT1H",
    ]
    lines = [*head, *(line for zone in zones for line in vtimezone(zone) or ())]
    body = "".join(folded(line) for line in lines)
    size = len(body.encode()) + 20
    parts = [body]
    for event in kept:
        fragment = written(event)
        size += len(fragment.encode())
        if size > MAX_BYTES:
            break
        parts.append(fragment)
    parts.append("END:VCALENDAR\r\n")
    return "".join(parts).encode()


def written(event: Event) -> str:
    """One VEVENT with its line ends."""
    stamp = f"{event.changed_at.astimezone(timezone.utc):%Y%m%dT%H%M%SZ}"
    zone = None if _needs_utc(event) else event.zone
    lines = [
        "BEGIN:VEVENT",
        f"UID:{event.uid}",
        f"DTSTAMP:{stamp}",
        f"LAST-MODIFIED:{stamp}",
        f"SEQUENCE:{event.sequence}",
        _time("DTSTART", event.starts, zone),
        _time("DTEND", event.ends, zone),
        f"SUMMARY:{escaped(('CANCELLED: ' if event.cancelled else '') + event.summary)}",
        f"DESCRIPTION:{escaped(event.description)}",
        f"STATUS:{'CANCELLED' if event.cancelled else 'CONFIRMED'}",
    ]
    if event.cancelled:
        lines.append("TRANSP:TRANSPARENT")
    if event.location:
        lines.append(f"LOCATION:{escaped(event.location)}")
    if event.geo:
        lines.append(f"GEO:{event.geo[0]:.6f};{event.geo[1]:.6f}")
    lines.append("END:VEVENT")
    return "".join(folded(line) for line in lines)


def _needs_utc(event: Event) -> bool:
    """Where the zone has no stable yearly rule, or a time falls into the hour that an autumn change repeats."""
    if vtimezone(event.zone) is None:
        return True
    local = [moment.astimezone(ZoneInfo(event.zone)) for moment in (event.starts, event.ends)]
    return any(moment.replace(fold=0).utcoffset() != moment.replace(fold=1).utcoffset() for moment in local)


def _time(name: str, moment: datetime, zone: str | None) -> str:
    """Local time with its zone, or UTC."""
    if zone is None:
        return f"{name}:{moment.astimezone(timezone.utc):%Y%m%dT%H%M%SZ}"
    return f"{name};TZID={zone}:{moment.astimezone(ZoneInfo(zone)):%Y%m%dT%H%M%S}"


def escaped(text: str) -> str:
    """TEXT as RFC 5545, 3.3.11 asks: backslash, semicolon, comma and line ends escaped, other control characters out."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    plain = "".join(c for c in plain if c == "\n" or c == "\t" or (ord(c) >= 32 and ord(c) != 127))
    return plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def folded(line: str) -> str:
    """A content line cut into pieces of at most 75 octets, never inside a character, with CRLF."""
    if len(line) <= _FOLD_AT // 4 or len(line.encode()) <= _FOLD_AT:
        return line + "\r\n"
    pieces, piece, size = [], "", 0
    for character in line:
        width = len(character.encode())
        if size + width > _FOLD_AT:
            pieces.append(piece)
            piece, size = " ", 1
        piece += character
        size += width
    return "\r\n".join([*pieces, piece]) + "\r\n"
