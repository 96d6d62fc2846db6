"""Clock times at one ranch: every group's handling, one at a time through the chute, each wait inside its hours.

Acts of technicians have their times from the routes; the ranch's own acts are laid around them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.kernel.optimizer.jobs import Job, Kind, Problem
from scheduling.kernel.optimizer.shapes import Shape, windows

Starts = tuple[int, ...]
_DAY = 1440
_TRIES = 5
_MOST_STEPS = 400


@dataclass(frozen=True, slots=True)
class Stay:
    """A group at the ranch: its shape, AI day, and the starts that routes have set (None: free)."""

    job: Job
    shape: Shape
    day: int
    fixed: tuple[int | None, ...]


Key = tuple[tuple[int, int, int, tuple[int | None, ...]], ...]


class Chutes:
    """Clock times of ranches, each combination worked out once."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._memo: dict[Key, tuple[Starts, ...] | None] = {}

    def times(self, stays: Sequence[Stay]) -> tuple[Starts, ...] | None:
        """Starts of every act, in the order of the stays; None when they do not fit."""
        key: Key = tuple((stay.job.index, stay.shape.number, stay.day, stay.fixed) for stay in stays)
        try:
            return self._memo[key]
        except KeyError:
            found = self._memo[key] = self._lay(stays)
            return found

    def _lay(self, stays: Sequence[Stay]) -> tuple[Starts, ...] | None:
        if not _fixed_fit(stays):
            return None
        order = list(range(len(stays)))
        for _ in range(_TRIES):
            laid: dict[int, Starts] = {}
            failed = None
            for i in order:
                busy = _busy(stays, laid, i)
                starts = _Laying(self.problem, stays[i], busy).starts()
                if starts is None:
                    failed = i
                    break
                laid[i] = starts
            if failed is None:
                return tuple(laid[i] for i in range(len(stays)))
            if order[0] == failed:
                return None
            order.remove(failed)
            order.insert(0, failed)
        return None


def _fixed_fit(stays: Sequence[Stay]) -> bool:
    """Whether the starts set by routes keep out of each other's way."""
    blocks = []
    for stay in stays:
        for i, start in enumerate(stay.fixed):
            if start is not None and stay.job.acts[i].done is None:
                blocks.append((start, start + stay.shape.whole[i]))
    blocks.sort()
    return all(one[1] <= other[0] for one, other in zip(blocks, blocks[1:], strict=False))


def _busy(stays: Sequence[Stay], laid: dict[int, Starts], own: int) -> list[tuple[int, int]]:
    """What is taken by the other groups: their fixed acts, and all acts of those already laid."""
    blocks = []
    for i, stay in enumerate(stays):
        starts: Sequence[int | None] = laid.get(i, stay.fixed)
        if i != own:
            blocks += [(s, s + stay.shape.whole[a]) for a, s in enumerate(starts) if s is not None]
    return blocks


class _Laying:
    """Depth-first search for the starts of one group around what is taken."""

    def __init__(self, problem: Problem, stay: Stay, busy: list[tuple[int, int]]) -> None:
        self.stay = stay
        self.busy = busy
        self.steps = 0
        found = windows(problem, stay.job, stay.shape, stay.day)
        self.windows = list(found) if found is not None else []
        acts = stay.job.acts
        self.taken: dict[int, int] = {}
        for i, start in enumerate(stay.fixed):
            at = acts[i].done if acts[i].done is not None else start
            if at is not None:
                self.taken[i] = at
        linked = {end for span in stay.shape.spans for end in (span.first, span.then)}
        free = [i for i in range(len(acts)) if i not in self.taken]
        # AI settles the anchor, the anchor its follower; what no hour binds comes last.
        self.free = sorted(free, key=lambda i: (acts[i].kind is not Kind.AI, i not in linked, i))

    def starts(self) -> Starts | None:
        """The starts of every act, or None."""
        if not self.windows or not self._set_ones_agree():
            return None
        if not self._search(0):
            return None
        return tuple(self.taken[i] for i in range(len(self.stay.job.acts)))

    def _set_ones_agree(self) -> bool:
        acts = self.stay.job.acts
        for span in self.stay.shape.spans:
            if span.first in self.taken and span.then in self.taken:
                both_done = acts[span.first].done is not None and acts[span.then].done is not None
                gap = self.taken[span.then] - self.taken[span.first]
                if not both_done and not span.low <= gap <= span.high:
                    return False
        return True

    def _search(self, depth: int) -> bool:
        if depth == len(self.free):
            return True
        act = self.free[depth]
        for start in self._candidates(act):
            self.steps += 1
            if self.steps > _MOST_STEPS:
                return False
            self.taken[act] = start
            if self._search(depth + 1):
                return True
            del self.taken[act]
        return False

    def _candidates(self, act: int) -> list[int]:
        """Starts worth trying, the best first: the target, the window's ends, right before and after what is taken."""
        low, high, wish = self._room(act)
        if low > high:
            return []
        length = self.stay.shape.whole[act]
        own = [(s, s + self.stay.shape.whole[a]) for a, s in self.taken.items()]
        blocks = [block for block in self.busy + own if block[0] < high + length and block[1] > low]
        tries = {min(high, max(low, wish)), low, high}
        for start, end in blocks:
            tries.update(t for t in (end, start - length) if low <= t <= high)
        clear = [t for t in tries if all(t >= end or t + length <= start for start, end in blocks)]
        return sorted(clear, key=lambda t: (abs(t - wish), t))

    def _room(self, act: int) -> tuple[int, int, int]:
        """Earliest, latest and best start, given what is set."""
        low, high = self.windows[act]
        wish = None
        for span in self.stay.shape.spans:
            if span.then == act and span.first in self.taken:
                low, high = max(low, self.taken[span.first] + span.low), min(high, self.taken[span.first] + span.high)
                wish = self.taken[span.first] + span.target
            elif span.first == act and span.then in self.taken:
                low, high = max(low, self.taken[span.then] - span.high), min(high, self.taken[span.then] - span.low)
                wish = self.taken[span.then] - span.target if wish is None else wish
        return low, high, self._same_hour(act, low) if wish is None else wish

    def _same_hour(self, act: int, low: int) -> int:
        """Where no hour binds an act: the hour of day of the linked treatment, so that whole days are whole days."""
        for span in self.stay.shape.spans:
            if span.first in self.taken and span.first != act:
                days = self.stay.job.acts[act].offset - self.stay.job.acts[span.first].offset
                return self.taken[span.first] + days * _DAY
        return low
