"""What a calendar shows, from published rows: a herd's steps, a technician's stops, a co-op's load.

What else is dated (items around AI, planned moves, orders) is told in `season_contents`.
A fragment is cached under everything that it shows (the row's version included), so that no change can be missed.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from datetime import timezone as utc
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Q

from herdplan.calendars.floor import raised_at
from herdplan.calendars.models import FeedToken
from herdplan.calendars.phrases import Phrases, phrases, speech
from herdplan.calendars.quick import Prepared, Raw, Row, instant, key_text
from herdplan.calendars.season_contents import coop_orders, herd_items
from herdplan.calendars.waited import waited
from herdplan.calendars.writer import Event, Fragment, fragment
from scheduling.models import Booking, PlannedStep, Season
from scheduling.queries import lots_there
from scheduling.services import step_words
from scheduling.services.catalogue import trip_heads
from scheduling.services.waiting import Wait

BACK, AHEAD, CANCELLED_FOR = timedelta(days=30), timedelta(days=400), timedelta(days=30)
_KEPT = 50_000


class Style(NamedTuple):
    """What differs between people: host in UIDs, the site's address, unit of roads, minutes of alarm, language."""

    host: str
    site: str
    unit: str = "mi"
    alarm: int = 0
    language: str = "en"


class StepFacts(NamedTuple):
    """All that a calendar says of a planned step."""

    pk: str
    changed_at: datetime
    starts: datetime
    ends: datetime
    placed_at: datetime | None
    sequence: int
    status: str
    head: int
    by: str
    key: str
    lot: int
    protocol: str
    group: str
    animal_class: str
    ranch: str
    directions: str
    lat: float
    lon: float
    zone: str
    place: int | None
    lots: int
    wait: Wait | None


_STEP = (
    Raw("pk"),
    Raw("changed_at"),
    Raw("starts"),
    Raw("ends"),
    Raw("ranch__calendar_place__changed_at"),
    "sequence",
    "status",
    "head",
    "by",
    "key",
    "lot",
    "entry__protocol",
    "entry__group__name",
    "entry__group__animal_class",
    "ranch__name",
    "ranch__directions",
    "ranch__lat",
    "ranch__lon",
    "ranch__zone",
    "ranch__calendar_place__number",
    lots_there(),
    Raw("entry"),
)


class StopFacts(NamedTuple):
    """All that a calendar says of a booking."""

    pk: str
    changed_at: datetime
    starts: datetime
    ends: datetime
    busy_starts: datetime
    placed_at: datetime | None
    sequence: int
    status: str
    km_before: float
    head: int
    step: str
    lot: int
    barn: str | None
    protocol: str
    group: str
    animal_class: str
    ranch: str
    directions: str
    lat: float
    lon: float
    zone: str
    place: int | None
    lots: int
    wait: Wait | None


_STOP = (
    Raw("pk"),
    Raw("changed_at"),
    Raw("starts"),
    Raw("ends"),
    Raw("busy_starts"),
    Raw("entry__group__herd__ranch__calendar_place__changed_at"),
    "sequence",
    "status",
    "km_before",
    "head",
    "step",
    "lot",
    "barn__name",
    "entry__protocol",
    "entry__group__name",
    "entry__group__animal_class",
    "entry__group__herd__ranch__name",
    "entry__group__herd__ranch__directions",
    "entry__group__herd__ranch__lat",
    "entry__group__herd__ranch__lon",
    "entry__group__herd__ranch__zone",
    "entry__group__herd__ranch__calendar_place__number",
    lots_there(),
    Raw("entry"),
)


# Made once: to find the columns takes Django longer than the database takes to read a feed's rows.
_STOPS = Booking.objects.values_list(*_STOP)
_STEPS = PlannedStep.objects.values_list(*_STEP)
_FEED_STOPS = Prepared(_STOPS)


def step_facts(wanted: Q) -> Iterator[StepFacts]:
    """The facts of some steps. One query, and one more where somebody may have to wait at one of them."""
    return map(_step, waited(_STEPS.filter(wanted), StepFacts._fields))


def stop_facts(wanted: Q) -> Iterator[StopFacts]:
    """The facts of some bookings. One query, and one more where somebody may have to wait at one of them."""
    return map(_stop, waited(_STOPS.filter(wanted), StopFacts._fields))


def _step(row: Row) -> StepFacts:
    pk, changed_at, starts, ends, placed_at = row[:5]
    placed = None if placed_at is None else instant(placed_at)
    return StepFacts._make((key_text(pk), instant(changed_at), instant(starts), instant(ends), placed, *row[5:]))


def _stop(row: Row) -> StopFacts:
    pk, changed, starts, ends, busy, placed_at = row[:6]
    placed = None if placed_at is None else instant(placed_at)
    times = (instant(changed), instant(starts), instant(ends), instant(busy), placed)
    return StopFacts._make((key_text(pk), *times, *row[6:]))


def fragments_of(feed: FeedToken, style: Style, today: date) -> list[Fragment]:
    """The feed's events from 30 days back to 400 ahead, counted from the UTC day; cancelled ones for 30 days."""
    midnight = datetime.combine(today, time(), utc.utc)
    if feed.kind == FeedToken.Kind.TECHNICIAN:
        return list(_stops(feed, style, midnight))
    if feed.kind == FeedToken.Kind.HERD:
        return list(_herd(feed, style, midnight))
    return [*_coop(feed, style, midnight), *_loads(feed, style, midnight)]


def _days(midnight: datetime) -> dict[str, datetime]:
    return {"starts__gte": midnight - BACK, "starts__lt": midnight + AHEAD}


def _shown(row: Row, status: int, midnight: datetime) -> bool:
    """Not cancelled, or not for longer than the time for which that is told. The second column is the time of the change."""
    return row[status] != "cancelled" or instant(row[1]) >= midnight - CANCELLED_FOR


def _coop(feed: FeedToken, style: Style, midnight: datetime) -> Iterator[Fragment]:
    yield from _steps(Q(ranch__cooperative=feed.cooperative_id), style, midnight, True)
    yield from coop_orders(feed, style.host, style.language, midnight)


def _herd(feed: FeedToken, style: Style, midnight: datetime) -> Iterator[Fragment]:
    yield from _steps(Q(entry__group__herd=feed.herd_id), style, midnight, False)
    yield from herd_items(feed, style.host, style.language, midnight)


def _steps(wanted: Q, style: Style, midnight: datetime, whole: bool) -> Iterator[Fragment]:
    rows = _STEPS.filter(wanted, **_days(midnight))
    shown = (row for row in rows if row[_KEY] in trip_heads(row[_PROTOCOL]) and _shown(row, _STEP_STATUS, midnight))
    for row in waited(shown, StepFacts._fields):
        yield step_fragment(row, style, whole)


_KEY, _PROTOCOL, _STEP_STATUS = (StepFacts._fields.index(name) for name in ("key", "protocol", "status"))
_STOP_STATUS = StopFacts._fields.index("status")


def _version(facts: StepFacts | StopFacts) -> tuple[int, datetime]:
    """SEQUENCE and change time: the row's own, and what its ranch added when its name or place was changed."""
    if facts.placed_at is None or not facts.place:
        return facts.sequence + (facts.place or 0), facts.changed_at
    return facts.sequence + facts.place, max(facts.changed_at, facts.placed_at)


@lru_cache(maxsize=_KEPT)
def step_fragment(row: Row, style: Style, whole: bool) -> Fragment:
    """A step, written; `whole` where ranches must be told apart."""
    return fragment(step_event(_step(row), style, whole))


def step_event(facts: StepFacts, style: Style, whole: bool) -> Event:
    """A step of the ranch: hour, head, doses by class, what to have ready."""
    said, say = speech(facts.protocol, facts.key, style.language), phrases(style.language)
    lot = say.which(facts.lot, facts.lots)
    values = {
        "head": facts.head, "group": facts.group, "class": f"{say.females(facts.animal_class)}{lot}", "ranch": facts.ranch,
        "who": say.technician if facts.by == "technician" else say.crew,
        "place": f"{facts.ranch}: " if whole else "", "step": said.label,
    }  # fmt: skip
    when = say.moment(facts.starts.astimezone(ZoneInfo(facts.zone)))
    sequence, changed_at = _version(facts)
    return Event(
        uid=f"step-{facts.pk}@{style.host}",
        sequence=sequence,
        changed_at=changed_at,
        starts=facts.starts,
        ends=max(facts.ends, facts.starts + timedelta(minutes=15)),
        zone=facts.zone,
        summary=f"{say.step % values}{lot}",
        description="\n".join([when, say.who % values, *say.waits(facts.wait)]),
        location=_location(facts.ranch, facts.directions),
        geo=(facts.lat, facts.lon),
        cancelled=facts.status == "cancelled",
        alarm=style.alarm,
        url=style.site,
        standing=said.ranch,
    )


def _location(name: str, directions: str) -> str:
    return f"{name} ({directions})" if directions else name


def _stops(feed: FeedToken, style: Style, midnight: datetime) -> Iterator[Fragment]:
    rows = _FEED_STOPS.rows(technician=feed.technician_id, **_days(midnight))
    for row in waited((row for row in rows if _shown(row, _STOP_STATUS, midnight)), StopFacts._fields):
        yield stop_fragment(row, style)


@lru_cache(maxsize=_KEPT)
def stop_fragment(row: Row, style: Style) -> Fragment:
    """A stop, written."""
    return fragment(stop_event(_stop(row), style))


def stop_event(facts: StopFacts, style: Style) -> Event:
    """A technician's stop: place, hour, drive, head, semen list."""
    said, say = speech(facts.protocol, facts.step, style.language), phrases(style.language)
    zone, lot = ZoneInfo(facts.zone), say.which(facts.lot, facts.lots)
    values = {
        "head": facts.head, "group": facts.group, "class": f"{say.females(facts.animal_class)}{lot}", "ranch": facts.ranch,
        "step": said.label,
    }  # fmt: skip
    lines = [say.moment(facts.starts.astimezone(zone)), *_drive(facts, zone, style.unit, say), say.stop_who % values]
    lines += say.waits(facts.wait)
    if said.ai:
        lines.append(say.semen % {"head": facts.head, "group": f"{facts.group}{lot}"})
    if facts.barn:
        lines.append(say.barn % {"barn": facts.barn})
    sequence, changed_at = _version(facts)
    summary = f"{say.stop % values}, {facts.group}{lot}" if lot else say.stop % values
    return Event(
        f"booking-{facts.pk}@{style.host}", sequence, changed_at, facts.starts, facts.ends, facts.zone,
        summary, "\n".join(lines), _location(facts.ranch, facts.directions), (facts.lat, facts.lon),
        facts.status == "cancelled", None, style.alarm, style.site, said.technician,
    )  # fmt: skip


def _drive(facts: StopFacts, zone: ZoneInfo, unit: str, say: Phrases) -> tuple[str, ...]:
    if not facts.km_before:
        return ()
    leave, drive = facts.busy_starts.astimezone(zone), facts.starts - facts.busy_starts
    values = {
        "clock": f"{leave.hour:02d}:{leave.minute:02d}", "road": say.road(facts.km_before, unit),
        "minutes": round(drive.total_seconds() / 60),
    }  # fmt: skip
    return (say.leave % values,)


class _Load(NamedTuple):
    """What a technician does in a day."""

    name: str
    stops: int
    head: int
    limit: int
    km: float


def _loads(feed: FeedToken, style: Style, midnight: datetime) -> Iterator[Fragment]:
    """One event a day with every technician's load. Its version is the latest publishing."""
    stops = Booking.objects.filter(
        technician__cooperative=feed.cooperative_id, starts__gte=midnight - BACK, starts__lt=midnight + AHEAD
    ).exclude(status="cancelled")
    rows = stops.order_by("starts").values_list(
        "technician__name", "technician__max_head_per_day", "entry__protocol", "step", "head", "starts", "km_before"
    )
    zone = ZoneInfo(feed.cooperative.zone)
    days: dict[date, dict[tuple[str, int], list[float]]] = defaultdict(dict)
    for name, limit, protocol, step, head, starts, km in rows:
        sums = days[starts.astimezone(zone).date()].setdefault((name, limit), [0, 0, 0])
        ai = step_words(protocol, step).kind == "ai"
        sums[:] = [sums[0] + 1, sums[1] + (head if ai else 0), sums[2] + km]
    published = Season.objects.filter(cooperative=feed.cooperative_id).exclude(published_at=None)
    last = published.order_by("-published_at").values_list("published_at", flat=True).first()
    if last is None:
        return
    last = max(last, raised_at(feed.cooperative_id) or last)
    for day, people in sorted(days.items()):
        loads = tuple(
            _Load(name, int(n), int(head), limit, km) for (name, limit), (n, head, km) in sorted(people.items())
        )
        yield _load_fragment(feed.cooperative_id, day, feed.cooperative.zone, last, loads, style)


_EPOCH = datetime(2024, 1, 1, tzinfo=utc.utc)


@lru_cache(maxsize=_KEPT)
def _load_fragment(
    coop: uuid.UUID, day: date, zone: str, last: datetime, loads: tuple[_Load, ...], style: Style
) -> Fragment:
    head = sum(load.head for load in loads)
    starts = datetime.combine(day, time(), ZoneInfo(zone))
    say = phrases(style.language)
    lines = [_load_line(load, style.unit, say) for load in loads]
    people = (say.many if len(loads) > 1 else say.one) % len(loads)
    full = say.full if any(load.head > 0.9 * load.limit for load in loads) else ""
    return fragment(
        Event(
            uid=f"load-{coop}-{day:%Y%m%d}@{style.host}",
            # Minutes since 2024 of the latest publishing: rises with each, and fits the 31 bits that readers give it.
            sequence=max(0, int((last - _EPOCH).total_seconds() // 60)),
            changed_at=last,
            starts=starts,
            ends=starts + timedelta(days=1),
            zone=zone,
            summary=say.load % {"head": head, "people": people, "full": full},
            description="\n".join([*lines, say.closing]),
            days=(day, day + timedelta(days=1)),
        )
    )


def _load_line(load: _Load, unit: str, say: Phrases) -> str:
    values = {**load._asdict(), "road": say.road(load.km, unit)}
    return (say.load_lines if load.stops > 1 else say.load_line) % values


def closed_notice(feed: FeedToken, style: Style) -> list[Fragment]:
    """The one event that a revoked feed shows for two weeks."""
    closed, say = feed.revoked_at or feed.created_at, phrases(style.language)
    event = Event(
        uid=f"closed-{feed.pk}@{style.host}",
        sequence=0,
        changed_at=closed,
        starts=closed,
        ends=closed + timedelta(days=14),
        zone=feed.cooperative.zone,
        summary=say.closed,
        description=say.closed_text,
    )
    return [fragment(event)]
