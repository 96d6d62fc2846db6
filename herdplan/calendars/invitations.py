"""Invitations (RFC 5546 over RFC 6047): who is asked to what, what was told, what must be told now.

The plan's rows are the truth. A sweep compares them with what each person was told and queues what is missing in the
outbox, all in one transaction a person: a lost process loses nothing, and a second sweep does nothing.
"""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.core import signing
from django.core.mail.message import sanitize_address
from django.db import IntegrityError, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import translation

from accounts.models import Cooperative, Membership, User
from herdplan.calendars import letter_words, memory
from herdplan.calendars.contents import Style, step_event, step_facts, stop_event, stop_facts
from herdplan.calendars.feeds import host
from herdplan.calendars.floor import look_now_and_then
from herdplan.calendars.models import Attendance, Letter
from herdplan.calendars.places import refresh_places_now_and_then
from herdplan.calendars.services import invited_people
from herdplan.calendars.taking_back import attendance_of, forgotten
from herdplan.calendars.writer import Event, Person, itip
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services import enqueue, key_of, language_of
from scheduling.models import Booking, PlannedStep
from scheduling.services.catalogue import trip_heads

CHANNEL = "invitation"
PURPOSE = "calendar invitation"
# Told in one look, so that reminders behind it do not wait; the rest follows at the next look seconds later.
_AT_ONCE = 500
_SALT = "herdplan.calendars.answer"
_MEMBER = Membership.objects.filter(user=OuterRef("technician__user"), cooperative=OuterRef("technician__cooperative"))


@dataclass(frozen=True, slots=True)
class _Asking:
    """A row and a person who must be told of it."""

    event: Event
    row_sequence: int
    user: User
    cooperative: Cooperative
    booking: Booking | None
    step: PlannedStep | None


def sweep(*, now: datetime) -> int:
    """Queue every invitation, change and cancellation that people have not been told yet; returns how many."""
    refresh_places_now_and_then(now=now)
    look_now_and_then(now=now)
    told = _take_back_forgotten(now) if memory.is_asked() else 0
    told += sum(_withdraw(key, now) for key in _unwanted(now))
    return told + sum(_ask(asking, now) for asking in [*_stops(now), *_steps(now)])


def _take_back_forgotten(now: datetime) -> int:
    """Call off what an older database that was brought back knows nothing of; returns how many letters."""
    count = 0
    for told in forgotten(now=now):
        with transaction.atomic():
            found = attendance_of(told, now=now)
            if found is not None:
                _call_off(found, now)
                count += 1
    memory.done()
    return count


def _unwanted(now: datetime) -> list[uuid.UUID]:
    """Ids of askings that stand although the row is gone, cancelled, or somebody else's, or the person chose otherwise."""
    people = invited_people().values("pk")
    stop = Booking.objects.filter(pk=OuterRef("booking"), technician__user=OuterRef("user")).exclude(status="cancelled")
    step = PlannedStep.objects.filter(pk=OuterRef("step"), ranch__people=OuterRef("user")).exclude(status="cancelled")
    member = Membership.objects.filter(user=OuterRef("user"), cooperative=OuterRef("cooperative"))
    standing = Attendance.objects.filter(state=Attendance.State.ASKED, ends__gt=now)
    wanted = Q(Exists(stop) | Exists(step)) & Exists(member) & Q(user__in=people)
    keep = standing.filter(wanted).values("pk")
    moved_house = standing.exclude(user=None).exclude(address=F("user__email")).values_list("pk", flat=True)
    return [*standing.exclude(pk__in=keep).values_list("pk", flat=True), *moved_house.filter(pk__in=keep)]


def _stops(now: datetime) -> Iterator[_Asking]:
    """Bookings of invited technicians that they were not told of as they stand."""
    place = F("entry__group__herd__ranch__calendar_place__number")
    rows = Booking.objects.filter(ends__gt=now, technician__user__in=invited_people()).exclude(status="cancelled")
    rows = rows.annotate(version=F("sequence") + Coalesce(place, Value(0))).filter(Exists(_MEMBER))
    told = Attendance.objects.filter(
        booking=OuterRef("pk"), user=OuterRef("technician__user"), state="asked", version=OuterRef("version")
    )
    wanting = {
        str(row.pk): row
        for row in rows.filter(~Exists(told))
        .select_related("technician__user", "technician__cooperative")
        .order_by("starts")[:_AT_ONCE]
    }
    for facts in stop_facts(Q(pk__in=wanting)):
        row = wanting[facts.pk]
        user = row.technician.user
        assert user is not None
        event = stop_event(facts, _style(user, row.technician.cooperative))
        yield _Asking(event, facts.sequence, user, row.technician.cooperative, row, None)


def _steps(now: datetime) -> Iterator[_Asking]:
    """Steps of ranches whose people chose invitations, and that they were not told of as they stand."""
    people = invited_people().filter(ranches__isnull=False).filter(calendar_choice__channel="invitations")
    for user in people.distinct():
        coops = Membership.objects.filter(user=user).values("cooperative")
        rows = PlannedStep.objects.filter(ranch__people=user, ranch__cooperative__in=coops, ends__gt=now)
        rows = rows.filter(status="planned").annotate(
            version=F("sequence") + Coalesce(F("ranch__calendar_place__number"), Value(0))
        )
        told = Attendance.objects.filter(step=OuterRef("pk"), user=user, state="asked", version=OuterRef("version"))
        wanting = {str(row.pk): row for row in rows.filter(~Exists(told)).select_related("ranch__cooperative")}
        for facts in step_facts(Q(pk__in=wanting)):
            if facts.key in trip_heads(facts.protocol):
                coop = wanting[facts.pk].ranch.cooperative
                yield _Asking(
                    step_event(facts, _style(user, coop), False), facts.sequence, user, coop, None, wanting[facts.pk]
                )


def _style(user: User, coop: Cooperative) -> Style:
    return Style(host(), f"{settings.BASE_URL}/c/{coop.slug}/", user.distance_unit, language=language_of(user))


def _ask(asking: _Asking, now: datetime) -> int:
    """Ask a person, or tell a change. The SEQUENCE follows the row's and never falls."""
    event = asking.event
    told = {
        "cooperative": asking.cooperative,
        "uid": event.uid,
        "address": asking.user.email,
        "name": asking.user.name,
        "state": Attendance.State.ASKED,
        "version": event.sequence,
        "row_sequence": asking.row_sequence,
        "starts": event.starts,
        "ends": event.ends,
        "zone": event.zone,
        "summary": event.summary[:200],
        "place": event.location[:500],
    }
    try:
        with transaction.atomic():
            found = _locked(Attendance.objects.filter(booking=asking.booking, step=asking.step, user=asking.user))
            if found is None:
                found = Attendance(booking=asking.booking, step=asking.step, user=asking.user, sequence=event.sequence)
                first = True
            elif found.state == Attendance.State.ASKED and found.version == event.sequence:
                return 0
            else:
                first = found.state == Attendance.State.WITHDRAWN
                found.sequence = max(found.sequence + 1, event.sequence)
                if found.row_sequence != asking.row_sequence:  # the answer was to other times
                    found.answer, found.answered_at, found.answered_by, found.comment = "", None, "", ""
            before = None if first or found.starts == event.starts else found.starts
            for name, value in told.items():
                setattr(found, name, value)
            found.save()
            event = event._replace(sequence=found.sequence)
            _write(found, Letter.Method.REQUEST, event, now, first=first, before=before)
    except IntegrityError:  # another sweep was faster
        return 0
    return 1


def _withdraw(key: uuid.UUID, now: datetime) -> int:
    """Take an asking back, with the times that the person was told. Silent where no mail ever left."""
    with transaction.atomic():
        found = _locked(Attendance.objects.filter(pk=key, state=Attendance.State.ASKED))
        if found is None:
            return 0
        if not _left(found):
            found.state, found.sequence = Attendance.State.WITHDRAWN, found.sequence + 1
            found.save(update_fields=["state", "sequence"])
            _drop_waiting(found)
            return 0
        _call_off(found, now)
    return 1


def _call_off(found: Attendance, now: datetime) -> None:
    """The asking and its CANCEL, inside the caller's transaction."""
    found.state, found.sequence = Attendance.State.WITHDRAWN, found.sequence + 1
    found.save(update_fields=["state", "sequence"])
    event = Event(
        uid=found.uid,
        sequence=found.sequence,
        changed_at=now,
        starts=found.starts,
        ends=found.ends,
        zone=found.zone,
        summary=found.summary,
        description=letter_words.off(language_of(found.user)),
        location=found.place,
        cancelled=True,
    )
    _write(found, Letter.Method.CANCEL, event, now, first=False)


def _locked(rows: QuerySet[Attendance]) -> Attendance | None:
    return rows.select_for_update().first()


def _left(attendance: Attendance) -> bool:
    """Whether an earlier letter has left, or may have: then the other calendar may hold the event."""
    letters = attendance.letters.all()
    gone = Q(message=None) | Q(message__state__in=("sent", "leased")) | Q(message__attempts__gt=0)
    return letters.filter(gone).exclude(message__state="dead").exists()


def _drop_waiting(attendance: Attendance) -> None:
    """Letters to that address that still wait are overtaken by the next one."""
    waiting = OutboxMessage.objects.filter(letter__attendance=attendance, address=attendance.address, state="pending")
    waiting.update(state="cancelled", last_error="a newer message took its place")


def _write(
    attendance: Attendance,
    method: Letter.Method,
    event: Event,
    now: datetime,
    *,
    first: bool,
    before: datetime | None = None,
) -> None:
    """The letter and its outbox row, inside the caller's transaction. `before`: when it was to begin."""
    _drop_waiting(attendance)
    name = attendance.cooperative.name
    text = itip(
        method.value,
        event,
        organizer=Person(name, organizer_address()),
        attendee=Person(attendance.name or attendance.address, attendance.address),
        stamp=now,
        partstat=attendance.answer.upper() or "NEEDS-ACTION",
    )
    with translation.override(language_of(attendance.user)):
        subject = letter_words.subject(attendance, method, first)
        body = letter_words.body(attendance, method, event, first, before, answer_link(attendance))
    dedup = f"itip|{attendance.uid}|{attendance.address.lower()}|{event.sequence}"
    enqueue(
        cooperative=attendance.cooperative,
        user=attendance.user,
        channel=CHANNEL,
        address=attendance.address,
        purpose=PURPOSE,
        subject=subject,
        body=body,
        dedup=dedup,
        due=now,
        expires=event.ends,
        now=now,
    )
    message = OutboxMessage.objects.get(dedup_key=key_of(dedup))
    Letter.objects.create(
        attendance=attendance,
        message=message,
        address=attendance.address,
        method=method,
        sequence=event.sequence,
        text=text,
        written_at=now,
    )


def organizer_address() -> str:
    """The bare address that mail is sent from: ORGANIZER and From must be the same (RFC 6047, 2.3)."""
    return sanitize_address(settings.DEFAULT_FROM_EMAIL, "utf-8").rpartition("<")[2].rstrip(">").strip()


def answer_link(attendance: Attendance) -> str:
    """A signed address at which the person answers; it expires."""
    signed = signing.dumps([attendance.uid, str(attendance.user_id), attendance.sequence], salt=_SALT)
    return f"{settings.BASE_URL}{reverse('answer', args=[signed])}"


def signed_asking(signed: str, max_age: timedelta) -> tuple[str, uuid.UUID, int]:
    """UID, person and SEQUENCE of a signed address; signing.BadSignature where it is not ours or too old."""
    uid, user, sequence = signing.loads(signed, salt=_SALT, max_age=max_age)
    return str(uid), uuid.UUID(user), int(sequence)
