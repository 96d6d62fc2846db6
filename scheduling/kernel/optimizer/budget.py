"""How long a search may run, and what it tells while it runs."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Budget:
    """Rounds, seconds, or both (whichever ends first). Rounds alone make a search repeatable to the byte."""

    rounds: int | None = None
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is: rounds done, part of the budget used (0 to 1), cost and groups unplaced of the best plan."""

    rounds: int
    part: float
    cost: float
    unplaced: int
