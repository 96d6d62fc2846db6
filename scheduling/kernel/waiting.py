"""AI sessions to which only some of a lot come: until when who was treated last has to wait.

A plan counts a session's hours as if those who come had been treated first and in a row. Which of them come is seen only on the
day, so that one who was treated late and comes first would be inseminated too early: she waits out her own hours.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

from scheduling.kernel.clock import after_hours, hours_between
from scheduling.kernel.protocol import HourRule, Protocol

# Hours are planned to the minute, at both ends: a default of this program.
_ROUNDED_H = 2 / 60


@dataclass(frozen=True, slots=True)
class Treated:
    """A lot's pass through the chute from which a session's hours are counted."""

    starts: datetime
    ends: datetime
    head: int

    def begun_at(self, first: datetime, planned: datetime, zone: ZoneInfo) -> "Treated":
        """As it was done: the first lot began at `first` and not as `planned`; the lots keep their distance."""
        late = hours_between(planned, first)
        return Treated(after_hours(self.starts, late, zone), after_hours(self.ends, late, zone), self.head)


def sessions_of_some(protocol: Protocol) -> Mapping[str, HourRule]:
    """The hour rules of AI sessions at set hours to which only some of a lot come, by step: both of split-time AI, and timed
    AI of females that were not seen in heat."""
    if len(protocol.ai_steps) < 2 and not protocol.heat_watches:
        return MappingProxyType({})
    return MappingProxyType({step.key: step.after for step in protocol.ai_steps if step.after is not None})


def last_waits_until(treated: Treated, low_h: float, session: datetime, zone: ZoneInfo) -> datetime | None:
    """When `low_h` hours have passed for the last treated, to the full minute; None where she has nothing to wait for once the
    session starts.

    She was treated at the end of her lot's treatment at the latest. The time that she herself took there, and rounding to the
    minute, make no wait: the planner counts from when she came in.
    """
    until = after_hours(treated.ends, low_h, zone)
    own = hours_between(treated.starts, treated.ends) / max(1, treated.head)
    if hours_between(session, until) <= own + _ROUNDED_H:
        return None
    return _full_minute(until, zone)


def _full_minute(moment: datetime, zone: ZoneInfo) -> datetime:
    over = timedelta(seconds=moment.second, microseconds=moment.microsecond)
    return after_hours(moment, (timedelta(minutes=1) - over) / timedelta(hours=1), zone) if over else moment
