"""The words of a judgement: verdict, reason, and the dates that a female is judged for."""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import IntEnum

from scheduling.kernel.advice.figures import Cited
from scheduling.kernel.advice.whys import WHYS
from scheduling.kernel.protocol import Action, Protocol, Substance


class Verdict(IntEnum):
    """Ready, ready if something is done, or not this time; the worst reason decides."""

    READY = 0
    READY_IF = 1
    NOT_THIS_TIME = 2

    @property
    def words(self) -> str:
        """As it is shown."""
        return ("Ready", "Ready if", "Not this time")[self.value]


@dataclass(frozen=True, slots=True)
class PlanDates:
    """The dates that she is judged for. `insert` and `pg` are None where the protocol has none."""

    today: date
    start: date
    ai: date
    insert: date | None = None
    pg: date | None = None
    feeds_mga: bool = False

    def moved(self, days: int) -> "PlanDates":
        """The same programme `days` later."""
        shift = timedelta(days=days)
        return PlanDates(
            self.today,
            self.start + shift,
            self.ai + shift,
            self.insert + shift if self.insert else None,
            self.pg + shift if self.pg else None,
            self.feeds_mga,
        )


def plan_dates(protocol: Protocol, ai_day: date, today: date) -> PlanDates:
    """The dates of a catalogue protocol counted back from its AI day."""
    day0 = ai_day - timedelta(days=protocol.reference_day)

    def first(substance: Substance) -> date | None:
        days = [s.day for s in protocol.steps if s.substance is substance and s.action is Action.GIVE]
        return day0 + timedelta(days=min(days)) if days else None

    return PlanDates(
        today, day0, ai_day, first(Substance.INSERT), first(Substance.PG), first(Substance.MGA) is not None
    )


@dataclass(frozen=True, slots=True)
class Reason:
    """Why, by a rule's code: what is so, what to do and by when. `amount` is a gain in kg a day where one is needed.

    `seen` is the day of the record that decided; `missing` says that a record is wanted that is not there.
    """

    code: str
    verdict: Verdict
    sentence: str
    do: str | None = None
    by: date | None = None
    amount: float | None = None
    seen: date | None = None
    missing: bool = False

    @property
    def sources(self) -> tuple[Cited, ...]:
        """Who printed the rule."""
        return WHYS[self.code].sources


@dataclass(frozen=True, slots=True)
class Judged:
    """One female's verdict with all her reasons, the gravest first. `share_of_mature` is that of her latest weight."""

    tag: str
    verdict: Verdict
    reasons: tuple[Reason, ...]
    days_at_ai: int | None
    share_of_mature: float | None
