"""After an older database was brought back: invitations that it knows nothing of are called off."""

import logging
import uuid
from datetime import UTC, datetime

from accounts.models import Cooperative, User
from herdplan.calendars import memory
from herdplan.calendars.memory import Told
from herdplan.calendars.models import Attendance
from scheduling.models import Booking, PlannedStep

_EPOCH = datetime(2024, 1, 1, tzinfo=UTC)
log = logging.getLogger(__name__)


def forgotten(*, now: datetime) -> list[Told]:
    """What people were asked to and what the database knows neither as asked nor as something to ask them to."""
    told = memory.standing(now)
    uids = {item.uid for item in told}
    known = {
        (uid, address.lower()) for uid, address in Attendance.objects.filter(uid__in=uids).values_list("uid", "address")
    }
    rows = {uid: _row(uid) for uid in uids}
    keys = [key for key in rows.values() if key is not None]
    here = {
        *Booking.objects.filter(pk__in=keys).exclude(status="cancelled").values_list("pk", flat=True),
        *PlannedStep.objects.filter(pk__in=keys).exclude(status="cancelled").values_list("pk", flat=True),
    }
    lost = [item for item in told if (item.uid, item.address.lower()) not in known and rows[item.uid] not in here]
    return sorted(lost, key=lambda item: (item.starts, item.address, item.uid))


def _row(uid: str) -> uuid.UUID | None:
    """The booking or step that a UID is made of."""
    try:
        return uuid.UUID(uid.partition("@")[0].partition("-")[2])
    except ValueError:
        return None


def attendance_of(told: Told, *, now: datetime) -> Attendance | None:
    """A row to write the cancellation from, above every version told before; None where the co-op is gone as well."""
    coop = Cooperative.objects.filter(pk=told.cooperative).first()
    if coop is None:
        log.error(
            "Call %s: %s on %s is off, and their co-op is not in this database.",
            told.address,
            told.summary,
            told.starts,
        )
        return None
    since = int((now - _EPOCH).total_seconds())
    return Attendance.objects.create(
        cooperative=coop,
        user=User.objects.filter(pk=told.user).first() if told.user else None,
        uid=told.uid,
        address=told.address,
        name=told.name,
        state=Attendance.State.ASKED,
        version=told.sequence,
        row_sequence=told.sequence,
        sequence=max(told.sequence, since),
        starts=told.starts,
        ends=told.ends,
        zone=told.zone,
        summary=told.summary,
        place=told.place,
    )
