"""Steps and visits at other hours than planned: as they were done."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import TypeVar

from scheduling.kernel.clock import after_hours
from scheduling.kernel.plan import GroupPlan, PlacedStep, Visit

Timed = TypeVar("Timed", PlacedStep, Visit)
_HOUR = timedelta(hours=1)


def shifted(item: Timed, late: timedelta) -> Timed:
    """A step or visit so much later in elapsed time (less than 0: earlier), its times written with the offsets they had."""
    if not late:
        return item
    start, end = (after_hours(moment, late / _HOUR, moment.tzinfo) for moment in (item.start, item.end))
    return replace(item, start=start, end=end)


def put_off(place: GroupPlan, late: Mapping[str, timedelta]) -> GroupPlan:
    """A group's place with steps, by key, so much later: the lots follow one another as they were planned."""
    return replace(
        place,
        lots=tuple(
            replace(lot, steps=tuple(shifted(step, late.get(step.key, timedelta())) for step in lot.steps))
            for lot in place.lots
        ),
    )
