"""Technicians' days on given ways as a program: comings, leavings, minutes of work in every stay, half hours after noon."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import TYPE_CHECKING

from scheduling.kernel.search.exact.program import Program
from scheduling.kernel.search.exact.session import Session
from scheduling.kernel.search.exact.touring import HALF_HOUR
from scheduling.kernel.search.exact.walks import Walk

if TYPE_CHECKING:
    from scheduling.kernel.search.exact.daily import Ways

_TINY = 1e-6
# Minutes after noon that count as none; the checker counts 0.00003 of a visit as none.
NEXT_TO_NOTHING = 1e-3


@dataclass(frozen=True)
class Day:
    """A technician's day: what it touches (bits), and which of it the other one touches, too.

    `free`: of what is shared one of them may do nothing.
    """

    ways: "Ways"
    mask: int
    shared: int
    free: bool = False

    @property
    def places(self) -> frozenset[int]:
        """The ranches."""
        return frozenset(item.place for item in self.ways.of(self.mask))


def driven(day: Day, walk: Walk) -> float:
    """Km of a way from the base and back."""
    touring = day.ways.touring
    stops = (touring.base, *walk, touring.base)
    return sum(touring.km(one, other) for one, other in pairwise(stops))


@dataclass
class Piece:
    """Work on one session in one stay: its minutes, whether there is any (None: there is), its half hours: columns."""

    item: Session
    stay: int
    minutes: int
    there: int | None
    halves: int | None = None


class Stays:
    """The program of given ways. Minutes are counted from a base."""

    def __init__(self, days: Sequence[Day], chosen: Sequence[Walk]) -> None:
        self.program = Program()
        self.base = min(day.ways.opens for day in days)
        self.span = max(day.ways.closes for day in days) - self.base
        self.comes: dict[tuple[int, int], int] = {}
        self.leaves: dict[tuple[int, int], int] = {}
        # By stay: AI there, less what there is room for before noon, less its half hours.
        self.mornings: dict[tuple[int, int], dict[int, float]] = {}
        # By stay with AI: what lies between its coming and noon.
        self.befores: dict[tuple[int, int], int] = {}
        self.pieces: list[list[Piece]] = []
        self.days = days
        for number, (day, walk) in enumerate(zip(days, chosen, strict=True)):
            self._way(number, day, walk)
            self.pieces.append(self._work(number, day, walk))

    # -- ways -----------------------------------------------------------------------------------------------------
    def _way(self, number: int, day: Day, walk: Walk) -> None:
        ways, touring, program = day.ways, day.ways.touring, self.program
        opens, closes = ways.opens - self.base, ways.closes - self.base
        here = touring.base
        for k, place in enumerate(walk):
            way = touring.minutes(here, place)
            low = opens + touring.minutes(touring.base, place)
            high = closes - touring.minutes(place, touring.base)
            come = self.comes[number, k] = program.column(0.0, low, max(low, high), whole=False)
            leave = self.leaves[number, k] = program.column(0.0, low, max(low, high), whole=False)
            if high < low - _TINY:
                program.row(1, inf, {})
            program.row(0, inf, {leave: 1.0, come: -1.0})
            if k:
                program.row(way, inf, {come: 1.0, self.leaves[number, k - 1]: -1.0})
            here = place

    # -- work -----------------------------------------------------------------------------------------------------
    def _work(self, number: int, day: Day, walk: Walk) -> list[Piece]:
        """Pieces of work in stays, within the hours of their sessions, and the half hours after noon that they take."""
        program, ways = self.program, day.ways
        free = set(ways.of(day.shared)) if day.free else set()
        found: list[Piece] = []
        for item in ways.of(day.mask):
            stays = [k for k, place in enumerate(walk) if place == item.place]
            most = item.most_minutes(ways.rate)
            for k in stays:
                minutes = program.column(0.0, 0.0, most, whole=False)
                there = program.column(0.0) if len(stays) > 1 or item in free else None
                if there is not None:
                    program.row(-inf, 0, {minutes: 1.0, there: -most})
                found.append(Piece(item, k, minutes, there))
        for k in range(len(walk)):
            self._stay(number, k, [piece for piece in found if piece.stay == k], ways)
        return found

    def _stay(self, number: int, k: int, pieces: Sequence[Piece], ways: "Ways") -> None:
        """One technician does one thing at a time, nothing before its hours or after."""
        program, come, leave = self.program, self.comes[number, k], self.leaves[number, k]
        program.row(-inf, 0, {come: 1.0, leave: -1.0, **{piece.minutes: 1.0 for piece in pieces}})
        for piece in pieces:
            low, high = piece.item.low - self.base, piece.item.high - self.base
            early = {other.minutes: 1.0 for other in pieces if other.item.high <= piece.item.high}
            late = {other.minutes: -1.0 for other in pieces if other.item.low >= piece.item.low}
            self.where(piece, -inf, high, {come: 1.0, **early})
            self.where(piece, low, inf, {leave: 1.0, **late})
        self._halves(number, k, [piece for piece in pieces if piece.item.ai], ways)

    def where(self, piece: Piece, low: float, high: float, entries: dict[int, float]) -> None:
        """A row that holds where there is work of a piece."""
        if piece.there is not None:
            wide = self.span + 24 * 60
            if high < inf:
                entries[piece.there], high = wide, high + wide
            else:
                entries[piece.there], low = -wide, low - wide
        self.program.row(low, high, entries)

    def _halves(self, number: int, k: int, pieces: Sequence[Piece], ways: "Ways") -> None:
        """Work that does not fit between coming and noon is after noon; half hours are counted for each session at least."""
        if not pieces or not ways.per_half:
            return
        program = self.program
        before = self.befores[number, k] = self.before(self.comes[number, k], pieces[0].item.noon - self.base)
        every = {before: -1.0}
        for piece in pieces:
            count = program.column(ways.per_half, 0.0, 1 + piece.item.most_minutes(ways.rate) // HALF_HOUR)
            room = max(0.0, piece.item.noon - piece.item.low)
            program.row(-inf, room + NEXT_TO_NOTHING, {piece.minutes: 1.0, count: -HALF_HOUR})
            program.row(-inf, NEXT_TO_NOTHING, {piece.minutes: 1.0, count: -HALF_HOUR, before: -1.0})
            every |= {piece.minutes: 1.0, count: -HALF_HOUR}
            piece.halves = count
        self.mornings[number, k] = every

    def before(self, at: int, noon: float) -> int:
        """A column: at most what lies between a minute (column) and noon, nothing where that is later."""
        program, wide = self.program, self.span + 24 * 60
        before = program.column(0.0, 0.0, max(0.0, noon - program.lows[at]), whole=False)
        if program.highs[at] <= noon:
            program.row(-inf, noon, {before: 1.0, at: 1.0})
        else:
            morning = program.column(0.0)
            program.row(-inf, noon + wide, {before: 1.0, at: 1.0, morning: wide})
            program.row(-inf, 0, {before: 1.0, morning: -max(0.0, float(noon))})
        return before
