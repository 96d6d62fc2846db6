"""A ranch's days on paper: its trips through the chute with room to tick, and a sheet a group with a line a female."""

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from accounts.models import Cooperative
from scheduling.kernel.protocol import HourRule
from scheduling.kernel.waiting import Treated, sessions_of_some
from scheduling.models import Order, PlanVersion, SeasonEntry
from scheduling.services.board import Act, Board, Row
from scheduling.services.editions import protocols_of
from scheduling.services.waiting import WaitWords, rules_of_some, wait_for, wait_words

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


def say_waits(board: Board, plan: PlanVersion, cooperative: Cooperative) -> None:
    """Write on a board's acts who has to wait at sessions of some. One query; none where the board has no such session."""
    rows = {str(row.entry.pk): row for row in board.rows if row.acts and rules_of_some(row.entry.protocol)}
    if not rows:
        return
    protocols = protocols_of(cooperative)
    for group in plan.document["groups"]:
        if group["id"] in rows:
            row = rows[group["id"]]
            rules = sessions_of_some(protocols[row.entry.protocol])
            said = dict(_waits(group["lots"], row.entry, rules))
            row.acts = [replace(act, wait=None if act.done else said.get((act.lot, act.key))) for act in row.acts]


def _waits(
    lots: Sequence[dict[str, Any]], entry: SeasonEntry, rules: Mapping[str, HourRule]
) -> Iterator[tuple[tuple[int, str], WaitWords | None]]:
    """What is said at each session of some, by lot (from 1) and step."""
    zone, done = ZoneInfo(entry.group.herd.ranch.zone), {record.step: record.at for record in entry.records.all()}
    begun = {step["key"]: datetime.fromisoformat(step["start"]) for step in lots[0]["steps"]}
    for number, lot in enumerate(lots, 1):
        steps = {step["key"]: step for step in lot["steps"]}
        for key in rules.keys() & steps.keys():
            anchor = rules[key].step
            if anchor not in steps:  # the group's wish is for another programme than the plan's
                continue
            starts, ends = (datetime.fromisoformat(steps[anchor][name]) for name in ("start", "end"))
            treated = Treated(starts, ends, lot["head"])
            if anchor in done:
                treated = treated.begun_at(done[anchor], begun[anchor], zone)
            session = datetime.fromisoformat(steps[key]["start"])
            yield (number, key), wait_words(wait_for(treated, rules[key].window[0], session, zone, entry.order))


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
