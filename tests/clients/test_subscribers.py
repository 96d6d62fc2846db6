"""A moved booking shows moved and a cancelled one cancelled, in each program that subscribes to a feed of ours over HTTP."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen
from zoneinfo import ZoneInfo

import icalendar
import pytest
from ical.calendar_stream import IcsCalendarStream

from herdplan.calendars.services import make_feed
from scheduling.models import Booking
from tests.clients import libical
from tests.factories.changes import hand_over, move, publish_plan
from tests.factories.clock import stand_still
from tests.factories.plans import NOW, Scene, make_scene

pytestmark = [pytest.mark.clients, pytest.mark.django_db(transaction=True)]
HERE = Path(__file__).resolve().parent
HOUR = timedelta(hours=1)
Shown = dict[str, tuple[datetime, bool]]  # UID to start, and whether it is shown as cancelled


def fetch(url: str) -> bytes:
    """The feed's bytes over HTTP."""
    with urlopen(url) as answer:  # noqa: S310  # our own test server
        content: bytes = answer.read()
        return content


class Terminal:
    """A subscribing synchronizer that keeps a copy in a folder (under UIDs of its own), and a calendar that shows the folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "copy").mkdir(parents=True)
        (folder / "khal.conf").write_text(
            f"[calendars]\n[[jobs]]\npath = {folder}/copy\n[locale]\nlocal_timezone = UTC\ndefault_timezone = UTC\n"
            "timeformat = %H:%M\ndateformat = %Y-%m-%d\nlongdateformat = %Y-%m-%d\ndatetimeformat = %Y-%m-%d %H:%M\n"
            f"longdatetimeformat = %Y-%m-%d %H:%M\n[sqlite]\npath = {folder}/khal.db\n",
            encoding="utf-8",
        )

    def __call__(self, url: str) -> Shown:
        """Synchronize, then list."""
        config = self.folder / "sync.conf"
        config.write_text(
            f'[general]\nstatus_path = "{self.folder}/status"\n[pair jobs]\na = "here"\nb = "there"\ncollections = null\n'
            'conflict_resolution = "b wins"\npartial_sync = "revert"\n'
            f'[storage here]\ntype = "filesystem"\npath = "{self.folder}/copy"\nfileext = ".ics"\n'
            f'[storage there]\ntype = "http"\nurl = "{url}"\n',
            encoding="utf-8",
        )
        self._run("vdirsyncer", "-c", str(config), "discover", "jobs", stdin="y\ny\n")
        self._run("vdirsyncer", "-c", str(config), "sync", "jobs")
        form = "{uid}|{start-long}|{status}|{title}"
        listed = self._run(
            "khal", "-c", str(self.folder / "khal.conf"), "list", "--notstarted", "--day-format", "", "-f", form, "2027-04-01", "90d"
        )  # fmt: skip
        found: Shown = {}
        for line in listed.splitlines():
            if line.count("|") >= 3:
                uid, start, status, title = line.strip().split("|", 3)
                moment = datetime.strptime(start, "%Y-%m-%d %H:%M").replace(tzinfo=ZoneInfo("UTC"))
                found[uid] = (moment, "CANCELLED" in status and title.startswith("CANCELLED: "))
        return found

    def _run(self, program: str, *arguments: str, stdin: str = "") -> str:
        environment = {**os.environ, "HOME": str(self.folder), "XDG_CACHE_HOME": str(self.folder), "LC_ALL": "C.UTF-8"}
        done = subprocess.run(
            [str(Path(sys.executable).parent / program), *arguments],
            input=stdin, text=True, capture_output=True, env=environment, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr[-2000:]
        return done.stdout


def javascript(url: str) -> Shown:
    """The JavaScript reader."""
    done = subprocess.run(["node", "read.mjs"], cwd=HERE, input=fetch(url), capture_output=True, check=True)
    return {
        item["uid"]: (datetime.fromtimestamp(item["starts"], ZoneInfo("UTC")), item["status"] == "CANCELLED")
        for item in json.loads(done.stdout)
    }


def c(url: str) -> Shown:
    """The C reader."""
    content = fetch(url)
    titles = libical.summaries(content)
    return {
        uid: (datetime.fromtimestamp(starts, ZoneInfo("UTC")), titles[uid].startswith("CANCELLED: "))
        for uid, (starts, _) in libical.read(content).items()
    }


def python(url: str) -> Shown:
    """The library that is our oracle."""
    events: list[Any] = list(icalendar.Calendar.from_ical(fetch(url)).walk("VEVENT"))
    return {str(item["UID"]): (item["DTSTART"].dt, str(item["STATUS"]) == "CANCELLED") for item in events}


def strict(url: str) -> Shown:
    """The strict reader of a home hub."""
    events = IcsCalendarStream.calendar_from_ics(fetch(url).decode()).events
    found: list[Any] = list(events)
    return {str(item.uid): (item.dtstart, str(item.status).endswith("CANCELLED")) for item in found}


@pytest.mark.parametrize("name", ["terminal", "javascript", "c", "python", "strict"])
def test_moved_shows_moved_and_cancelled_shows_cancelled(
    name: str, live_server: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_still(monkeypatch, NOW + 3 * HOUR)
    readers: dict[str, Callable[[str], Shown]] = {"javascript": javascript, "c": c, "python": python, "strict": strict}
    reader = readers.get(name) or Terminal(tmp_path)
    scene = make_scene()
    publish_plan(scene)
    booking = Booking.objects.get(entry=scene.willow)
    uid, url = f"booking-{booking.pk}@localhost", feed_of(scene, booking, live_server.url)
    assert only(reader(url), uid, name) == (booking.starts, False)
    move(scene, scene.willow, 2, NOW + HOUR)
    assert only(reader(url), uid, name) == (booking.starts + timedelta(days=2), False)
    old, _ = hand_over(scene, NOW + 2 * HOUR)
    assert old.pk == booking.pk
    assert only(reader(url), uid, name) == (old.starts, True)


def only(shown: Shown, uid: str, name: str) -> tuple[datetime, bool]:
    """The one event of the feed, under its UID."""
    assert len(shown) == 1
    if name != "terminal":
        assert list(shown) == [uid]
    return next(iter(shown.values()))


def feed_of(scene: Scene, booking: Booking, site: str) -> str:
    """The address of the feed of the booking's technician."""
    _, token = make_feed(
        member=scene.coordinator, name="x", kind="technician", herd=None, technician=booking.technician, now=NOW
    )
    return f"{site}/feeds/{token}.ics"
