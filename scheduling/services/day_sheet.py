"""A ranch's days on paper: its trips through the chute with room to tick, and a sheet a group with a line a female."""

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from scheduling.models import Order
from scheduling.services.board import Act, Board, Row

# Lines of a group's sheet: a default of this program; nobody works more in a day, and a phone must still load the page.
MOST_LINES = 500


@dataclass(frozen=True, slots=True)
class Trip:
    """A column of a group's sheet: what is done on that trip, and day and hours of each lot."""

    label: str
    symbol: str
    acts: tuple[Act, ...]


@dataclass(frozen=True, slots=True)
class GroupSheet:
    """A group's sheet. `lines` are tags in their order, then numbers for females that are not in the book one by one."""

    row: Row
    trips: tuple[Trip, ...]
    lines: tuple[str, ...]
    known: int
    cut: bool
    in_order: bool

    @property
    def waits(self) -> list[Act]:
        """Sessions at which somebody has to wait, in order of time."""
        return sorted((act for act in self.row.acts if act.wait), key=lambda act: act.starts)


def group_sheets(board: Board, tags: Mapping[uuid.UUID, Sequence[str]]) -> list[GroupSheet]:
    """The sheets of a board's groups that are in the plan. `tags` by group id."""
    return [_sheet(row, tags.get(row.entry.group_id, ())) for row in board.rows if row.acts]


def _sheet(row: Row, tags: Sequence[str]) -> GroupSheet:
    head = max(row.entry.head, len(tags))
    lines = [*tags, *(f"({number})" for number in range(len(tags) + 1, head + 1))]
    in_order = row.entry.order == Order.KEPT
    return GroupSheet(row, tuple(_trips(row.acts)), tuple(lines[:MOST_LINES]), len(tags), head > MOST_LINES, in_order)


def _trips(acts: Iterable[Act]) -> Iterator[Trip]:
    """Passes through the chute in the order of their days; what every lot does is one column."""
    timed = sorted((act for act in acts if act.timed), key=lambda act: act.starts)
    for key in dict.fromkeys(act.key for act in timed):
        mine = tuple(act for act in timed if act.key == key)
        yield Trip(mine[0].words.label, mine[0].words.symbol, mine)
