"""What a programme is chosen for, and the days on which technicians have room for it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from herdplan.herds.models import BreedingGroup, Ranch
from herdplan.technicians.models import Technician
from scheduling.models import Booking, Hands, Order, SeasonEntry
from scheduling.services.catalogue import step_words


@dataclass(frozen=True)
class Subject:
    """What a programme is chosen for: a group with the wishes of its entry, where it has one."""

    group: BreedingGroup
    head: int
    entry: SeasonEntry | None = None

    @property
    def ranch(self) -> Ranch:
        """Where the chute stands."""
        return self.group.herd.ranch

    @property
    def by_technician(self) -> bool:
        """Whether a technician of the co-op inseminates."""
        return self.entry is None or self.entry.ai_by == Hands.TECHNICIAN

    @property
    def order_kept(self) -> bool:
        """Whether animals come to AI in the order of treatment."""
        return self.entry is None or self.entry.order == Order.KEPT


def subject_of(entry: SeasonEntry) -> Subject:
    """An entry as what a programme is chosen for."""
    return Subject(entry.group, entry.head, entry)


@dataclass(frozen=True, slots=True)
class Room:
    """Days of the wanted span on which technicians have head left, for the whole group or for some.

    `all_day`: days on which they have room for every animal; `any_day`: days on which they have room for at least one.
    `wanted`: days in the span. `most`: head that they could do on a day without any booking.
    """

    wanted: int
    all_day: frozenset[date]
    any_day: frozenset[date]
    most: int

    @property
    def for_all(self) -> bool:
        """Whether `bookable` are days with room for the whole group."""
        return bool(self.all_day) or not self.any_day

    @property
    def bookable(self) -> frozenset[date]:
        """Days that count: room for the whole group, or for some where it is larger than one day's work."""
        return self.all_day if self.for_all else self.any_day


def technician_room(subject: Subject, people: Sequence[Technician]) -> Room:
    """Head that the technicians have left on each day that the entry wants, by the bookings published so far. One query.

    The entry's own bookings are not counted against it. Driving is settled only when the season is planned.
    """
    entry = subject.entry
    assert entry is not None
    booked = _booked(entry, people)
    days = [entry.ai_from + timedelta(days=i) for i in range((entry.ai_to - entry.ai_from).days + 1)]
    left = {day: sum(max(0, _limit(row, day) - booked[row.pk, day]) for row in people) for day in days}
    return Room(
        wanted=len(days),
        all_day=frozenset(day for day, head in left.items() if head >= entry.head),
        any_day=frozenset(day for day, head in left.items() if head > 0),
        most=sum(row.max_head_per_day for row in people),
    )


def _limit(person: Technician, day: date) -> int:
    off = any(row.first_day <= day <= row.last_day for row in person.days_off.all())
    return 0 if off else person.max_head_per_day


def _booked(entry: SeasonEntry, people: Sequence[Technician]) -> Mapping[tuple[object, date], int]:
    """AI head that is booked, by technician and day of the season's zone."""
    zone = ZoneInfo(entry.season.zone)
    first = datetime.combine(entry.ai_from, time(), zone)
    last = datetime.combine(entry.ai_to + timedelta(days=1), time(), zone)
    rows = Booking.objects.filter(technician__in=people, starts__gte=first, starts__lt=last)
    heads: dict[tuple[object, date], int] = defaultdict(int)
    for row in rows.exclude(status="cancelled").exclude(entry=entry).select_related("entry"):
        if step_words(row.entry.protocol, row.step).kind == "ai":
            heads[row.technician_id, row.starts.astimezone(zone).date()] += row.head
    return heads
