"""What people answer to invitations, by the signed link or by mail."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core import signing
from django.db import transaction

from herdplan.calendars.invitations import signed_asking
from herdplan.calendars.models import Attendance
from scheduling.models import Booking
from scheduling.services import note_answer

LINK_LASTS = timedelta(days=120)
_LATER = timedelta(minutes=5)


class AnswerError(ValueError):
    """An answer that cannot be taken; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Asked:
    """An asking behind a link. `changed`: it was changed after the mail with this link was written."""

    attendance: Attendance
    changed: bool


def find_asked(*, signed: str, now: datetime) -> Asked:
    """The asking of a link; AnswerError where it is not ours, too old, over, or taken back."""
    try:
        uid, person, sequence = signed_asking(signed, LINK_LASTS)
    except signing.SignatureExpired as fault:
        raise AnswerError("This link is too old. Ask the coordinator what stands now.") from fault
    except (signing.BadSignature, ValueError, TypeError) as fault:
        raise AnswerError("This link is not complete. Open it from the message again.") from fault
    found = Attendance.objects.filter(uid=uid, user=person).select_related("cooperative").first()
    if found is None or found.state != Attendance.State.ASKED:
        raise AnswerError("This is off: it was cancelled or given to somebody else. You need not come.")
    if found.ends <= now:
        raise AnswerError("This is over. Nothing has been written down.")
    return Asked(found, found.sequence > sequence)


def record_answer(
    *, attendance: Attendance, answer: str, sequence: int, at: datetime, by: str, comment: str = ""
) -> bool:
    """Write an answer down and show it on the plan. False where it answers an earlier time or is older than what we have.

    Raises AnswerError for an answer that is none.
    """
    if answer not in Booking.Answer.values:
        raise AnswerError("Choose accept, decline or maybe. Nothing has been written down.")
    with transaction.atomic():
        row = Attendance.objects.select_for_update().get(pk=attendance.pk)
        late = row.answered_at is not None and at < row.answered_at
        if row.state != Attendance.State.ASKED or sequence < row.sequence or late:
            return False
        row.answer, row.answered_at, row.answered_by, row.comment = answer, at, by, comment[:300]
        row.save(update_fields=["answer", "answered_at", "answered_by", "comment"])
        if row.booking_id is not None:
            note_answer(booking=row.booking_id, sequence=row.row_sequence, answer=answer, at=at)
    return True


def record_reply(
    *, uid: str, address: str, answer: str, sequence: int, at: datetime, now: datetime, comment: str
) -> str:
    """Write down an answer that came by mail; returns what became of it in a word or two."""
    found = Attendance.objects.filter(uid=uid, address__iexact=address).first()
    if found is None:
        return "not asked"
    try:
        # A mail's clock may run ahead; an answer from the future would shut out every later one.
        taken = record_answer(
            attendance=found, answer=answer, sequence=sequence, at=min(at, now + _LATER), by="mail", comment=comment
        )
    except AnswerError:
        return "no answer"
    return "taken" if taken else "outdated"
