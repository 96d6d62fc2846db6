"""A co-op's own limits of readiness: set with a reason, withdrawn, and never lost from the record."""

import math
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from accounts.units import Units, figure
from scheduling.kernel.advice.limits import LIMIT_OF, LIMITS, Limit, Measure, with_limits
from scheduling.kernel.advice.rules import DEFAULT_RULES, Rules
from scheduling.kernel.reader import ReadError
from scheduling.models import ReadinessLimit


class LimitError(ValueError):
    """A limit that cannot be set or withdrawn: the field of the form and what is allowed."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(f"{field}: {text}")
        self.field, self.text = field, text


@dataclass(frozen=True, slots=True)
class Standing:
    """The rules in force, the co-op's rows behind them, and a fault where the rows no longer go with the program's own."""

    rules: Rules
    rows: Mapping[str, ReadinessLimit]
    fault: str = ""


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit as it is shown: what is in force, what is printed and by whom, the co-op's own row."""

    field: str
    words: str
    value: str
    printed: str
    sources: tuple[str, ...]
    why: str
    row: ReadinessLimit | None


def rules_of(cooperative: uuid.UUID) -> Standing:
    """A co-op's rules: the printed ones with its own limits in their place. One query."""
    rows = ReadinessLimit.objects.filter(cooperative=cooperative, withdrawn_at=None).select_related("by")
    own = {row.field: row for row in rows}
    try:
        return Standing(with_limits({name: row.value for name, row in own.items()}), own)
    except ReadError as fault:
        # A new edition of the program may print what contradicts a limit of before: the printed rules stand, and say so.
        return Standing(DEFAULT_RULES, own, f"{_said(fault.field)}: {fault.allowed}")


def limit_lines(standing: Standing, units: Units) -> list[LimitLine]:
    """Every limit in order."""
    return [_line(limit, standing, units) for limit in LIMITS]


def _line(limit: Limit, standing: Standing, units: Units) -> LimitLine:
    return LimitLine(
        field=limit.field,
        words=limit.words,
        value=words_of(limit, float(getattr(standing.rules, limit.field)), units),
        printed=words_of(limit, limit.default, units),
        sources=tuple(source.words for source in limit.sources),
        why=limit.why,
        row=standing.rows.get(limit.field),
    )


def past_lines(rows: Iterable[ReadinessLimit], units: Units) -> list[tuple[str, ReadinessLimit]]:
    """What was once in force, in words, with its row."""
    found = [(LIMIT_OF.get(row.field), row) for row in rows if row.withdrawn_at]
    return [(f"{limit.words}: {words_of(limit, row.value, units)}", row) for limit, row in found if limit]


def limit_of(field: str) -> Limit | None:
    """One of the limits by its field."""
    return LIMIT_OF.get(field)


def words_of(limit: Limit, value: float, units: Units) -> str:
    """A value as a person reads it."""
    match limit.measure:
        case Measure.EITHER:
            return "yes" if value else "no"
        case Measure.SHARE:
            return f"{figure(value * 100, 1)} %"
        case Measure.GAIN:
            return f"{figure(units.from_kg(value), 2)} {units.weight} a day"
        case Measure.SCORE:
            return figure(value, 1)
    return f"{figure(value, 0)} {limit.measure.value}"


def shown(limit: Limit, value: float, units: Units) -> str:
    """A value as it stands in the form."""
    if limit.measure is Measure.SHARE:
        return figure(value * 100, 1)
    return figure(units.from_kg(value), 2) if limit.measure is Measure.GAIN else figure(value, 1)


def unit_words(limit: Limit, units: Units) -> str:
    """What a typed figure counts, with the bounds."""
    low, high = words_of(limit, limit.low, units), words_of(limit, limit.high, units)
    return "Yes or no." if limit.measure is Measure.EITHER else f"From {low} to {high}."


def _kept(limit: Limit, typed: float, units: Units) -> float:
    """A typed figure in the kernel's unit."""
    if limit.measure is Measure.SHARE:
        return typed / 100
    return units.to_kg(typed) if limit.measure is Measure.GAIN else typed


def set_limit(*, member: Member, field: str, typed: float, reason: str, now: datetime) -> ReadinessLimit:
    """Put a limit of the co-op's own in force, in place of an earlier one; `typed` in the person's unit. Raises LimitError."""
    member.require(Permission.READINESS_LIMITS, Reach.COOP)
    limit = LIMIT_OF.get(field)
    if limit is None:
        raise LimitError("field", "Choose one of the limits of the list.")
    units = Units.of(member.user)
    if not math.isfinite(typed) or not _inside(limit, _kept(limit, typed, units)):
        raise LimitError("value", f"{unit_words(limit, units)} Nothing was saved.")
    if not reason.strip():
        raise LimitError("reason", "Say why, and who advised it. Nothing was saved.")
    value = min(max(_kept(limit, typed, units), limit.low), limit.high)
    row = ReadinessLimit(
        cooperative=member.cooperative, field=field, value=value, reason=reason.strip(), by=member.user, made_at=now
    )
    with transaction.atomic():
        _try(member, {field: value}, "value")
        _in_force(member, field).update(withdrawn_at=now, withdrawn_by=member.user)
        row.save()
    return row


def _inside(limit: Limit, value: float) -> bool:
    """Within the bounds, unhurt by the last bits of a change of units."""
    slack = 1e-9 * max(1.0, abs(limit.high))
    return limit.low - slack <= value <= limit.high + slack


def withdraw_limit(*, member: Member, row: ReadinessLimit, now: datetime) -> None:
    """Go back to the printed limit; the co-op's own stays on record. Raises LimitError where others lean on it."""
    member.require(Permission.READINESS_LIMITS, Reach.COOP)
    with transaction.atomic():
        if _in_force(member, row.field).filter(pk=row.pk).exists():
            _try(member, {row.field: None}, "field")
        _in_force(member, row.field).filter(pk=row.pk).update(withdrawn_at=now, withdrawn_by=member.user)


def _try(member: Member, change: Mapping[str, float | None], field: str) -> None:
    """Whether the rules still go together after a change."""
    rows = ReadinessLimit.objects.filter(cooperative=member.cooperative, withdrawn_at=None)
    values: dict[str, float | None] = {row.field: row.value for row in rows}
    try:
        with_limits({name: value for name, value in (values | dict(change)).items() if value is not None})
    except ReadError as fault:
        text = f"This does not go with the other limits. {_said(fault.field)}: {fault.allowed}. Nothing was saved."
        raise LimitError(field, text) from None


def _said(field: str) -> str:
    limit = LIMIT_OF.get(field)
    return limit.words if limit else field


def _in_force(member: Member, field: str) -> QuerySet[ReadinessLimit]:
    return ReadinessLimit.objects.filter(cooperative=member.cooperative, field=field, withdrawn_at=None)
