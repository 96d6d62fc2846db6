"""What a rancher and a technician read: steps by day with what to prepare, stops by day with the drive between."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlannedStep
from scheduling.services.catalogue import StepWords, step_words, trip_heads
from scheduling.services.wall import wall


@dataclass(frozen=True, slots=True)
class AgendaItem:
    """A published step on the ranch's clock (wall times) with its words."""

    step: PlannedStep
    words: StepWords
    starts: datetime
    ends: datetime


@dataclass(frozen=True, slots=True)
class Agenda:
    """Steps by day."""

    days: tuple[tuple[date, tuple[AgendaItem, ...]], ...]


def agenda_of(steps: list[PlannedStep]) -> Agenda:
    """Steps by the ranch's calendar day; of each chute trip only its first step, which speaks for all."""
    days: dict[date, list[AgendaItem]] = {}
    for step in steps:
        if step.key not in trip_heads(step.entry.protocol):
            continue
        zone = ZoneInfo(step.ranch.zone)
        item = AgendaItem(
            step, step_words(step.entry.protocol, step.key), wall(step.starts, zone), wall(step.ends, zone)
        )
        days.setdefault(item.starts.date(), []).append(item)
    return Agenda(tuple((day, tuple(items)) for day, items in sorted(days.items())))


@dataclass(frozen=True, slots=True)
class Stop:
    """A booking on the ranch's clock (wall times); `drive` is the time on the road to it."""

    booking: Booking
    words: StepWords
    starts: datetime
    ends: datetime
    leaves: datetime
    drive: timedelta
    zone_name: str


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


def week_of(technician: Technician, bookings: list[Booking], first: date, zone: ZoneInfo) -> Week:
    """The bookings laid out by day of the co-op's zone."""
    days = []
    for i in range(7):
        day = first + timedelta(days=i)
        mine = [booking for booking in bookings if booking.starts.astimezone(zone).date() == day]
        days.append(_day(day, mine, zone))
    return Week(technician, tuple(days))


def _day(day: date, bookings: list[Booking], zone: ZoneInfo) -> WeekDay:
    stops = tuple(_stop(booking) for booking in bookings)
    head = sum(stop.booking.head for stop in stops if stop.words.kind == "ai")
    leaves = wall(bookings[0].busy_starts, zone) if bookings else None
    back = wall(max(booking.busy_ends for booking in bookings), zone) if bookings else None
    return WeekDay(day, stops, head, sum(booking.km_before for booking in bookings), leaves, back)


def _stop(booking: Booking) -> Stop:
    zone = ZoneInfo(booking.entry.group.herd.ranch.zone)
    return Stop(
        booking,
        step_words(booking.entry.protocol, booking.step),
        wall(booking.starts, zone),
        wall(booking.ends, zone),
        wall(booking.busy_starts, zone),
        booking.starts - booking.busy_starts,
        booking.starts.astimezone(zone).tzname() or "",
    )
