"""A season as an immutable problem: ranches, groups, technicians, barns, weights.

The values here are what the optimizer and the checker share; they hold no behaviour of either. Times of day are
`datetime.time` in the ranch's zone, distances km, speeds km/h, rates head per hour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime, time
from difflib import get_close_matches
from enum import StrEnum
from typing import Protocol as Shape
from typing import TypeVar
from zoneinfo import ZoneInfo

from scheduling.kernel.protocol import AnimalClass, Protocol
from scheduling.kernel.reader import Reader, ReadError


class _HasId(Shape):
    @property
    def id(self) -> str: ...


T = TypeVar("T", bound=_HasId)
FORMAT = "herdplan-season/1"
MAX_RANCHES = 2_000
MAX_GROUPS = 10_000
MAX_TECHNICIANS = 500


class Order(StrEnum):
    """Whether animals come to AI in the order in which they were treated."""

    KEPT = "kept"
    ANY = "any"


class Hands(StrEnum):
    """Who carries out the work."""

    RANCH = "ranch"
    TECHNICIAN = "technician"


@dataclass(frozen=True, slots=True)
class Travel:
    """Road distance = great-circle km x road_factor; driving time = road distance / speed_kmh."""

    road_factor: float
    speed_kmh: float


@dataclass(frozen=True, slots=True)
class Ranch:
    """Where groups are handled. `ai_rate` counts only when the ranch inseminates its own; after a `last_stop` ranch a
    technician goes to no other that day (biosecurity). `rest_days_before`: AI days on weekends and holidays in earlier seasons.
    """

    id: str
    name: str
    lat: float
    lon: float
    zone: ZoneInfo
    opens: time
    closes: time
    closed_days: frozenset[date]
    treat_rate: float
    ai_stalls: int
    ai_rate: float
    last_stop: bool = False
    rest_days_before: int = 0


@dataclass(frozen=True, slots=True)
class Done:
    """A step that was carried out, at an aware time: frozen."""

    step: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Group:
    """Females that are bred together under one protocol."""

    id: str
    ranch: str
    animal_class: AnimalClass
    head: int
    protocol: Protocol
    ai_from: date
    ai_to: date
    ai_wanted: date
    order: Order
    ai_by: Hands
    steps_by: Hands
    skills: frozenset[str]
    needs_barn: bool
    done: tuple[Done, ...]

    @property
    def carried_out(self) -> frozenset[str]:
        """The keys of the steps carried out, with those of the same chute trip: they are one event."""
        done = frozenset(item.step for item in self.done)
        trips = (frozenset(step.key for step in trip) for trip in self.protocol.trips)
        return done.union(*(trip for trip in trips if trip & done))


@dataclass(frozen=True, slots=True)
class Technician:
    """Who inseminates. Hours are in the season's zone; `days_before`: days of work in earlier seasons."""

    id: str
    name: str
    lat: float
    lon: float
    starts: time
    ends: time
    days_off: frozenset[date]
    ai_rate: float
    max_head_per_day: int
    skills: frozenset[str]
    days_before: int = 0


@dataclass(frozen=True, slots=True)
class Barn:
    """A portable breeding barn: at one ranch a day, cleaned between ranches."""

    id: str
    stalls: int
    clean_hours: float


@dataclass(frozen=True, slots=True)
class Weights:
    """Cost weights of the season contract, and three that make shares fair (0: not weighed).

    Over seasons, `rest_day`: a group's AI on a weekend or holiday, times one more than the ranch had before; `day_before`: a
    technician-day, times the technician's days of work before. Within the season, `uneven_load`: every technician's days of
    work, squared, over the days on which the technician can be booked.
    """

    technician_day: float = 300
    km: float = 1
    day_moved: float = 20
    worst_move: float = 100
    afternoon_half_hour: float = 3
    unplaced: float = 3000
    rest_day: float = 0
    day_before: float = 0
    uneven_load: float = 0


@dataclass(frozen=True)
class Season:
    """One planning problem. `not_before`: a moment before which no handling may begin but what was carried out."""

    name: str
    first_day: date
    last_day: date
    zone: ZoneInfo
    travel: Travel
    ranches: Mapping[str, Ranch]
    groups: tuple[Group, ...]
    technicians: Mapping[str, Technician]
    barns: Mapping[str, Barn]
    weights: Weights
    holidays: frozenset[date] = frozenset()
    not_before: datetime | None = None

    def is_rest_day(self, day: date) -> bool:
        """Saturday, Sunday or a holiday."""
        return day.weekday() >= 5 or day in self.holidays


SeasonError = ReadError

_DEFAULT_RANCH_AI_RATE = 20.0
_MAX_HEAD = 5_000


def load_season(document: object, protocols: Mapping[str, Protocol]) -> Season:
    """Read a season document (parsed JSON) into a `Season`; raises `SeasonError` on the first fault."""
    top = Reader(document, "")
    if top.take("format") != FORMAT:
        raise SeasonError("format", f'"{FORMAT}"')
    frame = Reader(top.take("season"), "season")
    zone = frame.zone("zone")
    name, first_day, last_day = frame.text("name"), frame.day("first_day"), frame.day("last_day")
    if first_day > last_day:
        raise SeasonError("season.last_day", "not before season.first_day")
    if (last_day - first_day).days > 400:
        raise SeasonError("season.last_day", "at most 400 days after season.first_day")
    holidays = frame.days("holidays") if frame.has("holidays") else frozenset()
    not_before = frame.moment("not_before") if frame.has("not_before") else None
    frame.done()
    travel = _travel(Reader(top.take("travel"), "travel"))
    ranches = _keyed([_ranch(row, zone) for row in _rows(top, "ranches", MAX_RANCHES)], "ranches")
    technicians = _keyed([_technician(row) for row in _rows(top, "technicians", MAX_TECHNICIANS)], "technicians")
    barns = _keyed([_barn(row) for row in _rows(top, "barns", 200)], "barns") if top.has("barns") else {}
    weights = _weights(Reader(top.take("weights"), "weights")) if top.has("weights") else Weights()
    groups = [_group(row, ranches, protocols, (first_day, last_day)) for row in _rows(top, "groups", MAX_GROUPS)]
    _keyed(groups, "groups")
    top.done()
    return Season(
        name,
        first_day,
        last_day,
        zone,
        travel,
        ranches,
        tuple(groups),
        technicians,
        barns,
        weights,
        holidays,
        not_before,
    )


def _rows(top: Reader, name: str, most: int) -> list[Reader]:
    return [Reader(item, f"{name}[{i}]") for i, item in enumerate(top.items(name, most))]


def _keyed(rows: Sequence[T], name: str) -> dict[str, T]:
    keyed: dict[str, T] = {}
    for i, row in enumerate(rows):
        if row.id in keyed:
            raise SeasonError(f"{name}[{i}].id", f"each id once; {row.id} stands there twice")
        keyed[row.id] = row
    return keyed


def _travel(row: Reader) -> Travel:
    travel = Travel(row.number("road_factor", 1, 5), row.number("speed_kmh", 5, 200))
    row.done()
    return travel


def _ranch(row: Reader, season_zone: ZoneInfo) -> Ranch:
    opens, closes = row.hours("handling_hours")
    ranch = Ranch(
        id=row.text("id"),
        name=row.text("name"),
        lat=row.number("lat", -90, 90),
        lon=row.number("lon", -180, 180),
        zone=row.zone("zone") if row.has("zone") else season_zone,
        opens=opens,
        closes=closes,
        closed_days=row.days("closed_days") if row.has("closed_days") else frozenset(),
        treat_rate=row.number("treat_rate", 1, 1_000),
        ai_stalls=row.whole("ai_stalls", 1, 20),
        ai_rate=row.number("ai_rate", 1, 1_000) if row.has("ai_rate") else _DEFAULT_RANCH_AI_RATE,
        last_stop=row.yes_no("last_stop") if row.has("last_stop") else False,
        rest_days_before=row.whole("rest_days_before", 0, 10_000) if row.has("rest_days_before") else 0,
    )
    row.done()
    return ranch


def _technician(row: Reader) -> Technician:
    starts, ends = row.hours("hours")
    technician = Technician(
        id=row.text("id"),
        name=row.text("name"),
        lat=row.number("lat", -90, 90),
        lon=row.number("lon", -180, 180),
        starts=starts,
        ends=ends,
        days_off=row.days("days_off") if row.has("days_off") else frozenset(),
        ai_rate=row.number("ai_rate", 1, 1_000),
        max_head_per_day=row.whole("max_head_per_day", 1, _MAX_HEAD),
        skills=row.words("skills") if row.has("skills") else frozenset(),
        days_before=row.whole("days_before", 0, 10_000) if row.has("days_before") else 0,
    )
    row.done()
    return technician


def _barn(row: Reader) -> Barn:
    barn = Barn(row.text("id"), row.whole("stalls", 1, 20), row.number("clean_hours", 0, 72))
    row.done()
    return barn


def _weights(row: Reader) -> Weights:
    given = {item.name: row.number(item.name, 0, 1_000_000) for item in fields(Weights) if row.has(item.name)}
    row.done()
    return Weights(**given)


def _group(
    row: Reader, ranches: Mapping[str, Ranch], protocols: Mapping[str, Protocol], season_days: tuple[date, date]
) -> Group:
    identity, ranch = row.text("id"), row.text("ranch")
    if ranch not in ranches:
        raise SeasonError(row.at("ranch"), f"the id of one of the ranches; there is no {ranch}")
    animal_class = row.choice("animal_class", AnimalClass)
    protocol = _protocol(row, animal_class, protocols)
    ai_from, ai_to, ai_wanted = _window(row, season_days)
    group = Group(
        id=identity,
        ranch=ranch,
        animal_class=animal_class,
        head=row.whole("head", 1, _MAX_HEAD),
        protocol=protocol,
        ai_from=ai_from,
        ai_to=ai_to,
        ai_wanted=ai_wanted,
        order=row.choice("order", Order) if row.has("order") else Order.KEPT,
        ai_by=row.choice("ai_by", Hands) if row.has("ai_by") else Hands.TECHNICIAN,
        steps_by=row.choice("steps_by", Hands) if row.has("steps_by") else Hands.RANCH,
        skills=row.words("skills") if row.has("skills") else frozenset(),
        needs_barn=row.yes_no("needs_barn") if row.has("needs_barn") else False,
        done=_done(row, protocol) if row.has("done") else (),
    )
    row.done()
    return group


def _protocol(row: Reader, animal_class: AnimalClass, protocols: Mapping[str, Protocol]) -> Protocol:
    key = row.text("protocol")
    if key not in protocols:
        near = get_close_matches(key, protocols, n=3)
        hint = f"; did you mean {' or '.join(near)}" if near else ""
        raise SeasonError(row.at("protocol"), f"the id of a protocol of the catalogue, not {key}{hint}")
    if not protocols[key].fits(animal_class):
        theirs = protocols[key].animal_class
        raise SeasonError(row.at("protocol"), f"a protocol for class {animal_class}; {key} is for {theirs}")
    return protocols[key]


def _window(row: Reader, season_days: tuple[date, date]) -> tuple[date, date, date]:
    ai_from, ai_to, ai_wanted = row.day("ai_from"), row.day("ai_to"), row.day("ai_wanted")
    first, last = season_days
    for name, day in (("ai_from", ai_from), ("ai_to", ai_to)):
        if not first <= day <= last:
            raise SeasonError(row.at(name), f"a day of the season, {first} to {last}")
    if ai_from > ai_to:
        raise SeasonError(row.at("ai_to"), "not before ai_from")
    if not ai_from <= ai_wanted <= ai_to:
        raise SeasonError(row.at("ai_wanted"), "a day from ai_from to ai_to")
    return ai_from, ai_to, ai_wanted


def _done(row: Reader, protocol: Protocol) -> tuple[Done, ...]:
    steps: list[Done] = []
    for i, item in enumerate(row.items("done", 100)):
        entry = Reader(item, f"{row.at('done')}[{i}]")
        done = Done(entry.text("step"), entry.moment("at"))
        if done.step not in protocol.by_key:
            raise SeasonError(entry.at("step"), "a step of the protocol: " + ", ".join(protocol.by_key))
        if done.step in (other.step for other in steps):
            raise SeasonError(entry.at("step"), f"each step once; {done.step} stands there twice")
        entry.done()
        steps.append(done)
    return tuple(steps)
