"""What a notice of a change speaks of, and how an unsent one is taken back when the plan moves again."""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction

from herdplan.reminders.models import ChangeNotice, OutboxMessage, Told
from scheduling.models import Booking, PlannedStep

_LIVE = {"step": ("planned", "done"), "booking": ("held", "confirmed")}


def states_of(kind: str, keys: list[uuid.UUID]) -> dict[uuid.UUID, tuple[int, bool]]:
    """Sequence and liveness of rows of the plan, by id; a row that is gone is missing."""
    rows = (PlannedStep if kind == "step" else Booking).objects.filter(pk__in=keys)
    return {
        key: (number, status in _LIVE[kind]) for key, number, status in rows.values_list("pk", "sequence", "status")
    }


def is_stale(notice: ChangeNotice) -> bool:
    """Whether any row that it speaks of has moved on since."""
    for kind in ("step", "booking"):
        facts = [fact for fact in notice.facts if fact["kind"] == kind]
        now = states_of(kind, [uuid.UUID(fact["about"]) for fact in facts])
        for fact in facts:
            state = now.get(uuid.UUID(fact["about"]), (None, False))
            gone = state[0] is None and not fact["live"]
            if not gone and state != (fact["sequence"], fact["live"]):
                return True
    return False


def take_back(notice: ChangeNotice, now: datetime) -> bool:
    """Withdraw a notice that nobody has received, and remember the person as not told; False where it has gone out."""
    with transaction.atomic():
        sent = OutboxMessage.objects.filter(notice=notice, state__in=("sent", "uncertain")).exists()
        if sent or not ChangeNotice.objects.filter(pk=notice.pk, withdrawn_at=None).update(withdrawn_at=now):
            return False
        for fact in notice.facts:
            _untell(notice, fact)
    return True


def _untell(notice: ChangeNotice, fact: dict[str, Any]) -> None:
    told = Told.objects.filter(user=notice.user_id, about=fact["about"], sequence=fact["sequence"])
    if fact["before"] is None:
        told.delete()
        return
    told.update(**{**fact["before"], "starts": datetime.fromisoformat(fact["before"]["starts"])})
