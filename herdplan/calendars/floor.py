"""SEQUENCE never falls. Calendars ignore what comes with a lower one than they hold (RFC 5546, 2.1.5), so after an older
database is brought back every version is lifted above all that may have been published before: to the seconds since 2024.

That an older database is there is known from `restore`, or from a count in the database that also stands in a file beside
it: nobody but an older copy counts less than the file.
"""

import logging
import os
from datetime import datetime
from datetime import timezone as utc
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.core.cache import cache
from django.db import transaction
from django.db.models import F
from django.db.models.functions import Greatest

from herdplan.calendars import memory
from herdplan.calendars.models import Attendance, HighWater, Place
from herdplan.calendars.places import refresh_places
from herdplan.reminders import journal
from herdplan.reminders.services import key_of
from scheduling.models import Season

# Far more seconds pass than a row or a place changes, and 31 bits, which readers give to SEQUENCE, last until 2092.
_EPOCH = datetime(2024, 1, 1, tzinfo=utc.utc)
_FILE = "looks"
_EVERY_S = 60
_CACHE_KEY = "calendars.looks"
_FURTHER = 20
# So far that no other machine of the installation counts more and raises the floor once again.
_FAR = 1_000_000
log = logging.getLogger(__name__)


def raise_floor(*, now: datetime) -> int:
    """Lift the version of everything published above all that came before; returns how many ranches that concerns.

    Who was invited to something is told again, but for those of whom the journal knows that nothing later has left.
    What was asked after the copy was made, under UIDs that it does not know, the next look takes back.
    """
    memory.ask_to_take_back()
    floor = int((now - _EPOCH).total_seconds())
    refresh_places(now=now)
    with transaction.atomic():
        before = dict(Place.objects.values_list("ranch", "number"))
        Place.objects.update(number=Greatest(F("number") + 1, floor), changed_at=now.replace(microsecond=0))
        after = dict(Place.objects.values_list("ranch", "number"))
        lifted = {ranch: number - before[ranch] for ranch, number in after.items()}
        asked = Attendance.objects.filter(state=Attendance.State.ASKED)
        for asking in asked.select_related("booking__entry__group__herd", "step"):
            if _nothing_later(asking):  # what stands is what they were told: no mail
                version = asking.version + (lifted.get(ranch, 0) if (ranch := _ranch_of(asking)) else 0)
                Attendance.objects.filter(pk=asking.pk).update(version=version)
        Attendance.objects.update(sequence=Greatest(F("sequence"), floor))  # a cancellation stands above as well
        Season.objects.update(calendar_version=F("calendar_version") + 1)
        _count(_FAR)
    return len(after)


def _ranch_of(asking: Attendance) -> UUID | None:
    if asking.booking is not None:
        return asking.booking.entry.group.herd.ranch_id
    return asking.step.ranch_id if asking.step is not None else None


def _nothing_later(asking: Attendance) -> bool:
    """Whether the journal is there and knows of no letter after the one that this database remembers."""
    if not any(Path(settings.OUTBOX_JOURNAL).glob("sent-*.log")):
        return False
    told = f"itip|{asking.uid}|{asking.address.lower()}|"
    return not any(
        journal.has(key_of(f"{told}{number}")) for number in range(asking.sequence + 1, asking.sequence + 1 + _FURTHER)
    )


def raised_at(cooperative: UUID) -> datetime | None:
    """When a place of the co-op last counted as changed, a raised floor included."""
    places = Place.objects.filter(ranch__cooperative=cooperative, number__gt=0)
    return places.order_by("-changed_at").values_list("changed_at", flat=True).first()


def look(*, now: datetime) -> bool:
    """Count this look in the database and beside it; raise the floor where the database counts less. True where it did."""
    HighWater.objects.get_or_create(pk=1)
    older = HighWater.objects.get(pk=1).looks < _beside()
    if older:
        log.warning(
            "An older copy of the database was brought back: calendars are told all of it with higher versions."
        )
        raise_floor(now=now)
    else:
        _count(1)
    return older


def _count(more: int) -> None:
    """Count on, in the database first: what stands beside it is never more."""
    HighWater.objects.get_or_create(pk=1)
    HighWater.objects.filter(pk=1).update(looks=Greatest(F("looks"), _beside()) + more)
    _write_beside(HighWater.objects.get(pk=1).looks)


def look_now_and_then(*, now: datetime) -> None:
    """The same, at most once a minute over all processes."""
    if cache.add(_CACHE_KEY, 1, _EVERY_S):
        look(now=now)


def _path() -> Path:
    return Path(settings.OUTBOX_JOURNAL) / _FILE


def _beside() -> int:
    try:
        return int(_path().read_text(encoding="ascii"))
    except (OSError, ValueError):
        return 0


def _write_beside(count: int) -> None:
    """Whole or not at all; without the file an older database is noticed by `restore` alone."""
    path = _path()
    draft = path.with_name(f"{_FILE}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        draft.write_text(str(count), encoding="ascii")
        draft.replace(path)
    except OSError as fault:
        log.error("The count beside the database cannot be written: %s", fault)
