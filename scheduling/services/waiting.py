"""Who waits at an AI session to which only some of a lot come, and until when: pages, paper and events say it by these words.

Nothing of it is stored: it follows from the treatment (as it was done, once that is known) and the programme's least hours.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.dates import WEEKDAYS_ABBR
from django.utils.translation import gettext

from scheduling.kernel.protocol import HourRule
from scheduling.kernel.waiting import Treated, last_waits_until, sessions_of_some
from scheduling.models import Booking, Order, PlannedStep
from scheduling.queries import treatments_at
from scheduling.services.catalogue import protocol_of

# The hours of every such session of the catalogue count from PG.
IN_ORDER = "Bring them in the order in which they had PG."
NOT_BEFORE = "Inseminate nobody less than %(hours)s h after her own PG: the last treated not before %(clock)s."

_HERE = "\0"


class Session(NamedTuple):
    """A lot at an AI session: what is asked about. `zone` is the ranch's."""

    entry: UUID
    lot: int
    protocol: str
    key: str
    starts: datetime
    zone: str


@dataclass(frozen=True, slots=True)
class Wait:
    """The programme's least hours, and when they have passed for the last treated of the lot, on the ranch's clock."""

    hours: float
    until: datetime
    other_day: bool
    in_order: bool


class WaitWords(NamedTuple):
    """What people are told. `hour` stands apart, so that a page can set it bold."""

    before: str
    hour: str
    after: str

    def __str__(self) -> str:
        return "".join(self)


Waits = Mapping[Session, Wait]


@cache
def rules_of_some(protocol: str) -> Mapping[str, HourRule]:
    """The hour rules of the programme's sessions to which only some of a lot come, by step."""
    found = protocol_of(protocol)
    return sessions_of_some(found) if found else {}


def counts_from(protocol: str, keys: Iterable[str]) -> bool:
    """Whether hours that people are told count from one of these steps: what is told follows when it is ticked off."""
    return not {rule.step for rule in rules_of_some(protocol).values()}.isdisjoint(keys)


def session_of(step: PlannedStep) -> Session:
    """A published step as a session to ask about."""
    return Session(step.entry_id, step.lot, step.entry.protocol, step.key, step.starts, step.ranch.zone)


def session_at(booking: Booking) -> Session:
    """A technician's visit as a session to ask about."""
    zone = booking.entry.group.herd.ranch.zone
    return Session(booking.entry_id, booking.lot, booking.entry.protocol, booking.step, booking.starts, zone)


def waits_at(sessions: Iterable[Session]) -> dict[Session, Wait]:
    """Where somebody has to wait at some sessions, of whatever kind. One query; none where no session is one of some."""
    asked = {row: rule for row in sessions if (rule := rules_of_some(row.protocol).get(row.key))}
    if not asked:
        return {}
    keys = sorted({row.key for row in asked})
    found = treatments_at({row.entry for row in asked}, {rule.step for rule in asked.values()}, keys)
    treatments = {(row.entry, row.lot, row.key): row for row in found}
    waits = {}
    for row, rule in asked.items():
        treatment = treatments.get((row.entry, row.lot, rule.step))
        if treatment is None:
            continue
        own, zone = treatment.own[keys.index(row.key)], ZoneInfo(row.zone)
        treated = Treated(treatment.starts, treatment.ends, treatment.head)
        if treatment.done is not None:
            treated = treated.begun_at(treatment.done, treatment.first, zone)
        wait = wait_for(treated, rule.window[0] if own is None else own, row.starts, zone, treatment.order)
        if wait is not None:
            waits[row] = wait
    return waits


def wait_for(treated: Treated, low_h: float, session: datetime, zone: ZoneInfo, order: str) -> Wait | None:
    """What there is to wait for at a session of some, with the least hours in force; None where there is nothing."""
    until = last_waits_until(treated, low_h, session, zone)
    if until is None:
        return None
    return Wait(low_h, until, until.date() != session.astimezone(zone).date(), order == Order.KEPT)


def wait_words(wait: Wait | None) -> WaitWords | None:
    """What people at the chute are told, in the language in force; None where nobody waits."""
    if wait is None:
        return None
    return fill_wait_words(wait, gettext(IN_ORDER), gettext(NOT_BEFORE), tuple(map(str, WEEKDAYS_ABBR.values())))


def fill_wait_words(wait: Wait, in_order: str, not_before: str, weekdays: Sequence[str]) -> WaitWords:
    """The same from sentences that are ready in a language. `weekdays`: short, from Monday."""
    hour = f"{wait.until:%H:%M}"
    if wait.other_day:
        hour = f"{weekdays[wait.until.weekday()]} {hour}"
    said = not_before % {"hours": f"{wait.hours:g}", "clock": _HERE}
    before, _, after = (f"{in_order} {said}" if wait.in_order else said).partition(_HERE)
    return WaitWords(before, hour, after)
