"""How a group goes through its acts: lots, how long each takes, and the waits that all its animals allow.

With n head treated at rate p from t1 and inseminated at rate a from t2, animal i waits t2 - t1 + i(1/a - 1/p) when the
order is kept; in any order the waits lie between t2 - (t1 + (n-1)/p) and t2 + (n-1)/a - t1 (season contract, rule 2).
Lots follow each other at one pace through linked acts, so that each keeps the same wait.
"""

from dataclasses import dataclass
from math import ceil, floor

from scheduling.kernel.optimizer.jobs import Job, Kind, Problem, order_kept

_TINY = 1e-6


@dataclass(frozen=True, slots=True)
class Span:
    """Minutes allowed between the starts of two acts, and those that meet the protocol's target best."""

    first: int
    then: int
    low: int
    high: int
    target: int


@dataclass(frozen=True, slots=True)
class Shape:
    """By act: each lot's start after the act's start and its length, and the length of the whole act; minutes."""

    number: int
    lots: tuple[int, ...]
    offsets: tuple[tuple[int, ...], ...]
    lengths: tuple[tuple[int, ...], ...]
    whole: tuple[int, ...]
    spans: tuple[Span, ...]


class Shapes:
    """Shapes by job and AI rates, made once."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.made: dict[tuple[int, tuple[float, ...], int], Shape | None] = {}
        self.count = 0

    def of(self, job: Job, rates: tuple[float, ...], more_lots: int = 0) -> Shape | None:
        """The shape with the fewest lots (and `more_lots`) that suits every one of the AI rates; None if none does."""
        key = (job.index, rates, more_lots)
        if key not in self.made:
            self.made[key] = self.make(job, rates, more_lots)
        return self.made[key]

    def make(self, job: Job, rates: tuple[float, ...], more_lots: int) -> Shape | None:
        """As `of`, without memory."""
        head = job.group.head
        for count in range(1, min(head, 24) + 1):
            spans = _spans(self.problem, job, -(-head // count), rates)
            if spans is not None:
                self.count += 1
                return _laid(self.problem, job, min(count + more_lots, head), rates, spans, self.count)
        return None


def _spans(problem: Problem, job: Job, head: int, rates: tuple[float, ...]) -> tuple[Span, ...] | None:
    """The spans that the largest lot allows; a smaller one allows them too."""
    treat = problem.ranches[job.ranch].treat_rate
    spans = []
    for link in job.links:
        pace = rates if job.acts[link.then].kind is Kind.AI else (treat,)
        ends = [wait_ends(head, treat, rate, order_kept(job.group)) for rate in pace]
        low = ceil(link.low - 60 * min(end[0] for end in ends) - _TINY)
        high = floor(link.high - 60 * max(end[1] for end in ends) + _TINY)
        if low > high:
            return None
        middle = link.target - 30 * (min(end[0] for end in ends) + max(end[1] for end in ends))
        spans.append(Span(link.first, link.then, low, high, min(high, max(low, round(middle)))))
    return tuple(spans)


def wait_ends(head: int, treat_rate: float, rate: float, kept: bool) -> tuple[float, float]:
    """Shortest and longest wait of a lot, in hours beyond the hours between the two starts."""
    last = head - 1
    if kept:
        drift = last * (1 / rate - 1 / treat_rate)
        return min(0.0, drift), max(0.0, drift)
    return -last / treat_rate, last / rate


def _laid(
    problem: Problem, job: Job, count: int, rates: tuple[float, ...], spans: tuple[Span, ...], number: int
) -> Shape:
    size, more = divmod(job.group.head, count)
    lots = tuple([size + 1] * more + [size] * (count - more))
    treat, slowest = problem.ranches[job.ranch].treat_rate, min(rates, default=1.0)
    linked = {end for span in spans for end in (span.first, span.then)}
    has_ai = any(job.acts[i].kind is Kind.AI for i in linked)
    pace = ceil(60 * lots[0] * max(1 / treat, 1 / slowest if has_ai else 0.0) - _TINY)
    offsets, lengths = [], []
    for i, act in enumerate(job.acts):
        lengths.append(_lengths(lots, act.kind, act.share, treat, slowest))
        if i in linked:
            offsets.append(tuple(lot * pace for lot in range(len(lengths[-1]))))
        else:
            offsets.append(tuple(sum(lengths[-1][:lot]) for lot in range(len(lengths[-1]))))
    whole = tuple(start[-1] + length[-1] for start, length in zip(offsets, lengths, strict=True))
    return Shape(number, lots, tuple(offsets), tuple(lengths), whole, spans)


def _lengths(lots: tuple[int, ...], kind: Kind, share: float, treat: float, rate: float) -> tuple[int, ...]:
    if kind is Kind.TREAT:
        return tuple(max(1, ceil(60 * lot / treat - _TINY)) for lot in lots)
    if kind is Kind.HEAT:
        return (max(1, ceil(60 * booked(sum(lots), share) / rate - _TINY)),)
    return tuple(max(1, ceil(60 * booked(lot, share) / rate - _TINY)) for lot in lots)


def booked(head: int, share: float) -> int:
    """Head for which an AI visit is booked."""
    return head if share >= 1 else max(1, ceil(head * share - _TINY))


def windows(problem: Problem, job: Job, shape: Shape, day: int) -> tuple[tuple[int, int], ...] | None:
    """Earliest and latest start of each act when AI is on `day`; None if handling hours and waits leave nothing."""
    opens, closes = problem.opens[job.ranch], problem.closes[job.ranch]
    ends: list[list[int]] = []
    for i, act in enumerate(job.acts):
        if act.done is not None:
            ends.append([act.done, act.done])
            continue
        on = day + act.offset
        last = closes[on] - shape.whole[i]
        if act.kind is Kind.HEAT:
            last = min(last, max(opens[on], problem.noons[job.ranch][on] - shape.whole[i]))
        ends.append([opens[on], last])
    open_spans = [span for span in shape.spans if job.acts[span.first].done is None or job.acts[span.then].done is None]
    for _ in job.acts:
        for span in open_spans:
            tighten(ends[span.first], ends[span.then], span)
    if any(low > high for low, high in ends):
        return None
    return tuple((low, high) for low, high in ends)


def tighten(first: list[int], then: list[int], span: Span) -> None:
    """Cut two windows down to what a span leaves."""
    then[0], then[1] = max(then[0], first[0] + span.low), min(then[1], first[1] + span.high)
    first[0], first[1] = max(first[0], then[0] - span.high), min(first[1], then[1] - span.low)
