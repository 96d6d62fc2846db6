"""Our feeds read by programs that are not ours: a JavaScript, a C and a Python reader of time zones, and strict parsers."""

import json
import subprocess
from datetime import datetime, timedelta, timezone
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
import vobject
from ical.calendar_stream import IcsCalendarStream

from herdplan.calendars.vtimezone import vtimezone
from herdplan.calendars.writer import Event, calendar
from tests.clients import libical

pytestmark = pytest.mark.clients
HERE = Path(__file__).resolve().parent
COUNTRIES = ("US", "CA", "AU", "NZ")


def zones() -> list[str]:
    """Every time zone of the United States, Canada, Australia and New Zealand, by the IANA list itself."""
    table = files("tzdata").joinpath("zoneinfo/zone.tab").read_text("utf-8").splitlines()
    rows = [line.split("\t") for line in table if line and not line.startswith("#")]
    return [row[2] for row in rows if row[0] in COUNTRIES]


ZONES = zones()


def changes(place: ZoneInfo) -> list[datetime]:
    """The moments (UTC) at which the clock changes from 2024 to 2037, to the hour's half."""
    found = []
    moment, step = datetime(2024, 1, 1, tzinfo=timezone.utc), timedelta(minutes=30)
    while moment.year < 2038:
        following = moment + timedelta(days=1)
        if moment.astimezone(place).utcoffset() != following.astimezone(place).utcoffset():
            while moment.astimezone(place).utcoffset() == (moment + step).astimezone(place).utcoffset():
                moment += step
            found.append(moment + step)
        moment = following
    return found


@cache
def events() -> tuple[Event, ...]:
    """In every zone: every half hour from two before to two after each change of clocks, and once a month."""
    made: list[Event] = []
    for zone in ZONES:
        moments = [change + timedelta(minutes=30 * i) for change in changes(ZoneInfo(zone)) for i in range(-4, 5)]
        moments += [
            datetime(year, month, 1, 7, tzinfo=timezone.utc) for year in range(2024, 2038) for month in range(1, 13)
        ]
        made += [event(zone, moment, len(made) + i) for i, moment in enumerate(moments)]
    return tuple(made)


def event(zone: str, starts: datetime, number: int) -> Event:
    """An hour and a half at a moment."""
    return Event(
        uid=f"e{number}@test",
        sequence=0,
        changed_at=datetime(2026, 1, 1, tzinfo=timezone.utc),
        starts=starts,
        ends=starts + timedelta(minutes=90),
        zone=zone,
        summary=f"Insert out + PG: 85 cows, {zone}",
        description="Gloves; doses, needles\nÄöü, 新 and a long line " + "x" * 60,
    )


@pytest.fixture(scope="module")
def known() -> dict[str, tuple[int, int]]:
    """What every reader must find."""
    return {item.uid: (int(item.starts.timestamp()), int(item.ends.timestamp())) for item in events()}


@cache
def texts() -> tuple[bytes, ...]:
    """The events in calendars of less than the cap."""
    made = events()
    return tuple(calendar("Test", made[i : i + 1000]) for i in range(0, len(made), 1000))


def test_there_is_something_to_read(known: dict[str, tuple[int, int]]) -> None:
    assert {"America/Denver", "America/St_Johns", "Australia/Lord_Howe", "Pacific/Chatham"} < set(ZONES)
    assert len(ZONES) >= 60
    assert all(vtimezone(zone) for zone in ZONES)
    assert {len(changes(ZoneInfo(zone))) for zone in ZONES} == {0, 28}
    assert len(known) > 20_000


def test_a_javascript_reader_finds_every_instant(known: dict[str, tuple[int, int]]) -> None:
    found: dict[str, tuple[int, int]] = {}
    for text in texts():
        done = subprocess.run(["node", "read.mjs"], cwd=HERE, input=text, capture_output=True, check=True)
        found |= {item["uid"]: (item["starts"], item["ends"]) for item in json.loads(done.stdout)}
    assert found == known


def test_a_c_reader_finds_every_instant(known: dict[str, tuple[int, int]]) -> None:
    found: dict[str, tuple[int, int]] = {}
    for text in texts():
        found |= libical.read(text)
    assert found == known


def test_a_python_reader_finds_every_instant(known: dict[str, tuple[int, int]]) -> None:
    found = {}
    for text in texts():
        vevents: list[Any] = list(icalendar.Calendar.from_ical(text).walk("VEVENT"))
        for item in vevents:
            found[str(item["UID"])] = (int(item["DTSTART"].dt.timestamp()), int(item["DTEND"].dt.timestamp()))
    assert found == known


def test_strict_parsers_take_it_whole(known: dict[str, tuple[int, int]]) -> None:
    count = 0
    for text in texts():
        parsed = IcsCalendarStream.calendar_from_ics(text.decode())
        count += len(parsed.events)
        assert vobject.readOne(text.decode()).validate()
    assert count == len(known)


@pytest.mark.parametrize("zone", ZONES)
def test_our_zone_rules_agree_with_the_systems_from_2024_to_2037(zone: str) -> None:
    made = [
        event(zone, datetime(year, month, day, 12, tzinfo=timezone.utc), year * 1000 + month * 40 + day)
        for year in range(2024, 2038)
        for month in range(1, 13)
        for day in (1, 8, 15, 28)
    ]
    found = libical.read(calendar("Zone", made))
    assert found == {item.uid: (int(item.starts.timestamp()), int(item.ends.timestamp())) for item in made}
