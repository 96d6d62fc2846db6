"""The shape of a group's handling at an AI rate: its lots, each trip's lots in time, and the allowed gaps."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor

from scheduling.kernel.protocol import Step
from scheduling.kernel.search.model import Need, Trip, hour_anchor
from scheduling.kernel.season import Hands
from scheduling.kernel.sessions import session_head
from scheduling.kernel.throughput import fewest_lots, gap_range


@dataclass(frozen=True)
class Pattern:
    """A trip's lots as offsets and lengths from the start of the first, in minutes."""

    offsets: tuple[int, ...]
    lengths: tuple[int, ...]

    @property
    def length(self) -> int:
        """From the first start to the last end."""
        return self.offsets[-1] + self.lengths[-1]

    def spans(self, start: int) -> Iterator[tuple[int, int]]:
        """Start and end of each lot."""
        for offset, length in zip(self.offsets, self.lengths, strict=True):
            yield start + offset, start + offset + length


@dataclass(frozen=True)
class Shape:
    """Lots by head; a pattern for each trip by its key; gaps in minutes for each AI step (None: no gap suits every lot)."""

    ai_rate: float
    lots: tuple[int, ...]
    patterns: Mapping[str, Pattern]
    gaps: Mapping[str, tuple[int, int] | None]


def shape_of(need: Need, ai_rate: float) -> Shape:
    """Work out the shape."""
    lots = _lots(need, ai_rate)
    patterns = {trip.key: _pattern(need, lots, ai_rate, trip) for trip in need.trips}
    paced = [(head, ai_rate) for head in lots]
    gaps = {step.key: gap_minutes(need, paced, step) for step in need.protocol.ai_steps}
    return Shape(ai_rate, lots, patterns, gaps)


def _lots(need: Need, ai_rate: float) -> tuple[int, ...]:
    timed = need.protocol.ai_steps
    if not timed or timed[0].after is None:
        return (need.group.head,)
    return fewest_lots(need.group.head, timed[0].after.window, need.pace(ai_rate), need.lots_more)


def head_at(need: Need, step: Step, head: int) -> int:
    """How many of a lot an AI session is counted for: all by the ranch itself, those to reserve for by technicians."""
    return head if need.group.ai_by is Hands.RANCH else session_head(need.protocol, step, head)


def treat_minutes(need: Need, head: int) -> int:
    """How long a lot's treatment takes."""
    return ceil(head / need.ranch.treat_rate * 60 - 1e-9)


def ai_minutes(need: Need, step: Step, head: int, ai_rate: float) -> int:
    """How long a lot's AI session takes."""
    return ceil(head_at(need, step, head) / ai_rate * 60 - 1e-9)


def _pattern(need: Need, lots: Sequence[int], ai_rate: float, trip: Trip) -> Pattern:
    """Lots are as far apart as the slower of treatment and AI, where their distance matters for the interval."""
    treat = tuple(treat_minutes(need, head) for head in lots)
    if not need.protocol.ai_steps:
        return Pattern(_running(treat), treat)
    sessions = [tuple(ai_minutes(need, step, head, ai_rate) for head in lots) for step in need.protocol.ai_steps]
    spacing = tuple(max(lengths) for lengths in zip(treat, *sessions, strict=True))
    if trip.ai is not None:
        return Pattern(_running(spacing), tuple(ai_minutes(need, trip.ai, head, ai_rate) for head in lots))
    return Pattern(_running(spacing if _is_timed(need, trip) else treat), treat)


def _is_timed(need: Need, trip: Trip) -> bool:
    """Whether hours are counted from or to this trip."""
    anchors = {step.after.step for step in need.protocol.ai_steps if step.after}
    return bool(anchors.intersection(trip.keys)) or hour_anchor(trip) is not None


def gap_minutes(need: Need, lots: Iterable[tuple[int, float]], ai: Step) -> tuple[int, int] | None:
    """Allowed minutes from treatment start to AI start that suit every lot (head and AI rate of each)."""
    assert ai.after is not None
    low, high = -(10**9), 10**9
    for treated, ai_rate in lots:
        allowed = gap_range(head_at(need, ai, treated), ai.after.window, need.pace(ai_rate), treated)
        if allowed is None:
            return None
        low, high = max(low, ceil(allowed[0] * 60 - 1e-6)), min(high, floor(allowed[1] * 60 + 1e-6))
    return (low, high) if low <= high else None


def _running(lengths: Sequence[int]) -> tuple[int, ...]:
    """Offsets of things done one after the other."""
    offsets, at = [], 0
    for length in lengths:
        offsets.append(at)
        at += length
    return tuple(offsets)
