"""The problem prepared for search: minutes since the epoch in UTC, places, driving times, what each group needs."""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, timezone
from enum import StrEnum
from functools import cached_property, lru_cache
from math import asin, ceil, cos, radians, sin, sqrt
from zoneinfo import ZoneInfo

import numpy as np

from scheduling.kernel.protocol import Protocol, Step
from scheduling.kernel.season import Group, Hands, Order, Ranch, Season, Technician
from scheduling.kernel.sessions import HeatSession, heat_sessions
from scheduling.kernel.throughput import Pace

_EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)
# Groups are tried in one lot more than they must be; two or three more did no better on the seasons tried (S 3, 6, 9).
_LOTS_MORE = (1,)
# In so many more lots a group is tried that finds no place in as few as can be: a smaller lot leaves more choice of hours.
_LOTS_MORE_FOR_A_PLACE = (1, 2)
_NOON = time(12)
# AI after seen heat keeps to the first or the last three hours of the ranch's day (common practice).
HEAT_BAND = 180
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


def _first_minute(season: Season) -> int:
    """The first minute at which anything new may begin; that of 1970, before any season, where nothing is said."""
    return 0 if season.not_before is None else ceil((season.not_before - _EPOCH) / timedelta(minutes=1))


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


class Part(StrEnum):
    """What a technician comes for."""

    AI = "ai"
    SERVICE = "service"
    HEAT = "heat"


@dataclass(frozen=True)
class Work:
    """Something that a technician must be there for: a timed AI session, a treatment trip, or AI after seen heat."""

    part: Part
    key: str
    day: int
    trip: Trip | None
    heat: HeatSession | None


@dataclass(frozen=True, eq=False)
class Need:
    """What placing a group takes. `days` are its possible AI days as ordinals, the wanted one first; `able` its technicians,
    the nearest first; `works` what technicians come for still, timed AI first; `past` what was carried out; `spots` the days,
    from the AI day, of handling; `lots_more` into how many more lots it is cut than it must be.
    """

    index: int
    group: Group
    ranch: Ranch
    place: int
    trips: tuple[Trip, ...]
    loose: tuple[Step, ...]
    days: tuple[int, ...]
    fixed: Mapping[str, int]
    works: tuple[Work, ...]
    able: tuple[int, ...]
    wanted: int
    spots: frozenset[int]
    tight: bool
    past: tuple[Work, ...] = ()
    lots_more: int = 0

    @property
    def protocol(self) -> Protocol:
        """The group's protocol."""
        return self.group.protocol

    @cached_property
    def every_work(self) -> tuple[Work, ...]:
        """What technicians come for and came for: visits number it so."""
        return (*self.works, *self.past)

    @cached_property
    def past_keys(self) -> frozenset[str]:
        """The keys of what was carried out."""
        return frozenset(work.key for work in self.past)

    @cached_property
    def sessions(self) -> tuple[Trip, ...]:
        """The trips with timed AI."""
        return tuple(trip for trip in self.trips if trip.ai is not None)

    @cached_property
    def anchor(self) -> Trip | None:
        """The treatment trip that the hours to AI are counted from."""
        if not self.sessions:
            return None
        ai = self.sessions[0].ai
        assert ai is not None and ai.after is not None  # noqa: PT018
        return next(trip for trip in self.trips if ai.after.step in trip.keys)

    @cached_property
    def finer(self) -> "tuple[Need, ...]":
        """The same cut into more lots, where lots matter: smaller ones leave more choice of hours."""
        timed = bool(self.works) and self.works[0].part is Part.AI and not self.fixed
        return tuple(replace(self, lots_more=more) for more in _LOTS_MORE) if timed else ()

    @cached_property
    def smaller(self) -> "tuple[Need, ...]":
        """The same cut into more lots, where it finds no place in as few as can be."""
        if not self.sessions or self.fixed or self.lots_more:
            return ()
        return tuple(replace(self, lots_more=more) for more in _LOTS_MORE_FOR_A_PLACE if more < self.group.head)

    @cached_property
    def coupled(self) -> int:
        """How many of a technician's visits hang together by hours."""
        bound = {trip.key for trip in self.trips if trip.ai is not None or hour_anchor(trip) is not None}
        if self.anchor is not None:
            bound.add(self.anchor.key)
        return sum(work.trip is not None and work.trip.key in bound for work in self.works)

    @cached_property
    def _handled(self) -> dict[int, frozenset[int]]:
        return {}

    def days_on(self, ai_day: int) -> frozenset[int]:
        """The days of handling, as ordinals, with AI on a day."""
        found = self._handled.get(ai_day)
        if found is None:
            found = self._handled[ai_day] = frozenset(ai_day + day for day in self.spots)
        return found

    def fixed_start(self, trip: Trip) -> int | None:
        """When the trip was carried out, or None."""
        return next((self.fixed[key] for key in trip.keys if key in self.fixed), None) if self.fixed else None

    def pace(self, ai_rate: float) -> Pace:
        """The group's pace with AI at a rate."""
        return Pace(self.ranch.treat_rate, ai_rate, self.group.order is Order.KEPT)


@dataclass(frozen=True, eq=False)
class Person:
    """A technician prepared for search; `base` is the place number of the base, `bookable` how many days are not off."""

    index: int
    technician: Technician
    base: int
    days_off: frozenset[int]
    bookable: int

    @property
    def rate(self) -> float:
        """Head per hour."""
        return self.technician.ai_rate


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


def hour_anchor(trip: Trip) -> Step | None:
    """The step of a treatment trip that must follow another within hours (a second PG), if there is one."""
    for step in trip.steps:
        rule = step.after
        if trip.ai is None and rule is not None and rule.stated and rule.target_h > 0 and rule.window[1] < 24:
            return step
    return None


def works_of(group: Group, trips: tuple[Trip, ...]) -> tuple[Work, ...]:
    """What technicians must come for."""
    works: list[Work] = []
    if group.ai_by is Hands.TECHNICIAN:
        works += [Work(Part.AI, trip.ai.key, trip.day, trip, None) for trip in trips if trip.ai is not None]
        works += [Work(Part.HEAT, item.key, item.day, None, item) for item in heat_sessions(group.protocol)]
    if group.steps_by is Hands.TECHNICIAN:
        works += [Work(Part.SERVICE, trip.key, trip.day, trip, None) for trip in trips if trip.ai is None]
    return tuple(works)


class Model:
    """A season with everything that search looks up often. Ranches are places 0, 1, ...; bases follow."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.not_before = _first_minute(season)
        ranches = list(season.ranches.values())
        self._ranches = ranches
        self._spills: dict[int, bool] = {}
        self._places = [(ranch.lat, ranch.lon) for ranch in ranches]
        self._place_of = {ranch.id: i for i, ranch in enumerate(ranches)}
        length = (season.last_day - season.first_day).days + 1
        self.people = [
            Person(
                i,
                person,
                len(ranches) + i,
                frozenset(day.toordinal() for day in person.days_off),
                max(1, length - sum(season.first_day <= day <= season.last_day for day in person.days_off)),
            )
            for i, person in enumerate(season.technicians.values())
        ]
        # What evenness of load weighs for each technician; empty where the season does not weigh it.
        uneven = season.weights.uneven_load
        self.load_price = [uneven / person.bookable for person in self.people] if uneven else []
        self._places += [(person.lat, person.lon) for person in season.technicians.values()]
        self.number = {person.technician.id: person.index for person in self.people}
        self._roads: list[list[tuple[float, int]] | None] = [None] * len(self._places)
        self._spots = np.array([_unit(place) for place in self._places], dtype=np.float64).reshape(-1, 3).T
        self._able: dict[tuple[int, frozenset[str]], tuple[int, ...]] = {}
        self.last_stop = [ranch.last_stop for ranch in ranches]
        self.needs = [self.need(group, i) for i, group in enumerate(season.groups)]
        self.index = {group.id: i for i, group in enumerate(season.groups)}

    def restrict(self, days: Mapping[str, tuple[int, ...]]) -> None:
        """Leave each group only these AI days."""
        self.needs = [
            replace(need, days=tuple(day for day in need.days if day in days[need.group.id])) for need in self.needs
        ]

    def place_of(self, ranch: str) -> int:
        """The place number of a ranch."""
        return self._place_of[ranch]

    def need(self, group: Group, index: int) -> Need:
        """What the group takes, and on which days AI can fall at all."""
        ranch = self.season.ranches[group.ranch]
        place = self._place_of[group.ranch]
        trips = trips_of(group.protocol)
        loose = tuple(step for step in group.protocol.steps if step.trip is None)
        fixed = {item.step: minute(item.at) for item in group.done}
        every = works_of(group, trips)
        days = self._days(group, ranch, trips, every)
        past = tuple(work for work in every if fixed and self._is_past(group, ranch, days, work, fixed.keys()))
        works = tuple(work for work in every if work not in past)
        able = self._technicians(group, place) if works else ()
        on_days = [trip.day for trip in trips]
        spots = frozenset([*on_days, *(work.day for work in every)])
        own_ai = group.ai_by is Hands.RANCH and any(
            trip.ai is not None for trip in trips
        )  # no visit's window stands for it
        tight = (
            own_ai or len(set(on_days)) < len(on_days) or any(work.heat is not None for work in works) or bool(fixed)
        )
        wanted = group.ai_wanted.toordinal()
        return Need(index, group, ranch, place, trips, loose, days, fixed, works, able, wanted, spots, tight, past)

    def _days(self, group: Group, ranch: Ranch, trips: tuple[Trip, ...], works: tuple[Work, ...]) -> tuple[int, ...]:
        span = range((group.ai_to - group.ai_from).days + 1)
        days = [group.ai_from + timedelta(days=i) for i in span]
        days = [day for day in days if not self.day_fault(group, ranch, trips, works, day)]
        if group.done:
            reference = group.protocol.reference_day
            started = {
                item.at.astimezone(ranch.zone).date() + timedelta(days=reference - group.protocol.by_key[item.step].day)
                for item in group.done
            }
            days = [day for day in days if day in started]
        return tuple(day.toordinal() for day in sorted(days, key=lambda day: (abs((day - group.ai_wanted).days), day)))

    def day_fault(
        self, group: Group, ranch: Ranch, trips: tuple[Trip, ...], works: tuple[Work, ...], day: date
    ) -> str | None:
        """Why AI on that day is out of the question, or None: "season" or "closed"."""
        reference = group.protocol.reference_day
        offsets = [step.day - reference for step in group.protocol.steps]
        offsets += [work.day for work in works]
        spans = [day + timedelta(days=offset) for offset in offsets]
        if min(spans) < self.season.first_day or max(spans) > self.season.last_day:
            return "season"
        done = {item.step for item in group.done}
        for trip in trips:
            if not done.intersection(trip.keys) and day + timedelta(days=trip.day) in ranch.closed_days:
                return "closed"
        on = {day + timedelta(days=work.day) for work in works if work.heat}
        if any(item in ranch.closed_days and not self._is_over(ranch, item) for item in on):
            return "closed"
        return None

    def _is_past(self, group: Group, ranch: Ranch, days: tuple[int, ...], work: Work, fixed: AbstractSet[str]) -> bool:
        """Whether a work of a group that has begun was carried out, or is a half day of a watch at which nobody can begin
        any more."""
        if work.trip is not None:
            return not fixed.isdisjoint(work.trip.keys)
        assert work.heat is not None
        rate = max((person.rate for person in self.people), default=ranch.ai_rate)
        length, begins = (
            ceil(work.heat.head(group.head) / rate * 60),
            ranch.opens if work.heat.morning else ranch.closes,
        )
        more = HEAT_BAND if work.heat.morning else -length
        on = (date.fromordinal(day + work.day) for day in days)
        return bool(days) and all(minute_of(day, begins, ranch.zone) + more < self.not_before for day in on)

    def _is_over(self, ranch: Ranch, day: date) -> bool:
        """Whether nothing can begin at the ranch on that day any more."""
        return minute_of(day, ranch.closes, ranch.zone) < self.not_before

    def _technicians(self, group: Group, place: int) -> tuple[int, ...]:
        """Technicians with the skills that the group asks for, the nearest first."""
        key = (place, group.skills)
        if key not in self._able:
            road = self.road(place)
            able = [person for person in self.people if group.skills <= person.technician.skills]
            self._able[key] = tuple(
                person.index for person in sorted(able, key=lambda person: (road[person.base][0], person.index))
            )
        return self._able[key]

    def own_rate(self, need: Need) -> float:
        """Head per hour at AI to which no technician has to come: the ranch's; the fastest technician's where it is over."""
        if all(work.part is not Part.AI for work in need.past):
            return need.ranch.ai_rate
        able = (person.rate for person in self.people if need.group.skills <= person.technician.skills)
        return max(able, default=need.ranch.ai_rate)

    def rest_days(self, need: Need, ai_day: int) -> int:
        """What AI on that day counts where it is a weekend or holiday and the season weighs it: one more than before."""
        if not self.season.weights.rest_day or not self.season.is_rest_day(date.fromordinal(ai_day)):
            return 0
        return 1 + need.ranch.rest_days_before

    def spills(self, place: int) -> bool:
        """Whether the ranch's handling hours can reach into another of the season's days than their own."""
        found = self._spills.get(place)
        if found is None:
            found = self._spills[place] = self._reaches_over(self._ranches[place])
        return found

    def _reaches_over(self, ranch: Ranch) -> bool:
        season = self.season
        if ranch.zone == season.zone:
            return False
        length = (season.last_day - season.first_day).days
        days = [
            season.first_day + timedelta(days=length * i // 4) for i in range(5)
        ]  # both sides of changes of the clock
        return any(
            day_of(minute_of(day, clock, ranch.zone) + more, season.zone) != day
            for day in days
            for clock, more in ((ranch.opens, -60), (ranch.closes, 60))
        )

    def road(self, place: int) -> list[tuple[float, int]]:
        """Road km and driving minutes (rounded up) from a place to every place."""
        found = self._roads[place]
        if found is None:
            found = self._roads[place] = self._measure(place)
        return found

    def _measure(self, place: int) -> list[tuple[float, int]]:
        """The chord of the unit sphere, then its arc. The arc by `math`, whose last bit is the same on every processor."""
        x, y, z = ((column - column[place]) ** 2 for column in self._spots)
        chords = np.sqrt(x + y + z)
        arcs = np.array([asin(half) for half in np.minimum(1.0, chords / 2).tolist()])
        km = 2 * _EARTH_KM * self.season.travel.road_factor * arcs
        minutes = np.ceil(km * (60 / self.season.travel.speed_kmh) - 1e-9).astype(np.int64)
        return list(zip(km.tolist(), minutes.tolist(), strict=True))


def _unit(place: tuple[float, float]) -> tuple[float, float, float]:
    """A place as a point of the unit sphere."""
    lat, lon = radians(place[0]), radians(place[1])
    return cos(lat) * cos(lon), cos(lat) * sin(lon), sin(lat)
