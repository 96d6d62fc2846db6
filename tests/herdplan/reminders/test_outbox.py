"""The outbox: nothing lost, nothing doubled but where it must be, the dead shown."""

from datetime import datetime, timedelta
from datetime import timezone as utc
from smtplib import SMTPDataError, SMTPRecipientsRefused, SMTPServerDisconnected
from typing import Any

import pytest
from django.core import mail
from django.core.mail import EmailMessage
from django.db import OperationalError
from django.test import Client
from django.utils import timezone

from accounts.models import User
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services import MAX_ATTEMPTS, claim, enqueue, health, key_of, run_once, send, sweep
from tests.factories.demo import published_demo
from tests.factories.people import make_coop

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 5, 1, 12, tzinfo=utc.utc)


def queue(dedup: str = "a", due: datetime = NOW, expires: datetime | None = None, now: datetime = NOW) -> None:
    """A message to one address."""
    enqueue(
        cooperative=None,
        user=None,
        channel="email",
        address="someone@example.org",
        purpose="test",
        subject="Subject",
        body="Body",
        dedup=dedup,
        due=due,
        expires=expires,
        now=now,
    )


def test_the_same_message_is_queued_once_and_sent_once() -> None:
    queue()
    queue()
    assert run_once(now=NOW) == 1
    assert run_once(now=NOW) == 0
    assert len(mail.outbox) == 1
    assert OutboxMessage.objects.get().dedup_key in mail.outbox[0].extra_headers["Message-ID"]


def test_nothing_is_sent_before_it_is_due_or_when_it_is_too_late() -> None:
    queue("early", due=NOW + timedelta(hours=1))
    queue("late", due=NOW - timedelta(hours=5), expires=NOW - timedelta(hours=1))
    run_once(now=NOW)
    assert not mail.outbox
    assert set(OutboxMessage.objects.values_list("state", flat=True)) == {"pending", "cancelled"}


def test_whoever_is_asked_to_stop_ends_after_the_message_in_hand_and_hands_back_the_others() -> None:
    for dedup in "abc":
        queue(dedup)
    assert run_once(now=NOW, stopped=lambda: len(mail.outbox) == 1) == 1
    rows = OutboxMessage.objects.values_list("state", "attempts", "lease_token")
    assert sorted(rows, key=str) == [("pending", 0, None), ("pending", 0, None), ("sent", 1, None)]
    assert run_once(now=NOW) == 2


def test_a_lost_senders_message_is_taken_up_again_with_the_same_id() -> None:
    queue()
    first = claim(now=NOW)[0]
    assert claim(now=NOW + timedelta(seconds=60)) == []
    assert claim(now=NOW + timedelta(seconds=200)) == []  # over; a clock may have been set forward, so once more
    assert claim(now=NOW + timedelta(seconds=360)) == []
    again = claim(now=NOW + timedelta(seconds=381))[0]
    assert again.pk == first.pk
    send(first, now=NOW)  # the lost sender wakes up: the message is no longer its own, so it keeps its hands off
    assert not mail.outbox
    assert OutboxMessage.objects.get().state == "leased"
    send(again, now=NOW)
    assert OutboxMessage.objects.get().state == "sent"
    assert [message.extra_headers["Message-ID"] for message in mail.outbox] == [f"<{again.dedup_key}@localhost>"]


def test_a_clock_set_forward_while_a_message_is_under_way_repeats_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """While one process talks to the mail server the clock leaps, and another looks for work, again and again."""
    queue()
    real = EmailMessage.send

    def slow(mail_: Any, fail_silently: bool = False) -> int:
        for ahead in (timedelta(hours=1), timedelta(hours=1, seconds=100), -timedelta(hours=2), timedelta(0)):
            run_once(now=NOW + ahead)
        return real(mail_, fail_silently)

    monkeypatch.setattr("django.core.mail.EmailMessage.send", slow)
    run_once(now=NOW)
    assert OutboxMessage.objects.get().state == "sent"
    assert len(mail.outbox) == 1


def test_what_left_before_the_commit_was_lost_is_not_sent_twice() -> None:
    """A sender lost after sending, a locked database, an old backup: the row says waiting, the journal says sent."""
    queue()
    run_once(now=NOW)
    OutboxMessage.objects.update(state="pending", sent_at=None, attempts=0)
    run_once(now=NOW)
    assert OutboxMessage.objects.get().state == "sent"
    assert len(mail.outbox) == 1


@pytest.mark.django_db(transaction=True)
def test_a_locked_database_after_sending_is_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """The update fails twice after the mail has left; the third try writes it down."""
    queue()
    faults = iter([OperationalError("database is locked"), OperationalError("database is locked")])
    real = OutboxMessage.objects.none().__class__.update

    def update(rows: Any, **values: Any) -> int:
        fault = next(faults, None) if values.get("state") == "sent" else None
        if fault is not None:
            raise fault
        return int(real(rows, **values))

    monkeypatch.setattr("django.db.models.query.QuerySet.update", update)
    run_once(now=NOW)
    assert OutboxMessage.objects.get().state == "sent"
    assert len(mail.outbox) == 1


def test_a_clock_that_ran_ahead_holds_nothing_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lease, a wait for a retry and an expiry, all written by a clock one day ahead; then the clock is put right."""
    coop, ahead = make_coop(), NOW + timedelta(days=1)
    for name in ("leased", "refused for now", "expired"):
        queue(name, expires=NOW + timedelta(hours=2) if name == "expired" else None)
    OutboxMessage.objects.update(cooperative=coop)
    rows = {row.dedup_key: row for row in claim(now=ahead)}
    with monkeypatch.context() as patched:
        patched.setattr("django.core.mail.EmailMessage.send", _raise(SMTPServerDisconnected("gone")))
        send(rows[key_of("refused for now")], now=ahead)
    send(rows[key_of("expired")], now=ahead)
    assert not mail.outbox
    sweep(now=NOW)
    run_once(now=NOW)
    states = dict(OutboxMessage.objects.values_list("dedup_key", "state"))
    assert states == {key_of("refused for now"): "sent", key_of("expired"): "sent", key_of("leased"): "leased"}
    for seconds in (
        181,
        362,
    ):  # whoever holds the lease has one more lease's time to finish, and another where it is over
        run_once(now=NOW + timedelta(seconds=seconds))
    assert OutboxMessage.objects.filter(state="sent").count() == 3
    assert len(mail.outbox) == 3


def test_what_was_to_go_at_once_goes_at_once_though_a_clock_ran_ahead_when_it_was_made() -> None:
    ahead = NOW + timedelta(days=2)
    queue("news of the plan", due=ahead, now=ahead)
    queue("a reminder of then", due=ahead, now=NOW)
    run_once(now=NOW)
    states = dict(OutboxMessage.objects.values_list("dedup_key", "state"))
    assert states == {key_of("news of the plan"): "sent", key_of("a reminder of then"): "pending"}


def _raise(fault: Exception) -> Any:
    def failing(self: Any, fail_silently: bool = False) -> int:
        raise fault

    return failing


FAULTS = [
    (SMTPDataError(451, b"try later"), "pending"),
    (SMTPServerDisconnected("gone"), "pending"),
    (SMTPDataError(550, b"no such mailbox"), "dead"),
    (SMTPRecipientsRefused({"someone@example.org": (550, b"unknown")}), "dead"),
    (SMTPRecipientsRefused({"someone@example.org": (450, b"busy")}), "pending"),
]


@pytest.mark.parametrize(("fault", "state"), FAULTS)
def test_what_a_mail_server_says_decides(monkeypatch: pytest.MonkeyPatch, fault: Exception, state: str) -> None:
    monkeypatch.setattr("django.core.mail.EmailMessage.send", _raise(fault))
    queue()
    send(claim(now=NOW)[0], now=NOW)
    row = OutboxMessage.objects.get()
    assert row.state == state
    assert row.last_error
    assert state == "dead" or (row.retry_at is not None and row.retry_at > NOW)


def test_after_six_tries_it_is_dead_and_a_coordinator_can_send_it_again(monkeypatch: pytest.MonkeyPatch) -> None:
    season = published_demo(rounds=0)
    queue()
    OutboxMessage.objects.update(cooperative=season.cooperative)
    with monkeypatch.context() as patched:
        patched.setattr("django.core.mail.EmailMessage.send", _raise(SMTPServerDisconnected("gone")))
        now = NOW
        for _ in range(MAX_ATTEMPTS):
            run_once(now=now)
            now += timedelta(hours=3)
    row = OutboxMessage.objects.get()
    assert (row.state, row.attempts) == ("dead", MAX_ATTEMPTS)
    person = Client()
    person.force_login(User.objects.get(email="coordinator@demo.example"))
    assert "Could not be sent" in person.get("/c/high-fork/messages/").content.decode()
    person.post(f"/c/high-fork/messages/{row.pk}/again/")
    run_once(now=timezone.now() + timedelta(seconds=1))
    assert OutboxMessage.objects.get().state == "sent"


def test_health_says_when_messages_wait_too_long() -> None:
    assert Client().get("/healthz").json()["healthy"] is True
    queue(due=timezone.now() - timedelta(hours=1))
    answer = Client().get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["oldest_overdue_reminder_seconds"] > 3500
    assert health(now=NOW, tolerated=timedelta(minutes=15)).database
