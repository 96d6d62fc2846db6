"""Records in: from the chute, from a page, from a sheet. Corrections stand beside what they correct."""

import hashlib
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from accounts.permissions import Permission
from accounts.tenancy import Member
from herdplan.herds.models import ChuteDay, ChuteSave, Female, Herd, Ranch, Record, RecordUpload
from herdplan.herds.plausible import Observed
from herdplan.herds.services.cattle import require_edit

# Two values that print alike in either unit are the same; a repeat of them makes no record.
_SAME = 0.005
_UPLOAD_KEPT = timedelta(days=2)
_VALUES = (
    "weight_kg",
    "tract_score",
    "pelvic_height_cm",
    "pelvic_width_cm",
    "condition",
    "pregnancy",
    "days_pregnant",
    "reason",
    "until",
)
_Key = tuple[uuid.UUID, str, date, str]
Item = tuple[Female, Observed]


@dataclass(frozen=True)
class Saved:
    """How many records are new, how many replaced one of the same day, how many stood there already."""

    new: int = 0
    replaced: int = 0
    same: int = 0

    @property
    def written(self) -> int:
        """Records that were written."""
        return self.new + self.replaced


def save_observed(*, member: Member, ranch: Ranch, items: Sequence[Item], now: datetime) -> Saved:
    """Save what was seen of females of one ranch: all of it or nothing. Saying the same again changes nothing."""
    require_edit(member, ranch, Permission.FEMALE_EDIT)
    with transaction.atomic():
        return _write(member, items, now)


def _write(member: Member, items: Sequence[Item], now: datetime) -> Saved:
    ids = {female.pk for female, _ in items}
    # Two people may type the same animal; the second waits here.
    females = {row.pk: row for row in Female.objects.select_for_update().filter(pk__in=ids).order_by("pk")}
    days = {day for _, seen in items for _, day, _ in seen.columns()}
    standing = {_key(row): row for row in Record.objects.filter(female__in=ids, day__in=days, withdrawn_at=None)}
    fresh: dict[_Key, Record] = {}
    for female, seen in items:
        for kind, day, columns in seen.columns():
            record = Record(female_id=female.pk, kind=kind, day=day, by=member.user, at=now, **columns)
            fresh[_key(record)] = record
    same = {key for key, record in fresh.items() if key in standing and alike(record, standing[key])}
    old = [standing[key].pk for key in fresh if key in standing and key not in same]
    Record.objects.filter(pk__in=old).update(withdrawn_by=member.user, withdrawn_at=now)
    Record.objects.bulk_create([record for key, record in fresh.items() if key not in same])
    _keep_last_calved(females, [record for record in fresh.values() if record.kind == Record.Kind.CALVING])
    return Saved(len(fresh) - len(old) - len(same), len(old), len(same))


def _key(record: Record) -> _Key:
    return record.female_id, str(record.kind), record.day, str(record.vaccine)


def alike(one: Record, other: Record) -> bool:
    """Whether two records of the same kind and day say the same."""
    return all(_equal(getattr(one, name), getattr(other, name)) for name in _VALUES)


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) < _SAME
    return bool(one == other)


def _keep_last_calved(females: dict[uuid.UUID, Female], calvings: list[Record]) -> None:
    """The herd book's last calving follows the records."""
    changed = set()
    for record in calvings:
        female = females[record.female_id]
        if female.last_calved is None or female.last_calved < record.day:
            female.last_calved = record.day
            changed.add(female)
    Female.objects.bulk_update(changed, ["last_calved"])


def save_at_chute(
    *, member: Member, chute: ChuteDay, female: Female, seen: Observed, key: uuid.UUID, now: datetime
) -> Saved | None:
    """Save a page of the chute once. None where this very page came before: the phone sent it again, nothing is done.

    The page's key alone is not enough: who goes back and types something else sends the same key with other content.
    """
    require_edit(member, chute.herd.ranch, Permission.FEMALE_EDIT)
    digest = hashlib.sha256(repr(seen).encode()).hexdigest()
    with transaction.atomic():
        _, new = ChuteSave.objects.get_or_create(
            chute=chute, female=female, key=key, digest=digest, defaults={"at": now}
        )
        return _write(member, [(female, seen)], now) if new else None


def withdraw_record(*, member: Member, record: Record, now: datetime) -> None:
    """Take a record out; it stays visible as withdrawn. Withdrawing twice is withdrawing once."""
    require_edit(member, record.female.herd.ranch, Permission.FEMALE_EDIT)
    with transaction.atomic():
        female = Female.objects.select_for_update().get(pk=record.female_id)
        standing = Record.objects.filter(pk=record.pk, withdrawn_at=None)
        withdrawn = standing.update(withdrawn_by=member.user, withdrawn_at=now)
        if withdrawn and record.kind == Record.Kind.CALVING and female.last_calved == record.day:
            others = Record.objects.filter(female=female, kind=Record.Kind.CALVING, withdrawn_at=None)
            last = others.order_by("-day").first()
            female.last_calved = last.day if last else None
            female.save(update_fields=["last_calved"])


def end_hold(*, member: Member, record: Record, last_day: date, now: datetime) -> None:
    """End a health hold on a day, which is its last; never before it began."""
    require_edit(member, record.female.herd.ranch, Permission.FEMALE_EDIT)
    seen = Observed(record.day, hold_reason=record.reason, hold_until=max(last_day, record.day))
    with transaction.atomic():
        _write(member, [(record.female, seen)], now)


def keep_upload(*, member: Member, herd: Herd, name: str, table: list[list[str]], now: datetime) -> RecordUpload:
    """Keep a sheet while its columns are matched. Sheets that nobody took in within two days go."""
    require_edit(member, herd.ranch, Permission.FEMALE_EDIT)
    RecordUpload.objects.filter(herd=herd, saved_at=None, created_at__lt=now - _UPLOAD_KEPT).delete()
    return RecordUpload.objects.create(herd=herd, by=member.user, name=name[:200], table=table, created_at=now)


def take_in_upload(
    *, member: Member, upload: RecordUpload, items: Sequence[Item], now: datetime
) -> tuple[RecordUpload, Saved | None]:
    """Save a sheet's records and drop its cells, all or nothing. None where it is in already."""
    require_edit(member, upload.herd.ranch, Permission.FEMALE_EDIT)
    with transaction.atomic():
        row = RecordUpload.objects.select_for_update().get(pk=upload.pk)
        if row.saved_at is not None:
            return row, None
        saved = _write(member, items, now)
        row.saved_at, row.saved_count, row.table = now, saved.written, []
        row.save()
    return row, saved
