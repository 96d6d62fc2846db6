"""How long animals wait between treatment and AI when both go through one chute, and how to cut a group into lots.

Rates are head per hour, waits are elapsed hours. With n head treated at rate p from t1 and inseminated at rate a from
t2 = t1 + gap: when the order is kept, animal i (0..n-1) waits gap + i(1/a - 1/p); in any order the waits lie between
gap - (n-1)/p and gap + (n-1)/a. Where only some of those treated come to a session (split-time AI), n is those who come; in
any order the last treated may be the first of them, so that the least wait counts all treated. Window and the rule of three to
four hours for a session: "tips for a successful synchronization and AI program", Kansas State University extension newsletter,
undated.
"""

from dataclasses import dataclass
from math import floor

SESSION_ADVICE_H = 4.0
_TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast animals are treated and inseminated, and whether they keep their order."""

    treat_rate: float
    ai_rate: float
    order_kept: bool


def spread_h(head: int, pace: Pace) -> float:
    """Hours between the shortest and the longest wait of a lot."""
    slow = 1 / pace.ai_rate
    fast = 1 / pace.treat_rate
    per_head = abs(slow - fast) if pace.order_kept else slow + fast
    return (head - 1) * per_head


def interval_range(head: int, gap_h: float, pace: Pace, treated: int | None = None) -> tuple[float, float]:
    """Shortest and longest wait of a lot whose AI starts `gap_h` after its treatment.

    `head` come to AI, of those `treated` (else as many).
    """
    last = head - 1
    if pace.order_kept:
        ends = (gap_h, gap_h + last * (1 / pace.ai_rate - 1 / pace.treat_rate))
        return min(ends), max(ends)
    return gap_h - ((treated or head) - 1) / pace.treat_rate, gap_h + last / pace.ai_rate


def gap_range(
    head: int, window: tuple[float, float], pace: Pace, treated: int | None = None
) -> tuple[float, float] | None:
    """Earliest and latest AI start after treatment start that keep every animal inside the window; None if none does."""
    shortest, longest = interval_range(head, 0.0, pace, treated)
    low, high = window[0] - shortest, window[1] - longest
    return (low, high) if low <= high + _TINY else None


def largest_lot(window: tuple[float, float], pace: Pace, most: int) -> int:
    """The largest lot, at most `most` head, whose every animal can stay inside the window (at least one animal fits)."""
    per_head = spread_h(2, pace)
    if per_head <= _TINY:
        return most
    return min(most, 1 + floor((window[1] - window[0]) / per_head + _TINY))


def fewest_lots(head: int, window: tuple[float, float], pace: Pace, more: int = 0) -> tuple[int, ...]:
    """The group cut into the fewest lots that fit, or so many more, as even as can be, the larger first."""
    lots = min(head, -(-head // largest_lot(window, pace, head)) + more)
    size, more = divmod(head, lots)
    return tuple([size + 1] * more + [size] * (lots - more))


def stagger_h(head: int, pace: Pace) -> float:
    """Hours after which the next lot may start, so that neither its treatment nor its AI meets this lot in the chute."""
    return head * max(1 / pace.treat_rate, 1 / pace.ai_rate)
