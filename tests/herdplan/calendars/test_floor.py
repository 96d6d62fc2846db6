"""SEQUENCE never falls: an older plan published again, an older database brought back. What a calendar holds gives way.

The older database is a savepoint that is rolled back: rows are then exactly as they were, while the files beside the
database, the mail that has left and what calendars hold stay.
"""

import os
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import icalendar
import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import Client

from accounts.models import Membership
from herdplan.calendars import floor, memory
from herdplan.calendars.invitations import sweep
from herdplan.calendars.models import FeedToken, HighWater
from herdplan.calendars.places import refresh_places
from herdplan.calendars.services import digest
from herdplan.calendars.taking_back import forgotten
from herdplan.reminders.services import run_once
from scheduling.models import Booking
from tests.clients.receiver import Receiver, mail_server
from tests.factories.changes import hand_over, move, publish_plan
from tests.factories.clock import stand_still
from tests.factories.people import make_person
from tests.factories.plans import NOW, Scene, make_scene

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def scene() -> Scene:
    """A published season; both technicians sign in."""
    made = make_scene()
    made.bo.user = make_person(made.coop, email="bo@example.org")
    made.bo.save()
    Membership.objects.create(cooperative=made.coop, user=made.bo.user, role="technician")
    publish_plan(made)
    return made


@pytest.fixture
def mail(settings: Any) -> Iterator[Receiver]:
    """A real mail server with the receivers' calendars behind it."""
    with mail_server(Receiver(), settings) as receiver:
        yield receiver


class Subscriber:
    """A calendar that keeps the highest SEQUENCE of a UID, as RFC 5546, 2.1.5 has it, and tells what it had to ignore."""

    def __init__(self, scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
        self.monkeypatch = monkeypatch
        FeedToken.objects.create(
            cooperative=scene.coop, owner=scene.coordinator.user, name="x", kind="coop", token_hash=digest("t" * 40)
        )
        self.held: dict[str, tuple[int, Any]] = {}

    def fetch(self, now: datetime) -> list[str]:
        """Read the feed; UIDs whose new content came with a SEQUENCE that is not higher."""
        stand_still(self.monkeypatch, now)
        answer = Client().get(f"/feeds/{'t' * 40}.ics")
        assert answer.status_code == 200
        ignored = []
        for event in icalendar.Calendar.from_ical(answer.content).walk("VEVENT"):
            uid, version = str(event["UID"]), int(str(event["SEQUENCE"]))
            said = (event["DTSTART"].to_ical(), str(event["SUMMARY"]), str(event["DESCRIPTION"]))
            known, content = self.held.get(uid, (-1, None))
            if said != content and version <= known:
                ignored.append(uid)
            assert version >= known, f"{uid} fell from {known} to {version}"
            assert version < 2**31
            self.held[uid] = (version, said)
        return ignored


def test_an_older_plan_published_again_comes_with_higher_versions(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone, older = Subscriber(scene, monkeypatch), scene.season.published_plan
    assert phone.fetch(NOW) == []
    begins = {row.pk: row.starts for row in Booking.objects.filter(status="confirmed")}
    move(scene, scene.willow, 2, NOW + HOUR)
    assert phone.fetch(NOW + HOUR) == []
    publish_plan(scene, older, NOW + 2 * HOUR)
    assert phone.fetch(NOW + 2 * HOUR) == []
    assert {row.pk: row.starts for row in Booking.objects.filter(status="confirmed")} == begins


def test_an_older_database_is_noticed_and_every_calendar_follows_it(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = Subscriber(scene, monkeypatch)
    refresh_places(now=NOW)
    assert floor.look(now=NOW) is False
    phone.fetch(NOW)
    copy = transaction.savepoint()
    for hours in (1, 2, 3):  # three versions that the copy does not know
        move(scene, scene.willow, 2 if hours % 2 else -2, NOW + hours * HOUR)
        assert phone.fetch(NOW + hours * HOUR) == []
    assert floor.look(now=NOW + 3 * HOUR) is False
    transaction.savepoint_rollback(copy)
    assert floor.look(now=NOW + 4 * HOUR) is True
    assert phone.fetch(NOW + 4 * HOUR) == []
    assert floor.look(now=NOW + 5 * HOUR) is False
    scene.season.refresh_from_db()
    move(scene, scene.willow, 2, NOW + 5 * HOUR)
    assert phone.fetch(NOW + 5 * HOUR) == []


def test_a_second_older_database_rises_above_the_first(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    phone = Subscriber(scene, monkeypatch)
    copy = transaction.savepoint()
    for hours in (1, 2):
        move(scene, scene.willow, 2, NOW + hours * HOUR)
        phone.fetch(NOW + hours * HOUR)
        transaction.savepoint_rollback(copy)
        copy = transaction.savepoint()
        scene.season.refresh_from_db()
        floor.raise_floor(now=NOW + hours * HOUR + timedelta(minutes=1))
        assert phone.fetch(NOW + hours * HOUR + timedelta(minutes=1)) == []


def test_who_was_told_of_what_is_lost_is_told_what_stands_and_nobody_else(scene: Scene, mail: Receiver) -> None:
    sweep(now=NOW)
    run_once(now=NOW)
    calendars = {address: {uid: entry.starts for uid, entry in box.items()} for address, box in mail.calendars.items()}
    floor.look(now=NOW)
    copy = transaction.savepoint()
    move(scene, scene.willow, 2, NOW + HOUR)
    sweep(now=NOW + HOUR)
    run_once(now=NOW + HOUR)
    floor.look(now=NOW + HOUR)
    moved = {address: {uid: entry.starts for uid, entry in box.items()} for address, box in mail.calendars.items()}
    assert moved != calendars
    transaction.savepoint_rollback(copy)
    mails = len(mail.mails)
    assert floor.look(now=NOW + 2 * HOUR) is True
    sweep(now=NOW + 2 * HOUR)
    run_once(now=NOW + 2 * HOUR)
    again = {address: {uid: entry.starts for uid, entry in box.items()} for address, box in mail.calendars.items()}
    assert again == calendars
    changed = sum(moved[address] != calendars[address] for address in calendars)
    assert len(mail.mails) - mails == changed
    assert sweep(now=NOW + 3 * HOUR) == 0


def gathered(scene: Scene, mail: Receiver, now: datetime) -> dict[str, set[str]]:
    """Sweep, send; UIDs that stand in each person's calendar."""
    sweep(now=now)
    run_once(now=now)
    return {
        address: {uid for uid, entry in box.items() if entry.status != "CANCELLED"}
        for address, box in mail.calendars.items()
    }


def test_what_the_older_database_never_knew_is_called_off(scene: Scene, mail: Receiver, settings: Any) -> None:
    before = gathered(scene, mail, NOW)
    floor.look(now=NOW)
    copy = transaction.savepoint()
    _, new = hand_over(scene, NOW + HOUR)  # another technician is another booking, with a UID of its own
    assert new.technician.user is not None
    address, uid = new.technician.user.email, f"booking-{new.pk}@localhost"
    later = gathered(scene, mail, NOW + HOUR)
    assert uid in later[address]
    assert all(address.encode() not in path.read_bytes() for path in settings.OUTBOX_JOURNAL.glob("invited-*"))
    floor.look(now=NOW + HOUR)
    transaction.savepoint_rollback(copy)
    assert not Booking.objects.filter(pk=new.pk)
    assert floor.look(now=NOW + 2 * HOUR) is True
    assert gathered(scene, mail, NOW + 2 * HOUR) == {address: set(), **before}
    assert mail.faults == []
    mails = len(mail.mails)
    floor.raise_floor(now=NOW + 3 * HOUR)  # told to do it once more: nothing is called off twice
    sweep(now=NOW + 3 * HOUR)
    run_once(now=NOW + 3 * HOUR)
    assert [str(letter["Subject"]) for _, letter in mail.mails[mails:] if "Cancelled" in str(letter["Subject"])] == []


def test_the_same_copy_brought_back_twice_calls_off_once(scene: Scene, mail: Receiver) -> None:
    gathered(scene, mail, NOW)
    copy = transaction.savepoint()
    hand_over(scene, NOW + HOUR)
    gathered(scene, mail, NOW + HOUR)
    counts = []
    for hours in (2, 3):
        transaction.savepoint_rollback(copy)
        copy = transaction.savepoint()
        floor.raise_floor(now=NOW + hours * HOUR)
        mails = len(mail.mails)
        gathered(scene, mail, NOW + hours * HOUR)
        counts.append(sum("Cancelled" in str(letter["Subject"]) for _, letter in mail.mails[mails:]))
    assert counts == [1, 0]


def test_a_step_that_the_copy_knows_is_asked_anew_and_not_called_off(scene: Scene, mail: Receiver) -> None:
    copy = transaction.savepoint()  # before anybody was invited
    told = gathered(scene, mail, NOW)
    transaction.savepoint_rollback(copy)
    floor.raise_floor(now=NOW + HOUR)
    assert forgotten(now=NOW + HOUR) == []
    assert gathered(scene, mail, NOW + HOUR) == told
    assert not any("Cancelled" in str(letter["Subject"]) for _, letter in mail.mails)


def test_what_is_over_is_not_called_off_and_lines_go_after_a_time(scene: Scene, mail: Receiver, settings: Any) -> None:
    gathered(scene, mail, NOW)
    assert list(settings.OUTBOX_JOURNAL.glob("invited-*"))
    assert memory.standing(NOW) != []
    assert memory.standing(NOW + timedelta(days=60)) == []
    assert list(settings.OUTBOX_JOURNAL.glob("invited-*"))
    memory.standing(NOW + timedelta(days=150))
    assert list(settings.OUTBOX_JOURNAL.glob("invited-*")) == []


def test_without_the_journal_everybody_is_told_what_stands(scene: Scene, mail: Receiver, settings: Any) -> None:
    told = sweep(now=NOW)
    run_once(now=NOW)
    for path in settings.OUTBOX_JOURNAL.glob("*"):
        os.unlink(path)
    floor.raise_floor(now=NOW + HOUR)
    assert sweep(now=NOW + HOUR) == told


def test_a_cancellation_after_it_stands_above_what_was_told(scene: Scene, mail: Receiver) -> None:
    sweep(now=NOW)
    run_once(now=NOW)
    copy = transaction.savepoint()
    for hours in (1, 2):
        move(scene, scene.willow, 2 if hours % 2 else -2, NOW + hours * HOUR)
        sweep(now=NOW + hours * HOUR)
        run_once(now=NOW + hours * HOUR)
    transaction.savepoint_rollback(copy)
    floor.raise_floor(now=NOW + 3 * HOUR)
    scene.season.refresh_from_db()
    old, _ = hand_over(scene, NOW + 3 * HOUR)
    sweep(now=NOW + 3 * HOUR)
    run_once(now=NOW + 3 * HOUR)
    assert old.technician.user is not None
    assert f"booking-{old.pk}@localhost" not in {
        uid for uid, entry in mail.calendars[old.technician.user.email].items() if entry.status != "CANCELLED"
    }
    assert mail.faults == []


def test_the_count_follows_no_clock_and_a_lost_file_is_no_alarm(scene: Scene, settings: Any) -> None:
    for hours in (0, 5, -5, 1):
        assert floor.look(now=NOW + hours * HOUR) is False
    assert HighWater.objects.get().looks == 4
    (settings.OUTBOX_JOURNAL / "looks").unlink()
    assert floor.look(now=NOW) is False
    (settings.OUTBOX_JOURNAL / "looks").write_text("torn", encoding="ascii")
    assert floor.look(now=NOW) is False


def test_the_command_lifts_all_versions(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    phone = Subscriber(scene, monkeypatch)
    phone.fetch(NOW)
    call_command("lift_versions")
    assert HighWater.objects.get().looks >= 1_000_000
    assert phone.fetch(NOW + HOUR) == []
