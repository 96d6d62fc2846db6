"""Hours of treatment for technicians who come from far: they can be at a ranch for a part of its day only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING

from scheduling.kernel.search.model import Need, Part, Person, Work, minute_of

if TYPE_CHECKING:
    from scheduling.kernel.search.visits import Treatment, Visits

_NEAREST = 4
Range = tuple[int, int]


def choices_in_reach(
    visits: Visits, need: Need, ai_day: int, known: Sequence[Treatment], bounds: Range, width: int
) -> Iterator[Treatment]:
    """One more choice of the treatment's start for each of the nearest technicians who could do all works at none of `known`.

    `bounds`: minutes in which treatment may start; `width`: how far it may float.
    """
    seen = list(known)
    for index in need.able[:_NEAREST]:
        person = visits.model.people[index]
        ranges = [_range(visits, need, ai_day, person, work) for work in need.works if work.part is not Part.SERVICE]
        its_own = next((work for work in need.works if work.trip is need.anchor), None)
        there = bounds if its_own is None else _there(visits, need, ai_day, person, its_own)
        if None in ranges or there is None:
            continue
        low = max([bounds[0], *(item[0] for item in ranges if item)])
        high = min([bounds[1], *(item[1] for item in ranges if item)])
        if any(item and low <= item[0] and item[1] <= high and _meet(item, there) for item in seen):
            continue
        first, last = max(low, there[0]), min(high, there[1])
        if first <= last:
            seen.append((first, min(first + width, last)))
            yield seen[-1]


def _meet(one: Range, other: Range) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _range(visits: Visits, need: Need, ai_day: int, person: Person, work: Work) -> Range | None:
    """Treatment starts for which a technician can do a session that follows it."""
    there = _there(visits, need, ai_day, person, work)
    if there is None or work.trip is None or work.trip.ai is None:
        return None
    gap = visits.shape(need, person.rate).gaps[work.trip.ai.key]
    return None if gap is None else (there[0] - gap[1], there[1] - gap[0])


def _there(visits: Visits, need: Need, ai_day: int, person: Person, work: Work) -> Range | None:
    """Earliest and latest start of a work by a technician who drives there from home and back; None where there is none."""
    if work.trip is None:
        return None
    on, zone = date.fromordinal(ai_day + work.trip.day), visits.model.season.zone
    drive = visits.model.road(need.place)[person.base][1]
    length = visits.shape(need, person.rate).patterns[work.trip.key].length
    low, high = visits.hours(need, on.toordinal(), length)
    low = max(low, minute_of(on, person.technician.starts, zone) + drive)
    high = min(high, minute_of(on, person.technician.ends, zone) - drive - length)
    return (low, high) if low <= high else None
