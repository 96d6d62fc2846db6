"""Rounds of the search in machine code: the same moves, some twenty times as many."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scheduling.kernel.search.rounds import Search
    from scheduling.kernel.search.swift.phase import Running, Swift

__all__ = ["Running", "Swift", "compile_rounds", "is_compiled", "swift_rounds"]


def swift_rounds(search: Search) -> Swift | None:
    """Rounds in machine code for a search; None where they have not been compiled, which takes longer than many a search.

    The compiler is imported here and not above: it takes 0.4 s and 90 MB, and who only shows plans needs none of it.
    """
    from scheduling.kernel.search.swift.phase import Swift  # noqa: PLC0415

    return Swift(search) if is_compiled() else None


def is_compiled() -> bool:
    """Whether `compile_rounds` has been run on this machine, with this version."""
    from scheduling.kernel.search.swift.machine import is_kept  # noqa: PLC0415

    return is_kept()


def compile_rounds(search: Search) -> None:
    """Compile what `swift_rounds` runs, where that was not done and kept; the search, of whatever season, is as before."""
    from scheduling.kernel.search.swift.phase import Running  # noqa: PLC0415
    from scheduling.kernel.search.swift.tables import Phase, Standing  # noqa: PLC0415

    Running(search, Phase(Standing(search))).improve(0, 1.0)
