"""Which reminders should exist, from the plan's rows, the rules and each person's wishes. Reads; writes nothing."""

import hashlib
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import translation

from accounts.models import User
from herdplan.reminders.item_texts import ITEM_WRITERS
from herdplan.reminders.move_texts import MOVE_WRITERS
from herdplan.reminders.rules import (
    BOOKING,
    BY_ITEM,
    COORDINATOR,
    ITEM,
    MOVE,
    RANCHER,
    RULES,
    SERVICE,
    STEP,
    TECHNICIAN,
    Rule,
    day_offset,
)
from herdplan.reminders.services.people import Door, Profile
from herdplan.reminders.services.published import Plan
from herdplan.reminders.texts import WRITERS, About
from scheduling.models import Booking, PlannedStep
from scheduling.services import StepWords, step_words
from scheduling.services.marks import marks_of
from scheduling.services.planned_moves import Checked, moment
from scheduling.services.season_basis import Basis
from scheduling.services.season_items import SeasonItem, bulls_for, items_of
from scheduling.services.waiting import session_at, session_of

_WRITERS = {**WRITERS, **ITEM_WRITERS, **MOVE_WRITERS}
# A reminder of a day (no hauling, bulls, pregnancy check) is of use until that day is over.
_DAY = timedelta(days=1)


@lru_cache(maxsize=4096)
def words_of(protocol: str, key: str) -> StepWords:
    """The step's words; the catalogue does not change while a process lives."""
    return step_words(protocol, key)


@dataclass(frozen=True)
class Wanted:
    """A reminder that should exist."""

    rule: Rule
    kind: str
    about: uuid.UUID
    sequence: int
    user: User
    door: Door
    due: datetime
    expires: datetime
    language: str
    about_text: About

    def write(self) -> tuple[str, str]:
        """Subject and body in the person's language; written only when needed, for most rows lie far ahead."""
        with translation.override(self.language):
            subject, body = _WRITERS[self.rule.code](self.about_text, self.user.distance_unit)
        return subject[:200], body

    @property
    def key(self) -> str:
        """Its key: the same rule, row, state of the row, way and person are the same message.

        The row's time stands in it beside the sequence: after an old backup a sequence may come twice, with other times.
        Of a dated item its days stand for its state: what changes elsewhere in the group must not ring twice.
        """
        way = f"{self.door.channel}:{self.door.address}" if self.door.channel == SERVICE else self.door.channel
        text = self.about_text
        state = f"{self.about}|{self.sequence}|{text.starts.timestamp():.0f}"
        if self.kind == ITEM:
            state = f"{self.about}|{text.item}|{text.day}|{text.until}"
        if text.move is not None:  # where AI moves under it, what speaks against it may change
            state = f"{state}|{text.move.light}"
        return hashlib.sha256(f"{self.rule.purpose}|{state}|{way}|{self.user.pk}".encode()).hexdigest()


def wanted(plan: Plan, only: uuid.UUID | None = None) -> Iterator[Wanted]:
    """Every reminder of the plan's rows (or of one of them), whenever it is due."""
    for step in plan.steps:
        if only is None or step.pk == only:
            yield from _of_step(plan, step)
    for booking in plan.bookings:
        if (only is None or booking.pk == only) and booking.technician.user is not None:
            yield from _of_booking(plan, booking, booking.technician.user)
    for basis in plan.bases:
        if only is None or basis.anchor == only:
            yield from _of_basis(plan, basis)
    for move in plan.moves:
        if only is None or move.move.pk == only:
            yield from _of_move(plan, move)


def _of_move(plan: Plan, move: Checked) -> Iterator[Wanted]:
    """Of a planned haul or change of feed, to the ranch's people."""
    row, basis, zone = move.move, move.basis, ZoneInfo(move.basis.zone)
    starts = moment(row, row.begins, basis.zone)
    about = About(
        words=StepWords(row.kind, MOVE, "", "", "", "", None, ()), group=basis.group, ranch=basis.ranch, place="", zone=zone,
        starts=starts, head=basis.head, lot=1, lots=1, day=row.day, ai_day=basis.ai_day, move=move,
    )  # fmt: skip
    for rule in RULES:
        if rule.about == MOVE:
            for user in plan.ranchers.get(basis.ranch_pk, ()):
                told = _Row(row.pk, MOVE, row.sequence)
                yield from _to_person(plan, rule, told, user, about, _Times(row.day, starts, starts, zone))


def _of_basis(plan: Plan, basis: Basis) -> Iterator[Wanted]:
    """Reminders of the dated items of a group that are neither ticked nor dropped."""
    zone = ZoneInfo(basis.zone)
    for item in items_of(basis):
        rule = BY_ITEM.get(item.key)
        if rule is None or not item.open:
            continue
        about = _about_item(item, zone)
        # A band has to be known before it begins; work can be done until its last day is over.
        last = item.first if item.band else item.last
        useful = datetime.combine(last, time(), zone) + _DAY
        times = _Times(item.first, about.starts, useful, zone)
        for user in plan.ranchers.get(basis.ranch_pk, ()):
            yield from _to_person(plan, rule, _Row(basis.anchor, ITEM), user, about, times)


def _about_item(item: SeasonItem, zone: ZoneInfo) -> About:
    basis = item.basis
    need = bulls_for(basis) if item.key == "bulls" else None
    names = marks_of(basis.protocol) if item.key == "drugs" else ()
    return About(
        words=StepWords(item.title, ITEM, "", "", "", "", None, (item.key,)),
        group=basis.group,
        ranch=basis.ranch,
        place="",
        zone=zone,
        starts=datetime.combine(item.first, time(), zone),
        head=basis.head,
        lot=1,
        lots=1,
        day=item.first,
        names=tuple(words_of(basis.protocol, key).label for key in names),
        item=item.key,
        title=item.title,
        until=item.last,
        ai_day=basis.ai_day,
        bulls="" if need is None else str(need.fewest) if need.fewest == need.most else f"{need.fewest}-{need.most}",
    )


def _of_step(plan: Plan, step: PlannedStep) -> Iterator[Wanted]:
    marks = marks_of(step.entry.protocol).get(step.key)
    if marks is None:
        return
    zone = ZoneInfo(step.ranch.zone)
    for rule in RULES:
        offset = day_offset(rule, marks) if rule.about == STEP and not rule.plan else None
        if offset is None:
            continue
        if step.status == "done" and not (rule.after and (offset or rule.anchor == "ends")):
            continue
        day = step.starts.astimezone(zone).date() + timedelta(days=offset)
        about = _about_step(plan, step, zone, day, rule)
        if about is None:
            continue
        anchor = _closes(step) if rule.anchor == "ends" else step.starts
        useful = about.other.starts if about.other else anchor
        if offset:
            useful = datetime.combine(day, time(), zone) + _DAY
        for user in _people(plan, rule, step):
            yield from _to_person(
                plan, rule, _Row(step.pk, STEP, step.sequence), user, about, _Times(day, anchor, useful, zone)
            )


def _closes(step: PlannedStep) -> datetime:
    """When the step's work is over: as planned, or at once when it was ticked off before; a tick tells when it began."""
    ticks = [row.at for row in step.entry.records.all() if row.step == step.key] if step.status == "done" else []
    return min([step.ends, *ticks])


def _people(plan: Plan, rule: Rule, step: PlannedStep) -> Iterable[User]:
    found: dict[Any, User] = {}
    if RANCHER in rule.roles:
        found.update((user.pk, user) for user in step.ranch.people.all())
    if TECHNICIAN in rule.roles:
        found.update((user.pk, user) for user in plan.booked.get((step.entry_id, step.lot, step.key), ()))
        if rule.anchor == "ends":  # it is about the second session: whoever comes to that one as well
            second = _second_key(step)
            found.update((user.pk, user) for user in plan.booked.get((step.entry_id, step.lot, second), ()))
    assert COORDINATOR not in rule.roles
    return found.values()


def _of_booking(plan: Plan, booking: Booking, user: User) -> Iterator[Wanted]:
    zone = ZoneInfo(booking.entry.group.herd.ranch.zone)
    day = booking.starts.astimezone(zone).date()
    about = _about_booking(plan, booking, zone, day)
    for rule in RULES:
        if rule.about == BOOKING and not rule.plan:
            row = _Row(booking.pk, BOOKING, booking.sequence)
            yield from _to_person(plan, rule, row, user, about, _Times(day, booking.starts, booking.starts, zone))


@dataclass(frozen=True, slots=True)
class _Row:
    """The row that a reminder is about: its id, what kind it is, the state of it that was told."""

    pk: uuid.UUID | None
    kind: str
    sequence: int = 0


@dataclass(frozen=True, slots=True)
class _Times:
    day: date
    anchor: datetime
    useful: datetime
    zone: ZoneInfo


def _to_person(plan: Plan, rule: Rule, row: _Row, user: User, about: About, times: _Times) -> Iterator[Wanted]:
    profile = plan.profiles.get(user.pk)
    if profile is None or row.pk is None or not profile.on(rule):
        return
    due = _due(profile, rule, times)
    for door in profile.doors(rule):
        yield Wanted(
            rule=rule,
            kind=row.kind,
            about=row.pk,
            sequence=row.sequence,
            user=user,
            door=door,
            due=due,
            expires=times.useful,
            language=profile.language,
            about_text=about,
        )


def _due(profile: Profile, rule: Rule, times: _Times) -> datetime:
    """When it is due; never inside the person's quiet hours: then before them.

    What comes as soon as something closes cannot come before it, and waits until the quiet hours are over.
    """
    days, at, minutes = profile.timing(rule)
    if at is not None:
        due = datetime.combine(times.day - timedelta(days=days), at, times.zone)
    else:
        due = times.anchor - timedelta(minutes=minutes)
    if rule.anchor == "ends":
        end = profile.quiet_end(due, times.zone)
        return end if end is not None and end < times.useful else due
    return profile.quiet_start(due, times.zone) or due


def _about_step(plan: Plan, step: PlannedStep, zone: ZoneInfo, day: date, rule: Rule) -> About | None:
    words = words_of(step.entry.protocol, step.key)
    other = None
    if rule.code == "second_session":
        second = plan.by_key.get((step.entry_id, step.lot, _second_key(step)))
        if second is None or second.status != "planned":
            return None
        other = _plain_step(plan, second, zone, day)
    plain = _plain_step(plan, step, zone, day)
    return About(
        words=words, group=plain.group, ranch=plain.ranch, place="", zone=zone, starts=step.starts,
        head=step.head, lot=plain.lot, lots=plain.lots, day=day,
        by_technician=plain.by_technician, other=other, tank=words.kind == "ai" and step.by == "ranch",
        wait=plain.wait,
    )  # fmt: skip


def _second_key(step: PlannedStep) -> str:
    return next((key for key, marks in marks_of(step.entry.protocol).items() if "session_2" in marks), "")


def _plain_step(plan: Plan, step: PlannedStep, zone: ZoneInfo, day: date) -> About:
    return About(
        words=words_of(step.entry.protocol, step.key),
        group=step.entry.group.name,
        ranch=step.ranch.name,
        place="",
        zone=zone,
        starts=step.starts,
        head=step.head,
        lot=step.lot + 1,
        lots=plan.lots[step.entry_id],
        day=day,
        by_technician=step.by == "technician",
        wait=plan.waits.get(session_of(step)),
    )


def _about_booking(plan: Plan, booking: Booking, zone: ZoneInfo, day: date) -> About:
    ranch, words = booking.entry.group.herd.ranch, words_of(booking.entry.protocol, booking.step)
    return About(
        words=words,
        group=booking.entry.group.name,
        ranch=ranch.name,
        place=ranch.directions,
        zone=zone,
        starts=booking.starts,
        head=booking.head,
        lot=booking.lot + 1,
        lots=plan.lots[booking.entry_id],
        day=day,
        leaves=booking.busy_starts,
        km=booking.km_before,
        tank=words.kind == "ai",
        wait=plan.waits.get(session_at(booking)),
    )
