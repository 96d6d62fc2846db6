"""Split-time AI: when the first session has closed, what is held for the second shrinks to the females that are left."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from math import ceil
from typing import Any

from scheduling.models import Season, SeasonEntry, StepRecord
from scheduling.services.catalogue import protocol_of


@dataclass(frozen=True, slots=True)
class Left:
    """The second session's step, and how many of the group's head are left for it."""

    step: str
    rest: int
    head: int

    def of_lot(self, head: int) -> int:
        """Females of a lot that are left, rounded up: the count was taken of the whole group."""
        return ceil(head * self.rest / self.head)


def first_of_two(entry: SeasonEntry, key: str) -> bool:
    """Whether the step is the first of two AI sessions."""
    protocol = protocol_of(entry.protocol)
    return protocol is not None and len(protocol.ai_steps) > 1 and protocol.ai_steps[0].key == key


def left_after_first(season: Season) -> dict[str, Left]:
    """What is left for the second session, by entry, where somebody counted at the first. One query."""
    found = {}
    for row in StepRecord.objects.filter(entry__season=season).exclude(head=None).select_related("entry"):
        protocol = protocol_of(row.entry.protocol)
        if protocol is not None and row.head is not None and first_of_two(row.entry, row.step):
            rest = max(0, row.entry.head - row.head)
            found[str(row.entry_id)] = Left(protocol.ai_steps[1].key, rest, row.entry.head)
    return found


def released(
    row: dict[str, Any], step: str, left: Mapping[str, Left], lot_head: int, reserved: int
) -> dict[str, Any] | None:
    """A published row as it still has to be held: fewer head and a shorter time, None where nobody is left.

    Where more are left than were `reserved` for, the row stays: more time has to be planned for.
    """
    found = left.get(str(row["entry_id"]))
    if found is None or step != found.step:
        return row
    rest = found.of_lot(lot_head)
    if rest == 0:
        return None
    if rest >= reserved:
        return row
    lasts = (row["ends"] - row["starts"]) * (rest / reserved)
    ends = row["starts"] + timedelta(minutes=ceil(lasts / timedelta(minutes=1)))
    shorter = {**row, "head": ceil(row["head"] * rest / reserved), "ends": ends}
    if "busy_ends" in row:
        shorter["busy_ends"] = row["busy_ends"] - (row["ends"] - ends)
    return shorter


def too_many_left(entry: SeasonEntry, inseminated: int) -> bool:
    """Whether more are left for the second session than its visits are reserved for."""
    protocol = protocol_of(entry.protocol)
    if protocol is None or len(protocol.ai_steps) < 2:
        return False
    rows = entry.steps.filter(key=protocol.ai_steps[1].key).exclude(status="cancelled")
    return entry.head - inseminated > sum(rows.values_list("head", flat=True))
