"""The proof for small seasons: every technician-day, and the best choice among them all."""

from scheduling.kernel.search.exact.prove import MOST_GROUPS, Proof

__all__ = ["MOST_GROUPS", "Proof"]
