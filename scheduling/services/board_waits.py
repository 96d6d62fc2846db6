"""Who has to wait at a board's sessions of some, as the plan has them: a published plan or a draft."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from accounts.models import Cooperative
from scheduling.kernel.protocol import HourRule
from scheduling.kernel.waiting import Treated, sessions_of_some
from scheduling.models import PlanVersion, SeasonEntry
from scheduling.services.board import Board
from scheduling.services.editions import protocols_of
from scheduling.services.waiting import WaitWords, rules_of_some, wait_for, wait_words


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
