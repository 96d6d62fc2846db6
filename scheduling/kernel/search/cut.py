"""Groups cut into lots with hours to the minute, whoever comes to each: what `placing` puts into a plan."""

from collections.abc import Mapping
from dataclasses import dataclass

from scheduling.kernel.protocol import Step
from scheduling.kernel.search.model import Need, Trip, hour_anchor


@dataclass(frozen=True)
class Handled:
    """A lot in the chute for a trip: first minute and end; who is there (technician, head booked)."""

    trip: Trip
    start: int
    end: int
    hands: tuple[tuple[int, int], ...]

    def during(self, other: "Handled") -> bool:
        """Whether both are at the same time."""
        return self.start < other.end and other.start < self.end


@dataclass(frozen=True)
class CutLot:
    """A lot: head, and its trips that hours or technicians tie."""

    head: int
    handled: Mapping[str, Handled]


@dataclass(frozen=True)
class Cut:
    """A group as it was cut, with its AI day; whether it uses the barn."""

    need: Need
    ai_day: int
    lots: tuple[CutLot, ...]
    barn: bool


def tied_trips(need: Need) -> list[Trip]:
    """Trips that a technician comes for, or from or to which hours are counted."""
    theirs = {work.trip.key for work in need.works if work.trip is not None}
    rules = [rule for trip in need.trips if (rule := rule_of(trip)) is not None]
    counted = {rule.after.step for rule in rules if rule.after is not None}
    return [
        trip
        for trip in need.trips
        if trip.key in theirs or trip.ai is not None or rule_of(trip) is not None or counted.intersection(trip.keys)
    ]


def rule_of(trip: Trip) -> Step | None:
    """The step of a trip whose hours another step sets."""
    step = trip.ai if trip.ai is not None else hour_anchor(trip)
    return step if step is not None and step.after is not None else None
