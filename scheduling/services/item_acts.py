"""Ticking, moving and dropping dated items of a group, and its wishes around AI. Calendars are told in the same transaction."""

from datetime import date, datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F

from accounts.tenancy import Member
from scheduling.models import GroupCare, ItemAct, SeasonEntry
from scheduling.services.entries import require_ranch
from scheduling.services.publishing import bump_calendar
from scheduling.services.season_basis import care_of
from scheduling.services.season_items import SeasonItem

# How far from where it counts an item may be moved: a default of this program against slips of the year.
FARTHEST = timedelta(days=200)
CARE_FIELDS = (
    "first_time_vaccine",
    "needs_gain",
    "bulls",
    "tell_apart",
    "bull_months",
    "bull_days",
    "resynchronize",
    "check_way",
    "expected_rate",
)


class ItemError(ValueError):
    """Something that cannot be done to an item or a wish: the field and what is allowed."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(f"{field}: {text}")
        self.field, self.text = field, text


def tick(*, member: Member, entry: SeasonEntry, item: SeasonItem, now: datetime) -> bool:
    """Tick an item as done; False where it is ticked already (a page that was sent twice)."""
    _require(member, entry, item)
    if item.standing.dropped is not None:
        raise ItemError("item", f"{item.title} is dropped. Put it back first, then tick it.")
    if item.standing.done is not None:
        return False
    _write(member, entry, item, ItemAct.Kind.DONE, now)
    return True


def untick(*, member: Member, entry: SeasonEntry, item: SeasonItem, now: datetime) -> bool:
    """Take a tick back; False where there is none."""
    _require(member, entry, item)
    if item.standing.done is None:
        return False
    _write(member, entry, item, ItemAct.Kind.UNDONE, now)
    return True


def move_item(
    *, member: Member, entry: SeasonEntry, item: SeasonItem, day: date | None, reason: str, now: datetime
) -> None:
    """Put an item on a day of the person's own, with a reason; raises ItemError, saving nothing."""
    _require(member, entry, item)
    if day is None:
        raise ItemError("day", "Choose the day on which it is done.")
    first, last = item.counted
    if not first - FARTHEST <= day <= last + FARTHEST:
        raise ItemError("day", f"Choose a day from {first - FARTHEST:%d %b %Y} to {last + FARTHEST:%d %b %Y}.")
    _write(member, entry, item, ItemAct.Kind.MOVED, now, day=day, reason=_reason(reason))


def drop_item(*, member: Member, entry: SeasonEntry, item: SeasonItem, reason: str, now: datetime) -> None:
    """Say that an item is not needed, with a reason; it stays on the page and shows cancelled in calendars."""
    _require(member, entry, item)
    _write(member, entry, item, ItemAct.Kind.DROPPED, now, reason=_reason(reason))


def put_back(*, member: Member, entry: SeasonEntry, item: SeasonItem, now: datetime) -> bool:
    """Let the rules say again when it is due; False where nobody moved or dropped it."""
    _require(member, entry, item)
    if item.standing.moved is None and item.standing.dropped is None:
        return False
    _write(member, entry, item, ItemAct.Kind.BACK, now)
    return True


def save_care(*, member: Member, entry: SeasonEntry, values: dict[str, Any], now: datetime) -> GroupCare:
    """Save a group's wishes around AI; the same again changes nothing. Raises ItemError, saving nothing."""
    require_ranch(member, entry.group.herd.ranch)
    row = care_of(entry)
    differs = [name for name in CARE_FIELDS if name in values and getattr(row, name) != values[name]]
    if not differs:
        return row
    for name in differs:
        setattr(row, name, values[name])
    try:
        row.full_clean(exclude=("entry", "by"), validate_unique=False)
    except ValidationError as fault:
        name, texts = next(iter(fault.message_dict.items()))
        raise ItemError(name, " ".join(texts)) from None
    row.changed_at, row.by, row.sequence = now.replace(microsecond=0), member.user, row.sequence + 1
    with transaction.atomic():
        defaults = {name: getattr(row, name) for name in (*CARE_FIELDS, "changed_at", "by")}
        saved, made = GroupCare.objects.get_or_create(entry=entry, defaults={**defaults, "sequence": 1})
        if not made:
            GroupCare.objects.filter(pk=entry.pk).update(**defaults, sequence=F("sequence") + 1)
        bump_calendar(entry.season)
    return saved


def _reason(text: str) -> str:
    text = text.strip()
    if not 3 <= len(text) <= 300:
        raise ItemError("reason", "Say why in 3 to 300 characters, so that others understand it later.")
    return text


def _require(member: Member, entry: SeasonEntry, item: SeasonItem) -> None:
    require_ranch(member, entry.group.herd.ranch)
    if item.settled:
        raise ItemError("item", f"{item.title} follows from the AI day and is not ticked or moved.")


def _write(member: Member, entry: SeasonEntry, item: SeasonItem, kind: str, now: datetime, **more: Any) -> None:
    with transaction.atomic():
        ItemAct.objects.create(
            entry=entry, item=item.key, kind=kind, by=member.user, at=now.replace(microsecond=0), **more
        )
        bump_calendar(entry.season)
