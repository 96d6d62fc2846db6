"""The problem prepared for search: minutes since the epoch in UTC, places, driving times, what each group needs."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from functools import lru_cache
from math import asin, ceil, cos, radians, sin, sqrt
from zoneinfo import ZoneInfo

from scheduling.kernel.protocol import Protocol, Step
from scheduling.kernel.season import Group, Hands, Order, Ranch, Season, Technician
from scheduling.kernel.throughput import Pace

_EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)
_EARTH_KM = 6371.0  # mean radius; "Geodetic Reference System 1980", International Association of Geodesy, 1980


@lru_cache(maxsize=200_000)
def minute_of(day: date, clock: time, zone: ZoneInfo) -> int:
    """Minutes since the epoch at a local clock time."""
    return int((datetime.combine(day, clock, zone) - _EPOCH) / timedelta(minutes=1))


def moment_of(minute: int, zone: ZoneInfo) -> datetime:
    """The aware datetime of a minute."""
    return (_EPOCH + timedelta(minutes=minute)).astimezone(zone)


@lru_cache(maxsize=200_000)
def day_of(minute: int, zone: ZoneInfo) -> date:
    """The local day of a minute."""
    return moment_of(minute, zone).date()


def minute(moment: datetime) -> int:
    """Minutes since the epoch of an aware datetime."""
    return round((moment - _EPOCH) / timedelta(minutes=1))


def great_circle_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Great-circle distance in km (haversine)."""
    lat1, lon1, lat2, lon2 = (radians(value) for value in (*one, *other))
    h = sin((lat2 - lat1) / 2) ** 2 + cos(lat1) * cos(lat2) * sin((lon2 - lon1) / 2) ** 2
    return 2 * _EARTH_KM * asin(min(1.0, sqrt(h)))


@dataclass(frozen=True)
class Trip:
    """A pass through the chute: the keys of its steps and its day counted from the AI day."""

    keys: tuple[str, ...]
    day: int
    ai: Step | None
    steps: tuple[Step, ...]

    @property
    def key(self) -> str:
        """The first key names the trip."""
        return self.keys[0]


@dataclass(frozen=True)
class Need:
    """What placing a group takes. `days` are its possible AI days, the wanted one first."""

    group: Group
    ranch: Ranch
    trips: tuple[Trip, ...]
    loose: tuple[Step, ...]
    days: tuple[date, ...]
    fixed: Mapping[str, int]

    @property
    def protocol(self) -> Protocol:
        """The group's protocol."""
        return self.group.protocol

    def pace(self, ai_rate: float) -> Pace:
        """The group's pace with AI at a rate."""
        return Pace(self.ranch.treat_rate, ai_rate, self.group.order is Order.KEPT)


def trips_of(protocol: Protocol) -> tuple[Trip, ...]:
    """The protocol's trips, days counted from its AI day."""
    reference = protocol.reference_day
    return tuple(
        Trip(
            tuple(step.key for step in trip),
            trip[0].day - reference,
            next((step for step in trip if step.is_ai), None),
            trip,
        )
        for trip in protocol.trips
    )


def needs_heat_visits(group: Group) -> bool:
    """Whether a technician would have to come morning and evening over the days of heat detection.

    Such visits are not planned: the group is reported as unplaced with that cause.
    """
    return group.ai_by is Hands.TECHNICIAN and bool(group.protocol.heat_watches) and not group.protocol.ai_steps


class Model:
    """A season with everything that search looks up often."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.needs = {group.id: self.need(group) for group in season.groups}
        self._km: dict[tuple[str, str], float] = {}
        self.crews = {
            group.id: self._crews(group)
            if group.ai_by is Hands.TECHNICIAN or group.steps_by is Hands.TECHNICIAN
            else ()
            for group in season.groups
        }

    def need(self, group: Group) -> Need:
        """What the group takes, and on which days AI can fall at all."""
        ranch = self.season.ranches[group.ranch]
        trips = trips_of(group.protocol)
        loose = tuple(step for step in group.protocol.steps if step.trip is None)
        fixed = {item.step: minute(item.at) for item in group.done}
        return Need(group, ranch, trips, loose, self._days(group, ranch, trips), fixed)

    def _days(self, group: Group, ranch: Ranch, trips: tuple[Trip, ...]) -> tuple[date, ...]:
        if needs_heat_visits(group):
            return ()
        span = range((group.ai_to - group.ai_from).days + 1)
        days = [group.ai_from + timedelta(days=i) for i in span]
        days = [day for day in days if not self.day_fault(group, ranch, trips, day)]
        if group.done:
            reference = group.protocol.reference_day
            started = {
                item.at.astimezone(ranch.zone).date() + timedelta(days=reference - group.protocol.by_key[item.step].day)
                for item in group.done
            }
            days = [day for day in days if day in started]
        return tuple(sorted(days, key=lambda day: (abs((day - group.ai_wanted).days), day)))

    def day_fault(self, group: Group, ranch: Ranch, trips: tuple[Trip, ...], day: date) -> str | None:
        """Why AI on that day is out of the question, or None: "season" or "closed"."""
        reference = group.protocol.reference_day
        spans = [day + timedelta(days=step.day - reference) for step in group.protocol.steps]
        if min(spans) < self.season.first_day or max(spans) > self.season.last_day:
            return "season"
        done = {item.step for item in group.done}
        for trip in trips:
            if not done.intersection(trip.keys) and day + timedelta(days=trip.day) in ranch.closed_days:
                return "closed"
        return None

    def _crews(self, group: Group) -> tuple[str, ...]:
        """Technicians with the skills that the group asks for, the nearest first."""
        ranch = self.season.ranches[group.ranch]
        able = [t for t in self.season.technicians.values() if group.skills <= t.skills]
        return tuple(t.id for t in sorted(able, key=lambda t: (self.km(f"T{t.id}", f"R{ranch.id}"), t.id)))

    def km(self, one: str, other: str) -> float:
        """Road km between two places, named R<ranch> or T<technician> (the base)."""
        if one == other:
            return 0.0
        key = (one, other) if one < other else (other, one)
        if key not in self._km:
            self._km[key] = great_circle_km(self._place(one), self._place(other)) * self.season.travel.road_factor
        return self._km[key]

    def _place(self, name: str) -> tuple[float, float]:
        table: Mapping[str, Ranch] | Mapping[str, Technician] = (
            self.season.ranches if name[0] == "R" else self.season.technicians
        )
        place = table[name[1:]]
        return place.lat, place.lon

    def drive(self, one: str, other: str) -> int:
        """Driving minutes, rounded up."""
        return ceil(self.km(one, other) / self.season.travel.speed_kmh * 60 - 1e-9)
