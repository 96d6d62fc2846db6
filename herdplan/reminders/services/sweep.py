"""The sweep: whatever should exist by the plan is made, whatever should not is put away. Safe to call again and again.

It heals: a row that was lost with a database, cancelled under a wrong clock or never made comes (back) into being, because
everything follows from the plan's rows. A message that was sent stays sent, because its key is the same.
"""

import hashlib
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Count, Max, Q, Sum

from accounts.models import Cooperative
from herdplan.reminders.models import CoopReminders, OutboxMessage
from herdplan.reminders.services.calls import tell_coordinators
from herdplan.reminders.services.changes import tell_changes
from herdplan.reminders.services.published import load_plan
from herdplan.reminders.services.wanted import Wanted, wanted
from scheduling.models import Booking, PlannedStep, Season

AHEAD = timedelta(days=3)
EVERY = timedelta(minutes=5)


def sweep(*, now: datetime) -> int:
    """Sweep every co-op; returns how many reminders of the next three days should stand."""
    return sum(sweep_coop(coop, now=now) for coop in Cooperative.objects.all())


def sweep_where_due(*, now: datetime) -> None:
    """Sweep the co-ops whose plan or people's wishes have changed, or whose last sweep is some minutes old; cheap otherwise.

    Whom to call, and what a wrong clock has given up, is looked at every time.
    """
    for coop in Cooperative.objects.all():
        row, _ = CoopReminders.objects.get_or_create(cooperative=coop)
        fresh = row.swept_at is not None and row.swept_at <= now < row.swept_at + EVERY
        if not fresh or row.fingerprint != _fingerprint(coop, now):
            sweep_coop(coop, now=now)
        else:
            with transaction.atomic():
                _take_back_expired(coop, now)
                tell_coordinators(coop, now=now)


def sweep_coop(coop: Cooperative, *, now: datetime) -> int:
    """One co-op, one sweeper at a time."""
    CoopReminders.objects.get_or_create(cooperative=coop)
    with transaction.atomic():
        # The row is the lock; SQLite's transactions begin IMMEDIATE and need none.
        CoopReminders.objects.select_for_update().get(cooperative=coop)
        count = _reminders(coop, now)
        _take_back_expired(coop, now)
        tell_changes(coop, now=now)
        tell_coordinators(coop, now=now)
        CoopReminders.objects.filter(cooperative=coop).update(swept_at=now, fingerprint=_fingerprint(coop, now))
    return count


def _fingerprint(coop: Cooperative, now: datetime) -> str:
    """Changes whenever a published row does, or what people say of dated items; some numbers of three short queries."""
    steps = PlannedStep.objects.filter(ranch__cooperative=coop, starts__gt=now - timedelta(days=2))
    bookings = Booking.objects.filter(technician__cooperative=coop, starts__gt=now - timedelta(days=2))
    parts = [
        rows.aggregate(n=Count("pk"), total=Sum("sequence"), last=Max("changed_at"), done=Count("pk", filter=away))
        for rows, away in ((steps, Q(status="done")), (bookings, Q(status="cancelled")))
    ]
    season = Season.objects.filter(cooperative=coop).aggregate(total=Sum("calendar_version"))
    return hashlib.sha256(repr([sorted(part.items()) for part in [*parts, season]]).encode()).hexdigest()


def _reminders(coop: Cooperative, now: datetime) -> int:
    plan = load_plan(coop, now)
    items = {item.key: item for item in wanted(plan) if item.expires > now and item.due <= now + AHEAD}
    rows = OutboxMessage.objects.filter(cooperative=coop, about__isnull=False, due__gt=now - timedelta(days=120))
    standing = {row.dedup_key: row for row in rows.only(*_LOOKED_AT)}
    fresh = [_row(coop, item, now) for key, item in items.items() if key not in standing]
    OutboxMessage.objects.bulk_create(fresh, ignore_conflicts=True, batch_size=200)
    for key, row in standing.items():
        if key in items:
            _keep(row, items[key])
    stale = [
        row.pk
        for key, row in standing.items()
        if row.state == "pending" and key not in items and (row.expires is None or row.expires > now)
    ]
    for i in range(0, len(stale), 500):
        put_away = OutboxMessage.objects.filter(pk__in=stale[i : i + 500], state="pending")
        put_away.update(
            state="cancelled", why="moved", last_error="the step was moved, done or cancelled, or is not wanted"
        )
    return len(items)


def _take_back_expired(coop: Cooperative, now: datetime) -> None:
    """What was put away as too late while the clock ran ahead is not too late after all."""
    early = OutboxMessage.objects.filter(cooperative=coop, state="cancelled", why="expired", expires__gt=now)
    early.update(state="pending", why="", last_error="", attempts=0, retry_at=None)


_LOOKED_AT = ("pk", "dedup_key", "state", "why", "due", "expires", "subject", "body", "attempts", "created_at")


def _row(coop: Cooperative, item: Wanted, now: datetime) -> OutboxMessage:
    subject, body = item.write()
    return OutboxMessage(
        cooperative=coop,
        user=item.user,
        channel=item.door.channel,
        address=item.door.address,
        purpose=item.rule.purpose,
        subject=subject,
        body=body,
        about_kind=item.kind,
        about=item.about,
        about_sequence=item.sequence,
        dedup_key=item.key,
        due=item.due,
        expires=item.expires,
        created_at=now,
    )


def _keep(row: OutboxMessage, item: Wanted) -> None:
    """Bring a waiting message up to date; take back one that was put away."""
    if row.state not in ("pending", "cancelled"):
        return
    subject, body = item.write()
    values = {"due": item.due, "expires": item.expires, "subject": subject, "body": body}
    if row.state == "cancelled":
        again = {"state": "pending", "why": "", "last_error": "", "attempts": 0, "retry_at": None, "started_at": None}
        OutboxMessage.objects.filter(pk=row.pk, state="cancelled").update(**values, **again)
    elif any(getattr(row, name) != value for name, value in values.items()):
        OutboxMessage.objects.filter(pk=row.pk, state="pending").update(**values)
