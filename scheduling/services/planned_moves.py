"""Planned moves: hauling and changes of feed, held against the bands around AI and against the heat of their day."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import User
from accounts.tenancy import Member
from herdplan.herds.models import Ranch
from scheduling.kernel.advice.moves import (
    FEED_ADAPTED,
    FEED_SAME_AFTER,
    NO_HAUL,
    Light,
    Move,
    MoveKind,
    check_moves,
)
from scheduling.models import PlannedMove, SeasonEntry
from scheduling.services.entries import require_ranch
from scheduling.services.heat import HeatBook, HeatNote
from scheduling.services.item_acts import ItemError
from scheduling.services.publishing import bump_calendar
from scheduling.services.season_basis import Basis

# The longest time from AI on which a move can be typed: a default of this program against slips of the year.
BEFORE, AFTER = timedelta(days=250), timedelta(days=400)
_FIELDS = ("kind", "day", "begins", "ends", "origin", "goal", "supplement")
_SIGNS = {Light.OPEN: "✓", Light.CARE: "!", Light.CLOSED: "✕"}
_WORDS = {Light.OPEN: "Nothing against it", Light.CARE: "With care", Light.CLOSED: "Not in these days"}


@dataclass(frozen=True, slots=True)
class Checked:
    """A move with what speaks against it. `light`: open, care or closed, by the bands; `heat` of its hours on its day.

    `heat_known`: whether any hour of that day is known; `sources`: who printed the band.
    """

    move: PlannedMove
    basis: Basis
    light: str
    sign: str
    word: str
    sentence: str
    code: str
    better: date | None
    sources: tuple[str, ...]
    heat: tuple[HeatNote, ...]
    heat_known: bool

    @property
    def warned(self) -> bool:
        """Whether anything speaks against it."""
        return self.light != Light.OPEN.value or bool(self.heat)

    @property
    def closed(self) -> tuple[date, date]:
        """First and last day on which a move of this kind should not be, whatever day this one is on."""
        haul = self.move.kind == PlannedMove.Kind.HAUL
        first, last = NO_HAUL if haul else (1 - FEED_ADAPTED, FEED_SAME_AFTER)
        return self.basis.ai_day + timedelta(days=first), self.basis.ai_day + timedelta(days=last)

    @property
    def digest(self) -> str:
        """What a person saw when the move was saved all the same."""
        told = repr((self.light, self.sentence, [(note.code, note.text) for note in self.heat]))
        return sha256(told.encode()).hexdigest()[:24]


def check_planned(
    user: User, moves: Sequence[PlannedMove], bases: Mapping[uuid.UUID, Basis], ranches: Iterable[Ranch]
) -> list[Checked]:
    """Moves held against bands and weather, in the order of their days. Three queries at most, whatever their number."""
    known = [move for move in moves if move.entry_id in bases]
    if not known:
        return []
    days = [move.day for move in known]
    book = HeatBook(user, ranches, min(days), max(days))
    return [_checked(move, bases[move.entry_id], book) for move in sorted(known, key=lambda row: (row.day, row.begins))]


def _checked(move: PlannedMove, basis: Basis, book: HeatBook) -> Checked:
    row = banded(move, basis)
    what = "Hauling" if move.kind == PlannedMove.Kind.HAUL else "Moving to other feed"
    return Checked(
        move=move,
        basis=basis,
        light=row.light.value,
        sign=_SIGNS[row.light],
        word=_WORDS[row.light],
        sentence=row.sentence,
        code=row.code,
        better=row.better,
        sources=tuple(cited.words for cited in row.sources),
        heat=book.haul(basis.ranch_pk, move.day, what, move.begins, move.ends),
        heat_known=book.knows(basis.ranch_pk, move.day),
    )


def banded(move: PlannedMove, basis: Basis) -> Any:
    """A move held against the bands alone, as the kernel tells it."""
    words = f"{move.origin} to {move.goal}"
    return check_moves(basis.ai_day, [Move(move.day, MoveKind(move.kind), words, move.supplement)])[0]


def moment(move: PlannedMove, clock: time, zone: str) -> datetime:
    """An hour of the move as a moment."""
    return datetime.combine(move.day, clock, ZoneInfo(zone))


def drafted(
    *, entry: SeasonEntry, basis: Basis, values: dict[str, Any], move: PlannedMove | None = None
) -> PlannedMove:
    """The move as it was typed, not saved; raises ItemError with the field."""
    row = PlannedMove(entry=entry) if move is None else move
    for name in _FIELDS:
        if name in values:
            setattr(row, name, values[name])
    if row.begins >= row.ends:
        raise ItemError("ends", "Choose an hour after the beginning, on the same day.")
    first, last = basis.ai_day - BEFORE, basis.ai_day + AFTER
    if not first <= row.day <= last:
        raise ItemError(
            "day", f"Choose a day from {first:%d %b %Y} to {last:%d %b %Y}: AI is on {basis.ai_day:%d %b %Y}."
        )
    try:
        row.full_clean(exclude=("entry", "by", "changed_at"), validate_constraints=False)
    except ValidationError as fault:
        name, texts = next(iter(fault.message_dict.items()))
        raise ItemError(name, " ".join(texts)) from None
    return row


def save_move(*, member: Member, entry: SeasonEntry, move: PlannedMove, now: datetime) -> PlannedMove:
    """Keep a drafted move, new or changed; calendars show it at once, or show it moved."""
    require_ranch(member, entry.group.herd.ranch)
    with transaction.atomic():
        if not move._state.adding:
            move.sequence = PlannedMove.objects.select_for_update().get(pk=move.pk).sequence + 1
        move.by, move.changed_at = member.user, now.replace(microsecond=0)
        move.save()
        bump_calendar(entry.season)
    return move


def withdraw_move(*, member: Member, move: PlannedMove, now: datetime) -> bool:
    """Take a move out; calendars show it cancelled. False where it is out already."""
    require_ranch(member, move.entry.group.herd.ranch)
    with transaction.atomic():
        row = PlannedMove.objects.select_for_update().get(pk=move.pk)
        if row.withdrawn:
            return False
        row.withdrawn, row.by, row.changed_at, row.sequence = (
            True,
            member.user,
            now.replace(microsecond=0),
            row.sequence + 1,
        )
        row.save()
        bump_calendar(move.entry.season)
    return True
