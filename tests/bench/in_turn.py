"""Two processes, measured on a machine that is not ours alone: parts are solved one after the other, the clock as if at once."""

import pickle
import time
from collections.abc import Sequence
from typing import TypeVar

from scheduling.kernel.search.parts import Part, PartResult, solve_part

T = TypeVar("T")


class InTurn:
    """Helpers for a benchmark. `clock` counts processor time, that of parts which would run at the same time once.

    What starting a process takes (about half a second of its own, beside the other's work) is not counted.
    """

    def __init__(self, count: int) -> None:
        self.count = count
        self._beside = 0.0

    def clock(self) -> float:
        """Seconds that would have passed."""
        return time.process_time() - self._beside

    def start(self, parts: Sequence[Part]) -> "Solved":
        """Solve every part. Where there are fewer parts than processes, the caller works at the same time."""
        results, spent = [], []
        for part in parts:
            begun = time.process_time()
            results.append(_sent(solve_part(_sent(part), time.process_time)))
            spent.append(time.process_time() - begun)
        self._beside += sum(spent) - (max(spent, default=0.0) if len(parts) >= self.count else 0.0)
        return Solved(results)

    def wait(self, seconds: float) -> None:
        """Nothing is ever waited for."""


def _sent(value: T) -> T:
    """The value as another process would get it."""
    found: T = pickle.loads(pickle.dumps(value))  # noqa: S301 (our own, of a moment ago)
    return found


class Solved:
    """Parts that have come back."""

    def __init__(self, results: Sequence[PartResult | None]) -> None:
        self._results = list(results)

    def done(self) -> bool:
        """They have."""
        return True

    def results(self) -> list[PartResult | None]:
        """What came back."""
        return self._results
