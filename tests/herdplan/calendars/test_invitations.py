"""Invitations: asked, changed, taken back, handed over; answered by link and by mail; nothing lost, nothing doubled."""

from datetime import datetime, timedelta
from smtplib import SMTPServerDisconnected
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone

from accounts.models import Membership, User
from herdplan.calendars.answers import LINK_LASTS
from herdplan.calendars.invitations import _ask, _stops, answer_link, sweep
from herdplan.calendars.models import Attendance, CalendarChoice, FeedToken, Letter
from herdplan.calendars.places import refresh_places
from herdplan.calendars.replies import replies_in
from herdplan.calendars.services import channel_of, choose_channel
from herdplan.reminders.channels import deliver
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services import run_once
from scheduling.models import Booking, PlannedStep
from tests.clients.imap import Box, imap_server
from tests.clients.receiver import Receiver, mail_server, reply
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


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The season lies ahead."""
    stand_still(monkeypatch, NOW)


@pytest.fixture
def mail(settings: Any) -> Any:
    """A real mail server with the receivers' calendars behind it."""
    with mail_server(Receiver(), settings) as receiver:
        yield receiver


def tell(now: datetime) -> int:
    """Write what must be told, and send it."""
    told = sweep(now=now)
    run_once(now=now)
    return told


def address_of(booking: Booking) -> str:
    """The technician's address."""
    assert booking.technician.user is not None
    return booking.technician.user.email


def uid(booking: Booking) -> str:
    """As calendars know it."""
    return f"booking-{booking.pk}@localhost"


def test_each_booked_technician_is_asked_once(scene: Scene, mail: Receiver) -> None:
    bookings = Booking.objects.select_related("technician__user")
    assert tell(NOW) == bookings.count() > 1
    assert tell(NOW) == 0
    assert len(mail.mails) == bookings.count()
    for booking in bookings:
        entry = mail.calendars[address_of(booking)][uid(booking)]
        assert (entry.sequence, entry.status, entry.starts) == (0, "CONFIRMED", booking.starts)
    assert mail.faults == []


def test_the_mail_has_text_a_calendar_part_and_the_same_as_an_attachment(scene: Scene, mail: Receiver) -> None:
    tell(NOW)
    _, message = mail.mails[0]
    text, part, attached = [item for item in message.walk() if not item.is_multipart()]
    assert text.get_content_type() == "text/plain"
    assert "/answer/" in text.get_content()
    assert 'method="REQUEST"' in part["Content-Type"] or "method=REQUEST" in part["Content-Type"]
    assert attached.get_content_disposition() == "attachment"
    assert attached.get_payload(decode=True) == part.get_payload(decode=True)


def test_a_moved_booking_keeps_its_uid_with_the_next_sequence(scene: Scene, mail: Receiver) -> None:
    tell(NOW)
    before = {row.pk: row.starts for row in Booking.objects.all()}
    move(scene, scene.willow, 2, NOW + HOUR)
    moved = Booking.objects.filter(entry=scene.willow).select_related("technician__user").get()
    assert tell(NOW + HOUR) == 1
    entry = mail.calendars[address_of(moved)][uid(moved)]
    assert (entry.sequence, entry.status) == (1, "CONFIRMED")
    assert entry.starts == moved.starts == before[moved.pk] + timedelta(days=2)
    assert mail.mails[-1][1]["Subject"].startswith("Changed: ")
    assert "(It was Monday 10 May, " in mail.mails[-1][1].get_body(("plain",)).get_content()  # type: ignore[union-attr]
    assert mail.faults == []


def test_another_technician_means_a_cancel_and_a_new_request(scene: Scene, mail: Receiver) -> None:
    tell(NOW)
    old, new = hand_over(scene, NOW + HOUR)
    tell(NOW + HOUR)
    gone, come = mail.calendars[address_of(old)][uid(old)], mail.calendars[address_of(new)][uid(new)]
    assert (gone.status, gone.sequence) == ("CANCELLED", 1)
    assert (come.status, come.sequence, come.starts) == ("CONFIRMED", 0, new.starts)
    assert uid(old) != uid(new)
    assert mail.faults == []


def test_a_cancel_is_not_sent_to_who_was_never_told(scene: Scene, mail: Receiver) -> None:
    sweep(now=NOW)
    old, _ = hand_over(scene, NOW + HOUR)
    tell(NOW + HOUR)
    assert uid(old) not in mail.calendars.get(address_of(old), {})
    assert OutboxMessage.objects.filter(letter__attendance__booking=old, state="cancelled").count() == 1


def test_a_lost_connection_repeats_the_same_message(
    scene: Scene, mail: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries = iter([True, False])

    def once(message: Any) -> None:
        deliver(message)
        if next(tries, False):
            raise SMTPServerDisconnected("gone after the 250")

    monkeypatch.setattr("herdplan.calendars.sender.deliver", once)
    tell(NOW)
    run_once(now=NOW + HOUR)
    ids = [(to, str(message["Message-ID"])) for to, message in mail.mails]
    assert len(ids) == len(set(ids)) + 1
    assert mail.faults == []


def test_a_refused_address_is_dead_and_a_busy_server_is_tried_again(scene: Scene, mail: Receiver) -> None:
    people = {address_of(row) for row in Booking.objects.select_related("technician__user")}
    busy, gone = sorted(people)
    mail.refuse = {busy: "451 later", gone: "550 no such box"}
    tell(NOW)
    states = set(OutboxMessage.objects.values_list("address", "state"))
    assert states == {(busy, "pending"), (gone, "dead")}
    mail.refuse = {gone: "550 no such box"}
    run_once(now=NOW + 2 * HOUR)
    assert OutboxMessage.objects.get(address=busy).state == "sent"
    page = Client()
    page.force_login(scene.coordinator.user)
    Attendance.objects.update(ends=timezone.now() + timedelta(days=400))
    assert "Could not be sent" in page.get("/c/north/feeds/answers/").content.decode()


def test_what_a_lost_process_left_is_made_up_by_the_next_sweep(
    scene: Scene, mail: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    count = Booking.objects.count()
    with monkeypatch.context() as lost:
        lost.setattr("herdplan.calendars.invitations.enqueue", _stop)
        with pytest.raises(KeyboardInterrupt):
            sweep(now=NOW)
    assert not Attendance.objects.exists()
    assert tell(NOW) == count == len(mail.mails)


def test_a_second_sweep_at_the_same_moment_doubles_nothing(
    scene: Scene, mail: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    sweep(now=NOW)
    letters = Letter.objects.count()
    late = askings()
    assert len(late) == letters
    # The other one looked before the first had written.
    monkeypatch.setattr("herdplan.calendars.invitations._locked", lambda rows: None)
    assert [_ask(asking, NOW) for asking in late] == [0] * letters
    assert Letter.objects.count() == letters == OutboxMessage.objects.count()


def askings() -> list[Any]:
    """What a sweep that saw nothing told would ask."""
    with transaction.atomic():
        kept = list(Attendance.objects.values_list("pk", flat=True))
        Attendance.objects.filter(pk__in=kept).update(version=99)
        found = list(_stops(NOW))
        transaction.set_rollback(True)
    return found


def test_after_an_old_backup_the_same_message_is_written_again(scene: Scene, mail: Receiver) -> None:
    tell(NOW)
    link = link_path(Attendance.objects.order_by("starts")[0])
    Attendance.objects.all().delete()  # as if the backup were older than the asking
    OutboxMessage.objects.all().delete()
    tell(NOW + HOUR)
    ids = [(to, str(message["Message-ID"])) for to, message in mail.mails]
    assert len(set(ids)) == Letter.objects.count() > 1  # whatever is sent again is the same message
    assert Client().get(link).status_code == 200  # links of before still answer
    assert mail.faults == []


def _stop(**_: Any) -> None:
    raise KeyboardInterrupt


def link_path(row: Attendance) -> str:
    """The path of the link in the mail."""
    return answer_link(row).removeprefix("http://localhost:8000")


def in_time() -> Attendance:
    """An asking whose booking lies ahead of the test's real clock, as the page needs it."""
    return Attendance.objects.select_related("booking").order_by("starts")[0]


def test_the_link_answers_without_login_and_shows_on_the_plan(scene: Scene, mail: Receiver) -> None:
    tell(NOW)
    row = in_time()
    assert row.booking is not None
    guest = Client()
    page = guest.get(link_path(row))
    assert page.status_code == 200
    assert page["Referrer-Policy"] == "same-origin"
    row.refresh_from_db()
    assert row.answer == ""  # opening it says nothing
    assert guest.post(link_path(row), {"answer": "perhaps", "sequence": row.sequence}).status_code == 400
    taken = guest.post(link_path(row), {"answer": "declined", "sequence": row.sequence, "comment": "Truck in the shop"})
    assert "Written down: declined" in taken.content.decode()
    row.booking.refresh_from_db()
    assert row.booking.answer == "declined"
    coordinator = Client()
    coordinator.force_login(scene.coordinator.user)
    answers = coordinator.get("/c/north/feeds/answers/").content.decode()
    assert "Declined" in answers
    assert "Truck in the shop" in answers
    board = coordinator.get(f"/c/north/seasons/{scene.season.pk}/").content.decode()
    assert f"✕ {row.booking.technician.name} declined" in board
    week = f"/c/north/week/{row.booking.technician_id}/?from={row.booking.starts:%Y-%m-%d}"
    assert "Declined" in coordinator.get(week).content.decode()


def test_a_change_asks_anew_and_an_answer_to_the_old_time_is_not_taken(scene: Scene, mail: Receiver) -> None:
    tell(NOW)
    row = Attendance.objects.get(booking__entry=scene.willow)
    assert row.booking is not None
    guest, old_link = Client(), link_path(row)
    guest.post(old_link, {"answer": "accepted", "sequence": row.sequence})
    move(scene, scene.willow, 2, NOW + HOUR)
    row.booking.refresh_from_db()
    assert row.booking.answer == ""
    tell(NOW + HOUR)
    stale = guest.post(old_link, {"answer": "accepted", "sequence": 0})
    assert "changed while you looked" in stale.content.decode()
    assert "It has changed since that message" in guest.get(old_link).content.decode()
    guest.post(old_link, {"answer": "accepted", "sequence": 1})
    row.booking.refresh_from_db()
    assert row.booking.answer == "accepted"


def test_links_that_are_old_broken_or_over_say_so(
    scene: Scene, mail: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    tell(NOW)
    row = Attendance.objects.all()[0]
    path = link_path(row)
    assert Client().get(path[:-3] + "x/").status_code == 410
    assert Client().get("/answer/nothing/").status_code == 410
    Attendance.objects.update(ends=timezone.now() - HOUR)
    assert "This is over" in Client().get(path).content.decode()
    Attendance.objects.update(ends=timezone.now() + HOUR, state="withdrawn")
    assert "You need not come" in Client().get(path).content.decode()
    monkeypatch.setattr("herdplan.calendars.answers.LINK_LASTS", -LINK_LASTS)
    assert "too old" in Client().get(path).content.decode()


def test_replies_are_read_from_a_mailbox(scene: Scene, mail: Receiver, settings: Any, capsys: Any) -> None:
    tell(NOW)
    box = Box()
    rows = {row.address: row for row in Attendance.objects.all()}
    answers, sent = iter(["ACCEPTED", "TENTATIVE"]), timezone.now()
    for to, message in dict(mail.mails).items():
        box.add(reply(message, next(answers), sent, comment="On my way", attendee=f"MAILTO:{to.upper()}"))
        box.add(reply(message, "DECLINED", sent - HOUR))  # sent before, arrives after
        box.add(reply(message, "DECLINED", sent, attendee="mailto:somebody@example.org"))
    box.add(b"Subject: lunch?\n\nAt noon\n")
    box.add(b"Content-Type: text/calendar; method=REPLY\n\nBEGIN:VCALENDAR\nnonsense\n")
    with imap_server(box, settings):
        call_command("read_replies", "--once")
        assert capsys.readouterr().out.strip() == "1 no reply, 2 not asked, 2 outdated, 2 taken, 1 unreadable"
        call_command("read_replies", "--once")
        assert capsys.readouterr().out.strip() == "nothing new"
    assert sorted(
        Attendance.objects.filter(pk__in=[row.pk for row in rows.values()]).values_list("answer", flat=True)
    ) == [
        "accepted",
        "tentative",
    ]
    assert set(Booking.objects.values_list("answer", flat=True)) == {"accepted", "tentative"}
    assert set(Attendance.objects.values_list("answered_by", "comment")) == {("mail", "On my way")}


def test_a_reply_to_an_earlier_sequence_is_outdated(scene: Scene, mail: Receiver, settings: Any, capsys: Any) -> None:
    tell(NOW)
    row = Attendance.objects.get(booking__entry=scene.willow)
    message = next(message for to, message in mail.mails if to == row.address)
    move(scene, scene.willow, 2, NOW + HOUR)
    tell(NOW + HOUR)
    box = Box()
    box.add(reply(message, "ACCEPTED", timezone.now()))
    with imap_server(box, settings):
        call_command("read_replies", "--once")
    assert capsys.readouterr().out.strip() == "1 outdated"
    assert Booking.objects.get(entry=scene.willow).answer == ""


def test_a_mailbox_that_cannot_be_read_is_said_plainly(settings: Any) -> None:
    with pytest.raises(CommandError, match="HERDPLAN_IMAP_HOST"):
        call_command("read_replies", "--once")
    with imap_server(Box(), settings):
        settings.IMAP_PASSWORD = "wrong"
        with pytest.raises(CommandError, match="login"):
            call_command("read_replies", "--once")


def test_a_reply_is_found_in_an_attachment_and_counted_once() -> None:
    text = (
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nMETHOD:REPLY\r\nBEGIN:VEVENT\r\nUID:u\r\nDTSTAMP:20270401T000000Z\r\n"
        "ATTENDEE;PARTSTAT=ACCEPTED:mailto:a@b.c\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    part = f"--b\r\nContent-Type: application/ics\r\nContent-Disposition: attachment\r\n\r\n{text}\r\n"
    raw = f"Content-Type: multipart/mixed; boundary=b\r\n\r\n{part}{part}--b--\r\n"
    assert [(item.uid, item.address, item.answer, item.sequence) for item in replies_in(raw.encode())] == [
        ("u", "a@b.c", "accepted", 0)
    ]


def test_one_channel_a_person(scene: Scene, mail: Receiver) -> None:
    technician = scene.technician.user
    assert channel_of(technician) == "invitations"
    tell(NOW)
    mine = Attendance.objects.filter(user=technician)
    assert mine.count() == 1
    page = Client()
    page.force_login(technician)
    made = page.post("/c/north/feeds/", {"shows": f"technician:{scene.ann.pk}", "name": "phone"}).content.decode()
    assert "Invitations that were sent to you are taken back" in made
    assert channel_of(technician) == "feed"
    tell(NOW + HOUR)
    assert [entry.status for entry in mail.calendars[technician.email].values()] == ["CANCELLED"]
    assert choose_channel(user=technician, channel="invitations", now=NOW + HOUR) == 1
    tell(NOW + 2 * HOUR)
    (entry,) = mail.calendars[technician.email].values()
    assert (entry.status, entry.sequence) == ("CONFIRMED", 2)
    assert FeedToken.objects.get().revoked_at is not None
    refused = page.post("/c/north/feeds/", {"shows": f"technician:{scene.ann.pk}", "name": "again"})
    assert "would show them twice" in refused.content.decode()
    assert page.post("/c/north/feeds/channel/", {"way-channel": "feed"}).status_code == 302
    assert CalendarChoice.objects.get(user=technician).channel == "feed"
    assert mail.faults == []


def test_a_rancher_who_chose_invitations_is_asked_to_the_ranchs_chute_trips(scene: Scene, mail: Receiver) -> None:
    rancher = scene.rancher.user
    choose_channel(user=rancher, channel="invitations", now=NOW)
    tell(NOW)
    steps = PlannedStep.objects.filter(ranch=scene.home, key__in=("gnrh1", "out", "ai"))
    assert set(mail.calendars[rancher.email]) == {f"step-{step.pk}@localhost" for step in steps}
    scene.home.people.remove(rancher)
    tell(NOW + HOUR)
    assert {entry.status for entry in mail.calendars[rancher.email].values()} == {"CANCELLED"}
    assert mail.faults == []


def test_who_leaves_the_coop_or_changes_address_is_told_there(scene: Scene, mail: Receiver) -> None:
    tell(NOW)
    technician = scene.technician.user
    before = technician.email
    User.objects.filter(pk=technician.pk).update(email="new@example.org")
    tell(NOW + HOUR)
    assert [entry.status for entry in mail.calendars[before].values()] == ["CANCELLED"]
    assert [entry.status for entry in mail.calendars["new@example.org"].values()] == ["CONFIRMED"]
    Membership.objects.filter(user=technician).delete()
    tell(NOW + 2 * HOUR)
    assert [entry.status for entry in mail.calendars["new@example.org"].values()] == ["CANCELLED"]
    assert mail.faults == []


def test_a_ranchs_new_directions_are_told_and_keep_the_answer(scene: Scene, mail: Receiver) -> None:
    refresh_places(now=NOW)
    tell(NOW)
    row = Attendance.objects.get(booking__entry=scene.willow)
    Client().post(link_path(row), {"answer": "accepted", "sequence": 0})
    scene.home.directions = "North gate, code from the coordinator"
    scene.home.save()
    assert refresh_places(now=NOW + HOUR) == 1
    assert tell(NOW + HOUR) == 1
    row.refresh_from_db()
    assert (row.sequence, row.answer) == (1, "accepted")
    assert "PARTSTAT=ACCEPTED" in Letter.objects.get(attendance=row, sequence=1).text
    assert mail.faults == []
