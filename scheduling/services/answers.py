"""Technicians' answers to their bookings, as the calendar brings them."""

import uuid
from datetime import datetime

from scheduling.models import Booking, Season


def note_answer(*, booking: uuid.UUID, sequence: int, answer: str, at: datetime) -> bool:
    """Write the technician's answer on the booking; False where the booking has changed since `sequence`."""
    row = Booking.objects.filter(pk=booking, sequence=sequence, status__in=("held", "confirmed"))
    return bool(row.update(answer=answer, answered_at=at))


def answers_of(season: Season) -> dict[tuple[str, int, str, str], str]:
    """Answers to the live bookings of a season by (entry, lot, step, technician). One query."""
    rows = Booking.objects.filter(entry__season=season).exclude(status="cancelled").exclude(answer="")
    found = rows.values_list("entry_id", "lot", "step", "technician_id", "answer")
    return {(str(entry), lot, step, str(person)): answer for entry, lot, step, person, answer in found}
