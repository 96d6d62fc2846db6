"""What each kind of feed shows: published steps for a herd or the co-op, bookings for a technician."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from herdplan.calendars.models import FeedToken
from herdplan.calendars.writer import Event
from scheduling.models import Booking, PlannedStep
from scheduling.services import StepWords, step_words
from scheduling.services.catalogue import trip_heads

BACK, AHEAD, CANCELLED_FOR = timedelta(days=30), timedelta(days=400), timedelta(days=30)
_CLOSING = "The label, your veterinarian and local rules come first."


def events_of(feed: FeedToken, host: str, now: datetime) -> list[Event]:
    """The feed's events from 30 days back to 400 ahead; cancelled ones for 30 days."""
    if feed.kind == FeedToken.Kind.TECHNICIAN:
        return list(_stops(feed, host, now))
    return list(_steps(feed, host, now))


def _steps(feed: FeedToken, host: str, now: datetime) -> Iterator[Event]:
    steps = PlannedStep.objects.filter(
        ranch__cooperative=feed.cooperative_id, starts__gt=now - BACK, starts__lt=now + AHEAD
    )
    if feed.kind == FeedToken.Kind.HERD:
        steps = steps.filter(entry__group__herd=feed.herd_id)
    for step in steps.select_related("ranch", "entry__group"):
        heads = trip_heads(step.entry.protocol)
        gone = step.status == "cancelled" and step.changed_at < now - CANCELLED_FOR
        if step.key in heads and not gone:
            yield _step_event(step, step_words(step.entry.protocol, step.key), host, whole=feed.kind == "coop")


def _step_event(step: PlannedStep, words: StepWords, host: str, whole: bool) -> Event:
    local = step.starts.astimezone(ZoneInfo(step.ranch.zone))
    who = "A technician of the co-op comes." if step.by == "technician" else "The ranch's own crew."
    text = [
        f"{local:%A %d %B %Y, %H:%M} ({local:%Z})",
        f"{step.head} head, {step.entry.group.name}, {step.ranch.name}. {who}",
        f"Doses: {words.doses}" if words.doses else "",
        f"Have ready: {words.prepare}." if words.prepare else "",
        f"Caution: {words.caution}" if words.caution else "",
        _CLOSING,
    ]
    place = f"{step.ranch.name}: " if whole else ""
    return Event(
        uid=f"step-{step.pk}@{host}",
        sequence=step.sequence,
        changed_at=step.changed_at,
        starts=step.starts,
        ends=max(step.ends, step.starts + timedelta(minutes=15)),
        zone=step.ranch.zone,
        summary=f"{place}{words.label}: {step.head} head, {step.entry.group.name}",
        description="\n".join(line for line in text if line),
        location=_location(step.ranch.name, step.ranch.directions),
        geo=(step.ranch.lat, step.ranch.lon),
        cancelled=step.status == "cancelled",
    )


def _location(name: str, directions: str) -> str:
    return f"{name} ({directions})" if directions else name


def _stops(feed: FeedToken, host: str, now: datetime) -> Iterator[Event]:
    stops = Booking.objects.filter(technician=feed.technician_id, starts__gt=now - BACK, starts__lt=now + AHEAD)
    for stop in stops.select_related("entry__group__herd__ranch", "barn"):
        if not (stop.status == "cancelled" and stop.changed_at < now - CANCELLED_FOR):
            yield _stop_event(stop, step_words(stop.entry.protocol, stop.step), host)


def _stop_event(stop: Booking, words: StepWords, host: str) -> Event:
    ranch = stop.entry.group.herd.ranch
    zone = ZoneInfo(ranch.zone)
    local, leaves = stop.starts.astimezone(zone), stop.busy_starts.astimezone(zone)
    drive = round((stop.starts - stop.busy_starts).total_seconds() / 60)
    text = [
        f"{local:%A %d %B %Y, %H:%M} ({local:%Z})",
        f"Leave {leaves:%H:%M}: {stop.km_before:.0f} km, {drive} min." if stop.km_before else "",
        f"{stop.head} head, {stop.entry.group.name}.",
        f"Barn: {stop.barn.name}." if stop.barn else "",
        f"Bring: {words.prepare}." if words.prepare else "",
        f"Caution: {words.caution}" if words.caution else "",
        _CLOSING,
    ]
    return Event(
        uid=f"booking-{stop.pk}@{host}",
        sequence=stop.sequence,
        changed_at=stop.changed_at,
        starts=stop.starts,
        ends=stop.ends,
        zone=ranch.zone,
        summary=f"{ranch.name}: {words.label}, {stop.head} head",
        description="\n".join(line for line in text if line),
        location=_location(ranch.name, ranch.directions),
        geo=(ranch.lat, ranch.lon),
        cancelled=stop.status == "cancelled",
    )


def closed_notice(feed: FeedToken, host: str) -> list[Event]:
    """The one event that a revoked feed shows for two weeks."""
    closed = feed.revoked_at or feed.created_at
    return [
        Event(
            uid=f"closed-{feed.pk}@{host}",
            sequence=0,
            changed_at=closed,
            starts=closed,
            ends=closed + timedelta(days=14),
            zone=feed.cooperative.zone,
            summary="This calendar feed is closed",
            description="Remove this subscription. A new address is made on the page Calendar feeds.",
        )
    ]
