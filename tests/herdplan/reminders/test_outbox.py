"""The outbox: nothing lost, nothing doubled but where it must be, the dead shown."""

from datetime import datetime, timedelta
from datetime import timezone as utc
from smtplib import SMTPDataError, SMTPRecipientsRefused, SMTPServerDisconnected
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.utils import timezone

from accounts.models import User
from herdplan.reminders.evening import PURPOSE, sweep
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services import MAX_ATTEMPTS, claim, enqueue, health, run_once, send
from scheduling.models import PlannedStep
from tests.factories.demo import published_demo

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 5, 1, 12, tzinfo=utc.utc)


def queue(dedup: str = "a", due: datetime = NOW, expires: datetime | None = None) -> None:
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
        now=NOW,
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


def test_a_lost_senders_message_is_taken_up_again_with_the_same_id() -> None:
    queue()
    first = claim(now=NOW)[0]
    assert claim(now=NOW + timedelta(seconds=60)) == []
    again = claim(now=NOW + timedelta(seconds=200))[0]
    assert again.pk == first.pk
    send(first, now=NOW)  # the lost sender wakes up: it sends, but its finish is fenced off
    assert OutboxMessage.objects.get().state == "leased"
    send(again, now=NOW)
    assert OutboxMessage.objects.get().state == "sent"
    assert len({message.extra_headers["Message-ID"].split("@")[0] for message in mail.outbox}) == 1


FAULTS = [
    (SMTPDataError(451, b"try later"), "pending"),
    (SMTPServerDisconnected("gone"), "pending"),
    (SMTPDataError(550, b"no such mailbox"), "dead"),
    (SMTPRecipientsRefused({"someone@example.org": (550, b"unknown")}), "dead"),
    (SMTPRecipientsRefused({"someone@example.org": (450, b"busy")}), "pending"),
]


@pytest.mark.parametrize(("fault", "state"), FAULTS)
def test_what_a_mail_server_says_decides(monkeypatch: pytest.MonkeyPatch, fault: Exception, state: str) -> None:
    def failing(self: Any, fail_silently: bool = False) -> int:
        raise fault

    monkeypatch.setattr("django.core.mail.EmailMessage.send", failing)
    queue()
    send(claim(now=NOW)[0], now=NOW)
    row = OutboxMessage.objects.get()
    assert row.state == state
    assert row.last_error
    assert state == "dead" or row.due > NOW


def test_after_six_tries_it_is_dead_and_a_coordinator_can_send_it_again(monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(self: Any, fail_silently: bool = False) -> int:
        raise SMTPServerDisconnected("gone")

    season = published_demo(rounds=0)
    queue()
    OutboxMessage.objects.update(cooperative=season.cooperative)
    with monkeypatch.context() as patched:
        patched.setattr("django.core.mail.EmailMessage.send", failing)
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


def test_the_evening_before_is_reminded_once_and_moves_with_the_step() -> None:
    published_demo(rounds=0)
    step = PlannedStep.objects.filter(ranch__slug="willow-draw", key="pg").first()
    assert step is not None
    now = step.starts - timedelta(days=2)
    assert sweep(now=now) >= 1
    sweep(now=now)
    mine = OutboxMessage.objects.filter(
        purpose=PURPOSE, body__contains="Insert out + PG", body__regex=f"{step.head} head"
    )
    assert mine.count() == 1
    reminder = mine.get()
    assert "miscarriage" in reminder.body
    assert reminder.due < step.starts
    PlannedStep.objects.filter(pk=step.pk).update(sequence=1)
    PlannedStep.objects.filter(entry=step.entry, key="out").update(sequence=1)
    sweep(now=now)
    assert sorted(mine.values_list("state", flat=True)) == ["cancelled", "pending"]
