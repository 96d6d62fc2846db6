"""Technicians' days from their visits: leaving base, back, km. For plans changed by hand."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

from scheduling.kernel.plan import TechnicianDay, Visit
from scheduling.kernel.search.model import great_circle_km
from scheduling.kernel.season import Season

Place = tuple[float, float]


def straight_km(one: Place, other: Place) -> float:
    """Great-circle km."""
    return great_circle_km(one, other)


def road_km(season: Season, one: Place, other: Place) -> float:
    """Great-circle km times the season's road factor."""
    return great_circle_km(one, other) * season.travel.road_factor


def drive(season: Season, one: Place, other: Place) -> timedelta:
    """Driving time between two places."""
    return timedelta(hours=road_km(season, one, other) / season.travel.speed_kmh)


def technician_days(season: Season, visits: Sequence[Visit]) -> tuple[TechnicianDay, ...]:
    """Every technician-day that has a visit, by day and technician."""
    ranch_of = {group.id: season.ranches[group.ranch] for group in season.groups}
    grouped: dict[tuple[date, str], list[Visit]] = defaultdict(list)
    for visit in sorted(visits, key=lambda item: (item.start, item.end)):
        grouped[visit.start.astimezone(season.zone).date(), visit.technician].append(visit)
    days = []
    for (day, name), stops in sorted(grouped.items()):
        person = season.technicians[name]
        base = (person.lat, person.lon)
        places = [(ranch_of[stop.group].lat, ranch_of[stop.group].lon) for stop in stops]
        leaves = stops[0].start - drive(season, base, places[0])
        back = max(stop.end + drive(season, place, base) for stop, place in zip(stops, places, strict=True))
        km = sum(road_km(season, one, other) for one, other in pairwise([base, *places, base]))
        days.append(
            TechnicianDay(name, day, leaves.astimezone(season.zone), back.astimezone(season.zone), round(km, 1))
        )
    return tuple(days)
