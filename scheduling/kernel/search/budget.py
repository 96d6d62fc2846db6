"""How long to search, and how far it is."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Budget:
    """How long to search: a number of rounds (the same plan every time), or seconds on the caller's clock, or both."""

    rounds: int | None = None
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the search is: rounds done, share of the budget used (0 to 1), cost of the best plan so far, groups placed."""

    rounds: int
    share: float
    best_cost: float
    placed: int
