"""The outbox: rows are queued with a key, claimed with a lease, sent outside of any transaction, finished behind a fence."""

import hashlib
import logging
import random
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import DatabaseError, connection, transaction
from django.db.models import Q

from accounts.models import Cooperative, User
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.reminders.channels import CHANNELS, Refused
from herdplan.reminders.models import OutboxMessage

LEASE = timedelta(seconds=120)
MAX_ATTEMPTS = 6
_FIRST_WAIT = timedelta(seconds=60)
log = logging.getLogger(__name__)


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
                dedup_key=key_of(dedup),
                due=due,
                expires=expires,
                created_at=now,
            )
        ],
        ignore_conflicts=True,
    )


def claim(*, now: datetime, most: int = 20) -> list[OutboxMessage]:
    """Lease messages that are due, or whose sender was lost."""
    due = Q(due__lte=now) & (Q(state="pending") | Q(state="leased", lease_until__lt=now))
    with transaction.atomic():
        rows = OutboxMessage.objects.filter(due).order_by("due")
        # SQLite has no row locks: its transactions begin IMMEDIATE, so that only one claims at a time.
        if connection.features.has_select_for_update_skip_locked:
            rows = rows.select_for_update(skip_locked=True)
        claimed = list(rows[:most])
        for row in claimed:
            row.state, row.lease_token, row.lease_until = "leased", uuid.uuid4(), now + LEASE
            row.attempts += 1
            row.save(update_fields=["state", "lease_token", "lease_until", "attempts"])
    return claimed


def send(message: OutboxMessage, *, now: datetime) -> None:
    """Send a claimed message and write down what came of it. No transaction is open while it is sent."""
    if message.expires is not None and message.expires <= now:
        _finish(message, state="cancelled", last_error="too late to be of use")
        return
    sender = CHANNELS.get(message.channel)
    if sender is None:
        _finish(message, state="dead", last_error=f"there is no channel {message.channel}")
        return
    try:
        sender(message)
    except Refused as fault:
        _finish(message, state="dead", last_error=str(fault)[:300])
    except Exception as fault:  # whatever a mail server can do must not stop the loop
        log.warning("Message %s was not sent: %s", message.pk, fault)
        _again(message, now, str(fault))
    else:
        _finish(message, state="sent", sent_at=now, last_error="")


def _again(message: OutboxMessage, now: datetime, fault: str) -> None:
    if message.attempts >= MAX_ATTEMPTS:
        _finish(message, state="dead", last_error=fault[:300])
        return
    wait = _FIRST_WAIT * 2 ** (message.attempts - 1) * (0.8 + 0.4 * random.random())
    _finish(message, state="pending", due=now + wait, last_error=fault[:300])


def _finish(message: OutboxMessage, **values: Any) -> None:
    """Fenced: only whoever still holds the lease writes."""
    mine = OutboxMessage.objects.filter(pk=message.pk, lease_token=message.lease_token, state="leased")
    mine.update(lease_token=None, lease_until=None, **values)


def run_once(*, now: datetime) -> int:
    """Send what is due; returns how many messages were taken up."""
    done = 0
    while claimed := claim(now=now):
        for message in claimed:
            send(message, now=now)
        done += len(claimed)
    return done


def send_again(*, member: Member, message: OutboxMessage, now: datetime) -> None:
    """Queue a dead message once more, as a new one."""
    member.require(Permission.MEMBERS_MANAGE, Reach.COOP)
    OutboxMessage.objects.filter(pk=message.pk, state="dead").update(
        state="pending", due=now, attempts=0, expires=None, dedup_key=key_of(f"{message.dedup_key}|{now.isoformat()}")
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
    """Look at database and outbox."""
    limit = tolerated.total_seconds()
    try:
        oldest = (
            OutboxMessage.objects.filter(state__in=("pending", "leased"), due__lte=now)
            .order_by("due")
            .values_list("due", flat=True)
            .first()
        )
        dead = OutboxMessage.objects.filter(state="dead").count()
    except DatabaseError:
        return Health(False, None, 0, limit)
    return Health(True, (now - oldest).total_seconds() if oldest else None, dead, limit)
