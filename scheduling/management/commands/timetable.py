"""`manage.py timetable`: one group's dated steps."""

import json
from argparse import ArgumentParser
from datetime import date, datetime
from difflib import get_close_matches
from typing import Any
from zoneinfo import ZoneInfo

from accounts.management.strict import StrictCommand
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import Protocol
from scheduling.kernel.reader import Reader, ReadError, read_day
from scheduling.kernel.throughput import Pace
from scheduling.kernel.timetable import Surroundings, TimedLot, Timetable, timetable

# Common practice: a four-person crew treats about 60 head an hour; one technician at one chute inseminates 20 to 25.
_TREAT_RATE, _AI_RATE = 60.0, 25.0


class Command(StrictCommand):
    """Lays a protocol on the clock."""

    help = "Dated steps of one group, from a start or back from a wanted AI time."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """As the interface contract says, and place and closed days for more warnings."""
        parser.add_argument("--protocol", required=True)
        parser.add_argument("--zone", required=True, help="IANA time zone of the ranch")
        parser.add_argument("--start", help="ISO 8601 time of the first step")
        parser.add_argument("--ai", help="ISO 8601 time of the AI start, to count back from")
        parser.add_argument("--head")
        parser.add_argument("--treat-rate", help="head treated per hour")
        parser.add_argument("--ai-rate", help="head inseminated per hour")
        parser.add_argument("--order", default="kept")
        parser.add_argument(
            "--closed", action="append", default=[], help="a day when the ranch is closed; may be repeated"
        )
        parser.add_argument("--lat")
        parser.add_argument("--lon")
        parser.add_argument("--json", action="store_true", help="print one JSON document")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the timetable."""
        try:
            table = _table(options)
        except ReadError as fault:
            self.refuse(str(fault))
        self.stdout.write(json.dumps(document(table), indent=1) if options["json"] else text(table))


def _table(options: dict[str, Any]) -> Timetable:
    zone = Reader(options, "").zone("zone")
    protocol = _protocol(options["protocol"])
    start, ai = (_moment(options[name], name, zone) for name in ("start", "ai"))
    head = None if options["head"] is None else int(_number(options, "head", 1, 5_000, whole=True))
    if options["order"] not in ("kept", "any"):
        raise ReadError("order", "kept or any")
    treat = _number(options, "treat_rate", 1, 1_000) if options["treat_rate"] else _TREAT_RATE
    ai_rate = _number(options, "ai_rate", 1, 1_000) if options["ai_rate"] else _AI_RATE
    pace = Pace(treat, ai_rate, options["order"] == "kept") if head is not None else None
    closed = frozenset(read_day(day, "closed") for day in options["closed"])
    place = None
    if options["lat"] is not None or options["lon"] is not None:
        place = (_number(options, "lat", -90, 90), _number(options, "lon", -180, 180))
    around = Surroundings(closed, place)
    return timetable(protocol, zone, start=start, ai=ai, head=head, pace=pace, surroundings=around)


def _protocol(key: str) -> Protocol:
    protocols = load_catalogue().protocols
    if key not in protocols:
        near = get_close_matches(key, protocols, n=3)
        hint = f"; did you mean {' or '.join(near)}" if near else ""
        raise ReadError("protocol", f"the id of a protocol of the catalogue, not {key}{hint}")
    return protocols[key]


def _moment(value: str | None, name: str, zone: ZoneInfo) -> datetime | None:
    if value is None:
        return None
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        raise ReadError(name, "a time such as 2027-05-10T08:00 or 2027-05-10T08:00:00-06:00") from None
    if not 1971 <= moment.year <= 2199:
        raise ReadError(name, "a time in the years 1971 to 2199")
    return moment.replace(tzinfo=zone) if moment.tzinfo is None else moment.astimezone(zone)


def _number(options: dict[str, Any], name: str, low: float, high: float, whole: bool = False) -> float:
    kind = "whole number" if whole else "number"
    try:
        value = float(int(options[name])) if whole else float(options[name])
    except (TypeError, ValueError, OverflowError):
        raise ReadError(name, f"a {kind} from {low:g} to {high:g}") from None
    if not low <= value <= high:
        raise ReadError(name, f"a {kind} from {low:g} to {high:g}")
    return value


def document(table: Timetable) -> dict[str, Any]:
    """The timetable as JSON."""
    interval = table.interval
    return {
        "protocol": table.protocol.id,
        "zone": table.zone.key,
        "lots": [_lot(lot) for lot in table.lots],
        "interval_hours": {
            "min": round(interval[0], 4) if interval else None,
            "max": round(interval[1], 4) if interval else None,
        },
        "warnings": [{"code": item.code, "text": item.text} for item in table.warnings],
    }


def _lot(lot: TimedLot) -> dict[str, Any]:
    steps = [
        {
            "key": item.step.key,
            "at": item.at.isoformat(),
            "earliest": item.earliest.isoformat(),
            "latest": item.latest.isoformat(),
            "chute_trip": item.step.trip is not None,
            "hours_after": item.hours_after,
        }
        for item in lot.steps
    ]
    return {"head": lot.head, "steps": steps}


def text(table: Timetable) -> str:
    """The timetable for people."""
    lines = [f"{table.protocol.name} ({table.zone.key})"]
    for number, lot in enumerate(table.lots, 1):
        if len(table.lots) > 1:
            lines.append(f"Lot {number}: {lot.head} head")
        for item in lot.steps:
            local: date = item.at.astimezone(table.zone)
            lines.append(f"  {local:%a %d %b %Y, %H:%M}  {item.step.label}")
    lines += [f"! {item.text}" for item in table.warnings]
    return "\n".join(lines)
