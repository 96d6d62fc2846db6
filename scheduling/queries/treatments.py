"""When lots were, or will be, treated: what the hours of their AI are counted from."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import F, OuterRef, Subquery
from django.db.models.functions import Coalesce

from scheduling.models import PlannedStep, ProtocolAdjustment, StepRecord


class Treatment(NamedTuple):
    """A lot's published treatment. `first`: when the entry's first lot was to begin; `done`: when it began, where it is ticked
    off; `own`: the co-op's own least hours for each of the sessions asked about."""

    entry: UUID
    lot: int
    key: str
    starts: datetime
    ends: datetime
    head: int
    order: str
    first: datetime
    done: datetime | None
    own: tuple[float | None, ...]


def treatments_at(entries: Iterable[UUID], keys: Iterable[str], sessions: Sequence[str]) -> list[Treatment]:
    """The treatments `keys` of the entries' lots, with what the co-ops have adjusted at `sessions`. One query."""
    rows = PlannedStep.objects.exclude(status="cancelled")
    first = rows.filter(entry=OuterRef("entry"), key=OuterRef("key"), lot=0).values("starts")[:1]
    done = StepRecord.objects.filter(entry=OuterRef("entry"), step=OuterRef("key")).values("at")[:1]
    own = ProtocolAdjustment.objects.filter(
        cooperative=OuterRef("ranch__cooperative"), protocol=OuterRef("entry__protocol"), withdrawn_at=None
    )
    found = rows.filter(entry__in=set(entries), key__in=set(keys)).values_list(
        "entry_id", "lot", "key", "starts", "ends", "head", "entry__order", Coalesce(Subquery(first), F("starts")),
        Subquery(done), *(Subquery(own.filter(step=session).values("min_h")[:1]) for session in sessions),
    )  # fmt: skip
    return [Treatment._make((*row[:9], row[9:])) for row in found]
