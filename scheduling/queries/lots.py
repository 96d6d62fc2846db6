"""Into how many lots a group is cut: counted from the published steps of its entry, whichever of them the reader sees."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import F, IntegerField, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from scheduling.models import PlannedStep, SeasonEntry


def lots_there(entry: str = "entry") -> Coalesce:
    """The number of lots, to select beside rows; `entry`: the column of theirs that holds the entry.

    Of an entry of which nothing stands any more, the number that it had: what was called off is told apart as before.
    """
    steps = PlannedStep.objects.filter(entry=OuterRef(entry)).order_by("-lot")
    standing = steps.exclude(status="cancelled")
    return Coalesce(_last(standing), _last(steps), Value(1), output_field=IntegerField())


def _last(steps: QuerySet[PlannedStep]) -> Subquery:
    return Subquery(steps.values(count=F("lot") + 1)[:1])


def lots_at(entries: Iterable[UUID]) -> dict[UUID, int]:
    """The number of lots by entry. One query."""
    return dict(SeasonEntry.objects.filter(pk__in=set(entries)).values_list("pk", lots_there("pk")))
