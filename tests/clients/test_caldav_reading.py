"""Read-only CalDAV to one's own plan, read by a CalDAV library and by a synchronizer; nothing can be written."""

import base64
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from caldav.davclient import DAVClient
from caldav.lib.error import AuthorizationError, DAVError
from django.test import Client

from herdplan.calendars.models import FeedToken
from herdplan.calendars.services import make_feed
from scheduling.models import Booking
from tests.factories.changes import hand_over, move, publish_plan
from tests.factories.clock import stand_still
from tests.factories.plans import NOW, Scene, make_scene

pytestmark = [pytest.mark.clients, pytest.mark.django_db(transaction=True)]
HOUR = timedelta(hours=1)


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Scene:
    """A published season."""
    stand_still(monkeypatch, NOW)
    made = make_scene()
    publish_plan(made)
    return made


def token_of(scene: Scene, booking: Booking) -> str:
    """A feed of the booking's technician."""
    _, token = make_feed(
        member=scene.coordinator, name="x", kind="technician", herd=None, technician=booking.technician, now=NOW
    )
    return token


def client(site: str, password: str) -> DAVClient:
    """The library, signed in."""
    return DAVClient(url=f"{site}/caldav/", username="ann", password=password, require_tls=False, enable_rfc6764=False)


def test_a_caldav_library_finds_reads_and_follows_the_plan(scene: Scene, live_server: Any) -> None:
    booking = Booking.objects.get(entry=scene.willow)
    uid = f"booking-{booking.pk}@localhost"
    with client(live_server.url, token_of(scene, booking)) as dav:
        (calendar,) = dav.principal().get_calendars()
        (item,) = calendar.events()
        assert (str(item.icalendar_component["UID"]), item.icalendar_component["DTSTART"].dt) == (uid, booking.starts)
        before = item.icalendar_component
        move(scene, scene.willow, 2, NOW + HOUR)
        (item,) = calendar.events()
        assert item.icalendar_component["DTSTART"].dt - before["DTSTART"].dt == timedelta(days=2)
        assert int(item.icalendar_component["SEQUENCE"]) == 1
        hand_over(scene, NOW + 2 * HOUR)
        (item,) = calendar.events()
        assert str(item.icalendar_component["STATUS"]) == "CANCELLED"
        found = calendar.search(start=NOW, end=NOW + timedelta(days=90), event=True)
        assert [str(one.icalendar_component["UID"]) for one in found] == [uid]
        changes = calendar.objects_by_sync_token(load_objects=True)
        assert len(list(changes)) == 1


def test_nothing_can_be_written_and_a_wrong_or_closed_token_opens_nothing(scene: Scene, live_server: Any) -> None:
    token = token_of(scene, Booking.objects.get(entry=scene.willow))
    with client(live_server.url, token) as dav:
        (calendar,) = dav.principal().get_calendars()
        with pytest.raises(DAVError):
            calendar.save_event(dtstart=NOW, dtend=NOW + HOUR, summary="Mine")
        with pytest.raises(DAVError):
            calendar.events()[0].delete()
    with client(live_server.url, "wrong") as dav, pytest.raises(AuthorizationError):
        dav.principal()
    FeedToken.objects.update(revoked_at=NOW)
    with client(live_server.url, token) as dav, pytest.raises(AuthorizationError):
        dav.principal()


def test_a_synchronizer_copies_it_with_our_uids(scene: Scene, live_server: Any, tmp_path: Path) -> None:
    booking = Booking.objects.get(entry=scene.willow)
    config = tmp_path / "sync.conf"
    config.write_text(
        f'[general]\nstatus_path = "{tmp_path}/status"\n[pair jobs]\na = "here"\nb = "there"\ncollections = ["plan"]\n'
        'conflict_resolution = "b wins"\npartial_sync = "revert"\n'
        f'[storage here]\ntype = "filesystem"\npath = "{tmp_path}/copy/"\nfileext = ".ics"\n'
        f'[storage there]\ntype = "caldav"\nurl = "{live_server.url}/caldav/"\nusername = "ann"\nread_only = true\n'
        f'password = "{live_server.url}/feeds/{token_of(scene, booking)}.ics"\n',
        encoding="utf-8",
    )

    def copied() -> dict[str, Any]:
        for command in (["discover", "jobs"], ["sync", "jobs"]):
            done = subprocess.run(
                [str(Path(sys.executable).parent / "vdirsyncer"), "-c", str(config), *command],
                input="y\ny\n", text=True, capture_output=True, check=False,
            )  # fmt: skip
            assert done.returncode == 0, done.stderr[-2000:]
        texts = [path.read_bytes() for path in (tmp_path / "copy" / "plan").glob("*.ics")]
        events: list[Any] = [icalendar.Calendar.from_ical(text).walk("VEVENT")[0] for text in texts]
        return {str(item["UID"]): item["DTSTART"].dt for item in events}

    uid = f"booking-{booking.pk}@localhost"
    assert copied() == {uid: booking.starts}
    move(scene, scene.willow, 2, NOW + HOUR)
    assert copied() == {uid: booking.starts + timedelta(days=2)}


def test_odd_requests_are_answered_plainly(scene: Scene) -> None:
    token = token_of(scene, Booking.objects.get(entry=scene.willow))
    guest = Client()
    assert guest.generic("PROPFIND", "/caldav/").status_code == 401
    assert guest.generic("OPTIONS", "/caldav/")["DAV"] == "1, calendar-access"
    assert guest.get("/.well-known/caldav")["Location"] == "/caldav/"
    headers = {"Authorization": "Basic " + base64.b64encode(f":{token}".encode()).decode()}

    def ask(method: str, path: str, body: str = "") -> int:
        return guest.generic(method, path, body, headers=headers).status_code

    assert ask("PROPFIND", "/caldav/plan/", "<broken") == 400
    entity = (
        '<!DOCTYPE x [<!ENTITY a "b">]><propfind xmlns="DAV:"><prop><displayname>&a;</displayname></prop></propfind>'
    )
    assert ask("PROPFIND", "/caldav/plan/", entity) == 400
    assert ask("PROPFIND", "/caldav/plan/", "x" * 300_000) == 413
    assert ask("REPORT", "/caldav/plan/", '<expand-property xmlns="DAV:"/>') == 403
    assert ask("GET", "/caldav/plan/nothing.ics") == 404
    whole = guest.get("/caldav/plan/", headers=headers)
    assert whole.content == guest.get(f"/feeds/{token}.ics").content
    assert whole["ETag"] == guest.get(f"/feeds/{token}.ics")["ETag"]
    assert ask("PUT", "/caldav/plan/x.ics", "x") == 403
    assert ask("PROPFIND", "/caldav/elsewhere/") == 404
    stale = '<sync-collection xmlns="DAV:"><sync-token>urn:herdplan:old</sync-token><prop><getetag/></prop></sync-collection>'
    assert ask("REPORT", "/caldav/plan/", stale) == 403
