"""The optimizer: an immutable season in, a plan with causes out. Seed and budget are arguments; no clock of its own."""

from scheduling.kernel.search.budget import Budget, Progress
from scheduling.kernel.search.solve import solve

__all__ = ["Budget", "Progress", "solve"]
