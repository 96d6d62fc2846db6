"""libical, the C library that open desktop calendars use, called through ctypes."""

import ctypes
from typing import Any

_LIB = ctypes.CDLL("libical.so.3")
_VEVENT, _VTIMEZONE = 4, 5  # icalcomponent_kind, from the library's header


class _Time(ctypes.Structure):
    _fields_ = [
        ("year", ctypes.c_int),
        ("month", ctypes.c_int),
        ("day", ctypes.c_int),
        ("hour", ctypes.c_int),
        ("minute", ctypes.c_int),
        ("second", ctypes.c_int),
        ("is_date", ctypes.c_int),
        ("is_daylight", ctypes.c_int),
        ("zone", ctypes.c_void_p),
    ]


def _function(name: str, result: object, *arguments: object) -> Any:
    function = getattr(_LIB, name)
    function.restype, function.argtypes = result, list(arguments)
    return function


_parse = _function("icalparser_parse_string", ctypes.c_void_p, ctypes.c_char_p)
_first = _function("icalcomponent_get_first_component", ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int)
_next = _function("icalcomponent_get_next_component", ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int)
_uid = _function("icalcomponent_get_uid", ctypes.c_char_p, ctypes.c_void_p)
_summary = _function("icalcomponent_get_summary", ctypes.c_char_p, ctypes.c_void_p)
_start = _function("icalcomponent_get_dtstart", _Time, ctypes.c_void_p)
_end = _function("icalcomponent_get_dtend", _Time, ctypes.c_void_p)
_unix = _function("icaltime_as_timet_with_zone", ctypes.c_long, _Time, ctypes.c_void_p)


def read(text: bytes) -> dict[str, tuple[int, int]]:
    """UID to start and end as seconds since the epoch, zones taken from the calendar's own VTIMEZONEs."""
    root = _parse(text)
    if not root:
        raise ValueError("libical cannot parse this calendar")
    events = {}
    event = _first(root, _VEVENT)
    while event:
        start, end = _start(event), _end(event)
        events[_uid(event).decode()] = (_unix(start, start.zone), _unix(end, end.zone))
        event = _next(root, _VEVENT)
    return events


def summaries(text: bytes) -> dict[str, str]:
    """UID to summary."""
    root = _parse(text)
    if not root:
        raise ValueError("libical cannot parse this calendar")
    found = {}
    event = _first(root, _VEVENT)
    while event:
        found[_uid(event).decode()] = _summary(event).decode()
        event = _next(root, _VEVENT)
    return found
