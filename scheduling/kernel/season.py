"""A season as an immutable problem: ranches, groups, technicians, barns, weights.

The values here are what the optimizer and the checker share; they hold no behaviour of either. Times of day are
`datetime.time` in the ranch's zone, distances km, speeds km/h, rates head per hour.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

from scheduling.kernel.protocol import AnimalClass, Protocol

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
    """Where groups are handled. `ai_rate` counts only when the ranch inseminates its own."""

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


@dataclass(frozen=True, slots=True)
class Technician:
    """Who inseminates. Hours are in the season's zone."""

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


@dataclass(frozen=True, slots=True)
class Barn:
    """A portable breeding barn: at one ranch a day, cleaned between ranches."""

    id: str
    stalls: int
    clean_hours: float


@dataclass(frozen=True, slots=True)
class Weights:
    """Cost weights of the season contract."""

    technician_day: float = 300
    km: float = 1
    day_moved: float = 20
    worst_move: float = 100
    afternoon_half_hour: float = 3
    unplaced: float = 3000


@dataclass(frozen=True)
class Season:
    """One planning problem."""

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


class SeasonError(ValueError):
    """A season file that cannot be used. `field` is a path such as `groups[3].ai_to`; the text says what is allowed."""

    def __init__(self, field: str, allowed: str) -> None:
        super().__init__(f"{field}: {allowed}")
        self.field = field
        self.allowed = allowed


def load_season(document: Mapping[str, Any], protocols: Mapping[str, Protocol]) -> Season:
    """Read a season document (already parsed JSON) into a `Season`; raises `SeasonError` on the first fault."""
    raise NotImplementedError
