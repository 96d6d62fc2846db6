"""Planned moves that reminders look at, held against bands and heat."""

import uuid
from collections.abc import Iterable

from accounts.models import User
from herdplan.herds.models import Ranch
from scheduling.models import PlannedMove
from scheduling.services.planned_moves import Checked, check_planned
from scheduling.services.season_basis import Basis


def entry_of(move: uuid.UUID) -> uuid.UUID | None:
    """The entry that a move belongs to."""
    return PlannedMove.objects.filter(pk=move).values_list("entry", flat=True).first()


def checked(moves: list[PlannedMove], bases: Iterable[Basis], people: Iterable[User]) -> list[Checked]:
    """The moves of groups whose AI day is known; nothing where nobody would read of them. Three queries at most."""
    known = {basis.entry: basis for basis in bases if basis.entry is not None}
    reader = next(iter(people), None)
    if reader is None or not moves:
        return []
    ranches = Ranch.objects.filter(pk__in={known[move.entry_id].ranch_pk for move in moves if move.entry_id in known})
    return check_planned(reader, moves, known, ranches)
