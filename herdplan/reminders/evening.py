"""The evening before: what must be sorted, penned, counted. Missing rows are made; those of moved steps are cancelled."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from accounts.models import User
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services import enqueue, key_of
from scheduling.models import PlannedStep
from scheduling.services import step_words
from scheduling.services.catalogue import trip_heads

PURPOSE = "evening before"
_EVENING = time(17, 30)
_AHEAD = timedelta(days=3)


def sweep(*, now: datetime) -> int:
    """Make the reminders of the next three days; returns how many should stand. Safe to call again and again."""
    wanted = list(_wanted(now))
    for step, user, due in wanted:
        _enqueue(step, user, due, now)
    keys = {key_of(_dedup(step, user)) for step, user, _ in wanted}
    stale = OutboxMessage.objects.filter(purpose=PURPOSE, state="pending", due__gt=now)
    stale.exclude(dedup_key__in=keys).update(state="cancelled", last_error="the step was moved or cancelled")
    return len(wanted)


def _wanted(now: datetime) -> Iterator[tuple[PlannedStep, User, datetime]]:
    steps = PlannedStep.objects.filter(status="planned", starts__gt=now, starts__lt=now + _AHEAD)
    steps = steps.select_related("ranch__cooperative", "entry__group").prefetch_related("ranch__people")
    for step in steps:
        if step.key not in trip_heads(step.entry.protocol):
            continue
        zone = ZoneInfo(step.ranch.zone)
        day = step.starts.astimezone(zone).date() - timedelta(days=1)
        due = datetime.combine(day, _EVENING, zone)
        for user in step.ranch.people.all():
            yield step, user, due


def _dedup(step: PlannedStep, user: User) -> str:
    return f"{PURPOSE}|{step.pk}|{step.sequence}|email|{user.pk}"


def _enqueue(step: PlannedStep, user: User, due: datetime, now: datetime) -> None:
    words, local = step_words(step.entry.protocol, step.key), step.starts.astimezone(ZoneInfo(step.ranch.zone))
    when = f"{local:%a %d %b, %H:%M}"
    lines = [
        f"{words.label}: {step.head} head, {step.entry.group.name}, {step.ranch.name}",
        f"{when} ({local:%Z})",
        "",
        "This evening: sort and pen, check the list, count the doses.",
        f"Have ready: {words.prepare}." if words.prepare else "",
        f"Caution: {words.caution}" if words.caution else "",
        "",
        "The label, your veterinarian and local rules come first.",
    ]
    enqueue(
        cooperative=step.ranch.cooperative,
        user=user,
        channel="email",
        address=user.email,
        purpose=PURPOSE,
        subject=f"{when}: {words.label}, {step.entry.group.name}",
        body="\n".join(lines),
        dedup=_dedup(step, user),
        due=due,
        expires=step.starts,
        now=now,
    )
