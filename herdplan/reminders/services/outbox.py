"""The outbox: rows are queued with a key, claimed with a lease, looked at once more, sent outside of any transaction,
finished behind a fence.

Clocks are not trusted. A lease or a wait that could only have been written by a clock that ran ahead is shortened, a lease
that is over is believed over when it is found so twice, and what expired under such a clock is taken back by the sweep.
"""

import hashlib
import logging
import random
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import DatabaseError, OperationalError, connection, transaction
from django.db.models import F, Q
from django.db.models.functions import Coalesce

from accounts.models import Cooperative, User
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.reminders import journal
from herdplan.reminders.channels import CHANNELS, Channel, Refused
from herdplan.reminders.models import ChangeNotice, OutboxMessage
from herdplan.reminders.services.facts import is_stale, take_back
from herdplan.reminders.services.people import profile_of
from herdplan.reminders.services.published import load_entry
from herdplan.reminders.services.wanted import wanted

# Longer than a mail server can keep one message busy (each answer may take EMAIL_TIMEOUT), renewed before each send.
LEASE = timedelta(seconds=180)
# Clocks of two machines may differ by this much without being called wrong.
SKEW = timedelta(seconds=60)
MAX_ATTEMPTS = 6
_FIRST_WAIT = timedelta(seconds=60)
_LOCKED_TRIES = 8
log = logging.getLogger(__name__)
Clock = Callable[[], datetime]


def key_of(dedup: str) -> str:
    """The key under which a message exists once."""
    return hashlib.sha256(dedup.encode()).hexdigest()


def enqueue(
    *,
    cooperative: Cooperative | None,
    user: User | None,
    channel: str,
    address: str,
    purpose: str,
    subject: str,
    body: str,
    dedup: str,
    due: datetime,
    expires: datetime | None,
    now: datetime,
    urgent: bool = False,
    link: str = "",
    notice: ChangeNotice | None = None,
) -> None:
    """Queue a message; the same `dedup` text a second time does nothing. Call it inside the change's transaction."""
    OutboxMessage.objects.bulk_create(
        [
            OutboxMessage(
                cooperative=cooperative,
                user=user,
                channel=channel,
                address=address,
                purpose=purpose,
                subject=subject[:200],
                body=body,
                link=link,
                urgent=urgent,
                notice=notice,
                dedup_key=key_of(dedup),
                due=due,
                expires=expires,
                created_at=now,
            )
        ],
        ignore_conflicts=True,
    )


def claim(*, now: datetime, most: int = 20) -> list[OutboxMessage]:
    """Lease messages that are due, or whose sender was lost: no sign of it in the time of a lease after its own was over."""
    waits = Q(retry_at=None) | Q(retry_at__lte=now) | Q(waits_since__gt=now + SKEW)
    # What was to go at once, but was written by a clock that ran ahead, would wait until then.
    come = Q(due__lte=now) | Q(due=F("created_at"), created_at__gt=now + SKEW)
    due = come & (Q(state="pending") & waits | Q(state="leased", lease_doubted=True, lease_until__lt=now))
    with transaction.atomic():
        _doubt_leases(now)
        rows = OutboxMessage.objects.filter(due).order_by("-urgent", "due")
        # SQLite has no row locks: its transactions begin IMMEDIATE, so that only one claims at a time.
        if connection.features.has_select_for_update_skip_locked:
            rows = rows.select_for_update(skip_locked=True)
        claimed = list(rows[:most])
        for row in claimed:
            row.state, row.lease_token, row.lease_until = "leased", uuid.uuid4(), now + LEASE
            row.lease_doubted, row.attempts = False, row.attempts + 1
            row.save(update_fields=["state", "lease_token", "lease_until", "lease_doubted", "attempts"])
    return claimed


def _doubt_leases(now: datetime) -> None:
    """Whoever holds a lease that is over, or too far ahead, gets one more lease's time by this clock.

    Its sender was lost, or a clock was set forward or back while it sends; only time that passes tells which.
    """
    leased, until = OutboxMessage.objects.filter(state="leased"), now + LEASE
    leased.filter(lease_until__gt=until + SKEW).update(lease_until=until, lease_doubted=False)
    leased.filter(lease_until__lt=now, lease_doubted=False).update(lease_until=until, lease_doubted=True)


def send(message: OutboxMessage, *, now: datetime) -> None:
    """Send a claimed message and write down what came of it. No transaction is open while it is sent."""
    channel = CHANNELS.get(message.channel)
    if journal.has(message.dedup_key):
        _finish(message, state="sent", sent_at=now, last_error="")
    elif message.started_at is not None and channel is not None and not channel.repeatable:
        _uncertain(message, now)
    elif channel is None:
        _dead(message, f"there is no channel {message.channel}", now)
    elif not _is_still_right(message, now):
        pass
    elif _mine(message).update(lease_until=now + LEASE, lease_doubted=False, started_at=now):
        _send_through(channel, message, now)


def _send_through(channel: Channel, message: OutboxMessage, now: datetime) -> None:
    try:
        channel.send(message)
    except Refused as fault:
        _dead(message, str(fault), now)
    except Exception as fault:  # whatever a far side can do must not stop the loop
        log.warning("Message %s was not sent: %s", message.pk, fault)
        _again(message, channel, str(fault), now)
    else:
        journal.note(message.dedup_key)
        _finish(message, state="sent", sent_at=now, last_error="")


def _is_still_right(message: OutboxMessage, now: datetime) -> bool:
    """Look again at what the message speaks of; where it is not right any more, put it away or hold it back."""
    if message.expires is not None and message.expires <= now:
        return _put_away(message, "expired", "too late to be of use")
    if message.user is not None and not message.user.is_active:
        return _put_away(message, "unwanted", "the person has no account any more")
    if message.notice is not None and not _notice_is_right(message, message.notice, now):
        return False
    if message.about is not None and not _reminder_is_right(message, now):
        return False
    held = _held_until(message, now)
    if held is None:
        return True
    again = {"state": "pending", "retry_at": held, "waits_since": now, "started_at": None}
    _finish(message, **again, attempts=F("attempts") - 1)
    return False


def _notice_is_right(message: OutboxMessage, notice: ChangeNotice, now: datetime) -> bool:
    if notice.seen_at is not None and message.urgent:
        return _put_away(message, "seen", "seen already")
    if notice.withdrawn_at is None and is_stale(notice):
        take_back(notice, now)
        notice.refresh_from_db()
    if notice.withdrawn_at is not None:
        return _put_away(message, "moved", "the plan has moved again; a new message is made")
    return True


def _reminder_is_right(message: OutboxMessage, now: datetime) -> bool:
    """Whether the plan still asks for exactly this message; one whose hour was moved waits for it."""
    assert message.cooperative is not None
    assert message.about is not None
    plan = load_entry(message.cooperative, message.about_kind, message.about)
    for item in wanted(plan, only=message.about):
        if item.key != message.dedup_key:
            continue
        if item.due > now + SKEW:
            subject, body = item.write()
            _finish(message, state="pending", due=item.due, attempts=0, subject=subject, body=body, started_at=None)
            return False
        subject, body = item.write()
        if (subject, body) != (message.subject, message.body):
            message.subject, message.body = subject, body
            _mine(message).update(subject=subject, body=body)
        return True
    return _put_away(message, "moved", "the step was moved, done or cancelled, or the person does not want it so")


def _held_until(message: OutboxMessage, now: datetime) -> datetime | None:
    """The end of the person's quiet hours where the message must wait for it and is still of use then."""
    if message.user is None or message.purpose == "test":
        return None
    profile = profile_of(message.user)
    if profile.quiet is None or (message.urgent and profile.urgent_passes):
        return None
    end = profile.quiet_end(now, _zone(message))
    if end is None or (message.expires is not None and message.expires <= end):
        return None
    return end


def _zone(message: OutboxMessage) -> ZoneInfo:
    """The zone of the ranch that a reminder speaks of, else the co-op's."""
    assert message.cooperative is not None
    name = message.cooperative.zone
    if message.about is not None:
        plan = load_entry(message.cooperative, message.about_kind, message.about)
        name = next((step.ranch.zone for step in plan.steps), name)
    return ZoneInfo(name)


def _put_away(message: OutboxMessage, why: str, text: str) -> bool:
    _finish(message, state="cancelled", why=why, last_error=text)
    return False


def _again(message: OutboxMessage, channel: Channel, fault: str, now: datetime) -> None:
    if message.attempts >= channel.most_attempts:
        _dead(message, fault, now)
        return
    wait = _FIRST_WAIT * 2 ** (message.attempts - 1) * (0.8 + 0.4 * random.random())
    _finish(
        message, state="pending", retry_at=now + wait, waits_since=now, last_error=fault[:300], started_at=None
    )  # fmt: skip


def _dead(message: OutboxMessage, fault: str, now: datetime) -> None:
    """Given up: shown to the coordinator. Another channel falls back to e-mail; an urgent change goes on the call list."""
    if not _finish(message, state="dead", last_error=fault[:300]):
        return
    if message.channel != "email":
        _fall_back(message, now)
    elif message.notice_id and message.urgent:
        waiting = ChangeNotice.objects.filter(pk=message.notice_id, seen_at=None, seen_by__gt=now)
        waiting.update(seen_by=now)


def _uncertain(message: OutboxMessage, now: datetime) -> None:
    """Its sender was lost in the middle, and the far side would not recognise a repeat."""
    text = "the sender was lost while sending; perhaps it arrived"
    if _finish(message, state="uncertain", last_error=text):
        _fall_back(message, now)


def _fall_back(message: OutboxMessage, now: datetime) -> None:
    """The same text by e-mail, unless an e-mail of it is there already."""
    channel = CHANNELS.get(message.channel)
    if message.user is None or (channel is not None and not channel.falls_back):
        return
    same = OutboxMessage.objects.filter(user=message.user, channel="email", purpose=message.purpose)
    same = same.filter(about=message.about, about_sequence=message.about_sequence, notice=message.notice_id)
    if message.purpose != "test" and (message.about or message.notice_id) and same.exclude(state="dead").exists():
        return
    enqueue(
        cooperative=message.cooperative,
        user=message.user,
        channel="email",
        address=message.user.email,
        purpose=message.purpose,
        subject=message.subject,
        body=message.body,
        dedup=f"{message.dedup_key}|email instead",
        due=now,
        expires=message.expires,
        now=now,
        urgent=message.urgent,
        link=message.link,
        notice=message.notice,
    )


def _mine(message: OutboxMessage) -> Any:
    return OutboxMessage.objects.filter(pk=message.pk, lease_token=message.lease_token, state="leased")


def _finish(message: OutboxMessage, **values: Any) -> bool:
    """Fenced: only whoever still holds the lease writes. A locked database is asked again: the message may have left."""
    for again in range(_LOCKED_TRIES):
        try:
            return bool(_mine(message).update(lease_token=None, lease_until=None, **values))
        except OperationalError:
            if again == _LOCKED_TRIES - 1 or connection.in_atomic_block:
                raise
            time.sleep(0.1 * 2**again)
            connection.close_if_unusable_or_obsolete()
    return False


def run_once(*, now: datetime, clock: Clock | None = None, stopped: Callable[[], bool] = lambda: False) -> int:
    """Send what is due; returns how many messages were taken up.

    The loops give the clock itself, so that one that is put right in the middle counts at once; without it time goes on from
    `now`. Once `stopped` says so, the message in hand is the last, and what was leased beside it is handed back.
    """
    begun, done = time.monotonic(), 0
    tell = clock or (lambda: now + timedelta(seconds=time.monotonic() - begun))
    while not stopped() and (claimed := claim(now=tell())):
        for place, message in enumerate(claimed):
            if stopped():
                _hand_back(claimed[place:])
                return done
            send(message, now=tell())
            done += 1
    return done


def _hand_back(messages: list[OutboxMessage]) -> None:
    """Leased, but nobody tried to send them: the next sender takes them up at once."""
    for message in messages:
        _finish(message, state="pending", attempts=F("attempts") - 1)


def send_again(*, member: Member, message: OutboxMessage, now: datetime) -> None:
    """Queue a message that could not be sent once more, under its own id."""
    member.require(Permission.MEMBERS_MANAGE, Reach.COOP)
    OutboxMessage.objects.filter(pk=message.pk, state__in=("dead", "uncertain")).update(
        state="pending", due=now, attempts=0, expires=None, retry_at=None, started_at=None, last_error=""
    )


@dataclass(frozen=True, slots=True)
class Health:
    """The state of database and outbox."""

    database: bool
    oldest_overdue_s: float | None
    dead: int
    tolerated_s: float

    @property
    def healthy(self) -> bool:
        """Whether everything works and no message waits longer than is tolerated."""
        return self.database and (self.oldest_overdue_s or 0) <= self.tolerated_s

    def document(self) -> dict[str, Any]:
        """The state as JSON."""
        return {
            "healthy": self.healthy,
            "database": self.database,
            "oldest_overdue_reminder_seconds": self.oldest_overdue_s,
            "dead_messages": self.dead,
        }


def health(*, now: datetime, tolerated: timedelta) -> Health:
    """Look at database and outbox. What waits for a retry or the end of quiet hours is not overdue before then."""
    limit = tolerated.total_seconds()
    try:
        waiting = OutboxMessage.objects.filter(state__in=("pending", "leased"))
        ready = waiting.annotate(ready=Coalesce("retry_at", "due")).filter(ready__lte=now).order_by("ready")
        oldest = ready.values_list("ready", flat=True).first()
        dead = OutboxMessage.objects.filter(state__in=("dead", "uncertain")).count()
    except DatabaseError:
        return Health(False, None, 0, limit)
    return Health(True, (now - oldest).total_seconds() if oldest else None, dead, limit)
