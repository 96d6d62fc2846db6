"""How many animals an AI session must be ready for."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import ceil, sqrt

from scheduling.kernel.protocol import Protocol, Step, Substance

# One-sided 90 % point of the normal distribution (standard tables).
_NORMAL_90 = 1.2816
# Share in heat by the first session of split-time AI. 66 h: 62 %, "Evaluation of later timepoints for fixed-time artificial
# insemination of beef heifers and cows when using sex-sorted semen", journal abstract, about 2022-24 (1,640 heifers).
# 72 h: 76 %, "Evaluation of later timepoints for split-time AI when using sex-sorted semen among beef heifers", Animal
# Reproduction Science, 2020-21 (794 heifers).
_SHARE_BY_66_H, _SHARE_BY_72_H = 0.62, 0.76


def share_in_heat(target_h: float) -> float:
    """Expected share of animals in heat by `target_h` hours after PG, for split-time AI."""
    return _SHARE_BY_72_H if target_h >= 70 else _SHARE_BY_66_H


def session_head(protocol: Protocol, step: Step, head: int) -> int:
    """Head to reserve for at an AI session.

    One session takes the lot. With split-time AI each session is reserved for with 90 % certainty, so that the two
    together hold more than the lot; what the first leaves free is known when it closes.
    """
    if len(protocol.ai_steps) < 2:
        return head
    first = protocol.ai_steps[0]
    share = share_in_heat(first.after.target_h if first.after else 66)
    if step.key != first.key:
        share = 1 - share
    return min(head, ceil(head * share + _NORMAL_90 * sqrt(head * share * (1 - share))))


# Share of synchronized females first seen in heat by so many hours after PG, read between the points. 66 and 72 h as above;
# hardly any before 32 h and nearly all by 104 h: "PGF2a at days 7, 11, 15 of the cycle and estrus onset in heifers",
# Journal of Animal Science, 1984.
_SEEN_BY = ((32.0, 0.0), (66.0, _SHARE_BY_66_H), (72.0, _SHARE_BY_72_H), (104.0, 1.0))
# A herd that cycles naturally shows heat at 5 % a day: "What to expect when calving timed-AI females", South Dakota State
# University Extension, 2018.
_NATURAL_PER_H = 0.05 / 24
# Twice-daily watching at 07:30 and 16:30: "Detection of estrus by visual observation and radiotelemetry", Journal of Animal
# Science, 1996.
_CHECKS_H = (7.5, 16.5)
# Where the hour of treatment is not known yet: mid-morning (common practice).
_TREATED_H = 10.0
HEAT_PREFIX = "heat:"


@dataclass(frozen=True, slots=True)
class HeatSession:
    """AI of females seen in heat half a day before: days from the AI day, morning or evening, expected share of the group."""

    key: str
    day: int
    morning: bool
    share: float

    def head(self, group_head: int) -> int:
        """Expected number of head, rounded up."""
        return min(group_head, ceil(group_head * self.share - 1e-9))


def seen_by(hours: float) -> float:
    """Share of a synchronized group first seen in heat by so many hours after PG (0 to 1)."""
    if hours <= _SEEN_BY[0][0]:
        return 0.0
    for (low_h, low), (high_h, high) in pairwise(_SEEN_BY):
        if hours <= high_h:
            return low + (high - low) * (hours - low_h) / (high_h - low_h)
    return 1.0


@lru_cache(maxsize=512)
def _heat_sessions(
    protocol_id: str, key: tuple[tuple[int, float, float], ...], pg_day: int, last_day: int
) -> tuple[HeatSession, ...]:
    """Sessions of a protocol from its watches (anchor's day, first and last hour), all days counted from the AI day."""
    checks = sorted(
        (day, hour)
        for day in range(min(item[0] for item in key) - 2, last_day + 1)
        for hour in _CHECKS_H
        if any(start <= (day - anchor) * 24 + hour - _TREATED_H <= end for anchor, start, end in key)
    )
    shares: dict[tuple[int, bool], float] = {}
    natural = seen = 0.0
    for day, hour in checks:
        after_pg = (day - pg_day) * 24 + hour - _TREATED_H
        if after_pg <= 0:  # since the last check: overnight, or over the day
            share = _NATURAL_PER_H * (
                (_CHECKS_H[1] - _CHECKS_H[0]) if hour == _CHECKS_H[1] else 24 - _CHECKS_H[1] + _CHECKS_H[0]
            )
            natural += share
        else:
            share = (1 - natural) * (seen_by(after_pg) - seen)
            seen = seen_by(after_pg)
        slot = (day, False) if hour == _CHECKS_H[0] else (day + 1, True)
        if share > 0 and slot[0] <= last_day:
            shares[slot] = share
    ordered = sorted(shares, key=lambda slot: (slot[0], not slot[1]))
    return tuple(
        HeatSession(f"{HEAT_PREFIX}{number}", day, morning, shares[day, morning])
        for number, (day, morning) in enumerate(ordered, 1)
    )


def heat_sessions(protocol: Protocol) -> tuple[HeatSession, ...]:
    """AI after seen heat, morning and evening: seen in the morning, AI that evening; seen in the evening, AI next morning.

    None for protocols without heat detection. Where detection ends in timed AI, the sessions are those on earlier days.
    """
    if not protocol.heat_watches:
        return ()
    reference = protocol.reference_day
    watches = tuple(
        (protocol.by_key[watch.anchor].day - reference, watch.start_h, watch.end_h) for watch in protocol.heat_watches
    )
    pg_day = max(step.day for step in protocol.steps if step.substance is Substance.PG) - reference
    ends = max(anchor * 24 + end for anchor, _, end in watches)
    last = -1 if protocol.ai_steps else int((ends + _TREATED_H + 12) // 24)
    return _heat_sessions(protocol.id, watches, pg_day, last)
