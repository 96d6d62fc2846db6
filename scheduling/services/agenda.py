"""What a rancher and a technician read: steps by day with what to prepare, stops by day with the drive between."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from herdplan.technicians.models import Technician
from scheduling.kernel.sessions import HEAT_PREFIX
from scheduling.models import Booking, PlannedStep
from scheduling.services.catalogue import StepWords, step_words, trip_heads
from scheduling.services.heat import HeatBook, HeatNote, step_notes
from scheduling.services.lots import lot_on_page, with_lot
from scheduling.services.waiting import Waits, WaitWords, session_at, session_of, wait_words
from scheduling.services.wall import wall

Hands = Mapping[tuple[UUID, int, str], tuple[str, ...]]
Steps = Mapping[tuple[UUID, int, str], PlannedStep]
# How many lots each entry has.
Lots = Mapping[UUID, int]


@dataclass(frozen=True, slots=True)
class AgendaItem:
    """A published step on the ranch's clock (wall times) with its words. `group` says which lot of it."""

    step: PlannedStep
    words: StepWords
    group: str
    starts: datetime
    ends: datetime
    heat: tuple[HeatNote, ...] = ()
    technicians: tuple[str, ...] = ()
    wait: WaitWords | None = None


@dataclass(frozen=True, slots=True)
class Agenda:
    """Steps by day."""

    days: tuple[tuple[date, tuple[AgendaItem, ...]], ...]


def agenda_of(
    steps: list[PlannedStep],
    lots: Lots,
    book: HeatBook | None = None,
    hands: Hands | None = None,
    waits: Waits | None = None,
) -> Agenda:
    """Steps by the ranch's calendar day; of each chute trip only its first step, which speaks for all.

    `book`: the weather of the steps' ranches, for warnings of heat. `hands`: who comes, by (entry, lot, step).
    `waits`: who has to wait at sessions of some.
    """
    days: dict[date, list[AgendaItem]] = {}
    for step in steps:
        if step.key not in trip_heads(step.entry.protocol) and not step.key.startswith(HEAT_PREFIX):
            continue
        zone = ZoneInfo(step.ranch.zone)
        item = AgendaItem(
            step=step,
            words=step_words(step.entry.protocol, step.key),
            group=with_lot(step.entry.group.name, lot_on_page(step.lot + 1, lots[step.entry_id])),
            starts=wall(step.starts, zone),
            ends=wall(step.ends, zone),
            heat=step_notes(book, step) if book else (),
            technicians=hands.get((step.entry_id, step.lot, step.key), ()) if hands else (),
            wait=wait_words(waits.get(session_of(step))) if waits and step.status == "planned" else None,
        )
        days.setdefault(item.starts.date(), []).append(item)
    return Agenda(tuple((day, tuple(items)) for day, items in sorted(days.items())))


def is_handling(step: PlannedStep) -> bool:
    """Whether the step is a pass through the chute: what can be ticked off."""
    return step_words(step.entry.protocol, step.key).trip is not None


@dataclass(frozen=True, slots=True)
class Stop:
    """A booking on the ranch's clock (wall times); `drive` is the time on the road to it. `group` says which lot of it."""

    booking: Booking
    words: StepWords
    group: str
    starts: datetime
    ends: datetime
    leaves: datetime
    drive: timedelta
    zone_name: str
    heat: tuple[HeatNote, ...] = ()
    step: PlannedStep | None = None
    wait: WaitWords | None = None


@dataclass(frozen=True, slots=True)
class WeekDay:
    """A technician's day. `head` counts AI only."""

    day: date
    stops: tuple[Stop, ...]
    head: int
    km: float
    leaves: datetime | None
    back: datetime | None


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days of a technician."""

    technician: Technician
    days: tuple[WeekDay, ...]

    @property
    def empty(self) -> bool:
        """Whether there is no stop at all."""
        return not any(day.stops for day in self.days)


def week_of(
    technician: Technician,
    bookings: list[Booking],
    first: date,
    zone: ZoneInfo,
    lots: Lots,
    book: HeatBook | None = None,
    steps: Steps | None = None,
    waits: Waits | None = None,
) -> Week:
    """The bookings laid out by day of the co-op's zone. `book`: the weather of their ranches; `steps`: what they are for;
    `waits`: who has to wait at sessions of some.
    """
    days, steps, waits = [], steps or {}, waits or {}
    for i in range(7):
        day = first + timedelta(days=i)
        mine = [booking for booking in bookings if booking.starts.astimezone(zone).date() == day]
        days.append(_day(day, [_stop(booking, book, steps, waits, lots[booking.entry_id]) for booking in mine], zone))
    return Week(technician, tuple(days))


def _day(day: date, stops: Sequence[Stop], zone: ZoneInfo) -> WeekDay:
    bookings = [stop.booking for stop in stops]
    head = sum(stop.booking.head for stop in stops if stop.words.kind == "ai")
    leaves = wall(bookings[0].busy_starts, zone) if bookings else None
    back = wall(max(booking.busy_ends for booking in bookings), zone) if bookings else None
    return WeekDay(day, tuple(stops), head, sum(booking.km_before for booking in bookings), leaves, back)


def _stop(booking: Booking, book: HeatBook | None, steps: Steps, waits: Waits, lots: int) -> Stop:
    ranch = booking.entry.group.herd.ranch
    zone, words = ZoneInfo(ranch.zone), step_words(booking.entry.protocol, booking.step)
    heat = book.notes(ranch.pk, booking.starts, booking.ends, words.label) if book else ()
    step = steps.get((booking.entry_id, booking.lot, booking.step))
    return Stop(
        booking,
        words,
        with_lot(booking.entry.group.name, lot_on_page(booking.lot + 1, lots)),
        wall(booking.starts, zone),
        wall(booking.ends, zone),
        wall(booking.busy_starts, zone),
        booking.starts - booking.busy_starts,
        booking.starts.astimezone(zone).tzname() or "",
        heat,
        step,
        None if step is not None and step.status == "done" else wait_words(waits.get(session_at(booking))),
    )
