"""What technicians' days cost at least with their hours in order, whatever their lots: a small program for given ways.

Every stay at a ranch on a way has a coming and a leaving; between them lies the work that the technician does there. A session
may be worked on in several stays and by both technicians. Kept are driving, the sessions' hours, head a day, half hours after
noon, and hours between treatment and AI (or another treatment) where both are in the program. Nothing is rounded to minutes.

Why no plan costs less, however lots are cut: its stays, its minutes of work on each session in each stay, the first turn and
the last end of each session are values that keep every row. In a stay the work that must be over by an hour lies between the
coming and that hour, the work that may not begin before an hour between that and the leaving. What of a stay's AI does not fit
between its coming and noon is after noon, and the started half hours of several visits are no fewer than those of their sum.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import islice, pairwise
from math import inf
from typing import TYPE_CHECKING

from scheduling.kernel.search.exact.program import Program
from scheduling.kernel.search.exact.session import Session, anchor_of, linked
from scheduling.kernel.search.exact.touring import HALF_HOUR
from scheduling.kernel.search.exact.walks import TooFar, Walk, together, walks

if TYPE_CHECKING:
    from scheduling.kernel.search.exact.daily import Ways

_MOST_WALKS = 60
_MOST_COMBINATIONS = 40
_NODES = 2000
_TINY = 1e-6
# Minutes after noon that count as none; the checker counts 0.00003 of a visit as none.
_NEXT_TO_NOTHING = 1e-3


@dataclass(frozen=True)
class Day:
    """A technician's day: what it touches (bits), and which of it the other one touches, too."""

    ways: "Ways"
    mask: int
    shared: int

    @property
    def places(self) -> frozenset[int]:
        """The ranches."""
        return frozenset(item.place for item in self.ways.of(self.mask))


def least(days: Sequence[Day], below: float) -> float:
    """What the days cost at least in all, as far as that is below so much; else `below`.

    Every combination of ways is tried until it costs as much as the cheapest by what is known of each way; where there are too
    many to try, that is the bound for those not tried.
    """
    fixed = sum(day.ways.cost for day in days)
    rows, most = [], inf
    for day in days:
        others = sum(
            other.ways.per_km * other.ways.touring.tour(frozenset(), other.places) for other in days if other is not day
        )
        row, left_out = _ways_of(day, below - fixed - others)
        rows.append(_by_itself(day, row, below - fixed - others) if len(days) > 1 and not day.shared else row)
        most = min(most, fixed + others + left_out)
    found = min(below, most)
    for count, (alone, chosen) in enumerate(together(rows)):
        if fixed + alone >= found - _TINY:
            break
        if count >= _MOST_COMBINATIONS:
            return min(found, fixed + alone)
        cost = fixed + sum(day.ways.per_km * _km(day, walk) for day, walk in zip(days, chosen, strict=True))
        found = min(found, cost + _Hours(days, chosen).least(found - cost))
    return found


def _ways_of(day: Day, most: float) -> tuple[list[tuple[float, Walk]], float]:
    """The shortest ways past a day's places that cost less than so much, and what others cost at least."""
    per_km = day.ways.per_km
    found: list[tuple[float, Walk]] = []
    try:
        found += islice(walks(day.ways.touring, day.places, most / per_km if per_km else inf), _MOST_WALKS + 1)
    except TooFar:
        last = found[-1][0] if found else day.ways.touring.tour(frozenset(), day.places)
        return [(per_km * km, walk) for km, walk in found], per_km * last
    if len(found) > _MOST_WALKS:
        km, _ = found.pop()
        return [(per_km * km, walk) for km, walk in found], per_km * km
    return [(per_km * km, walk) for km, walk in found], inf


def _by_itself(day: Day, row: Sequence[tuple[float, Walk]], most: float) -> list[tuple[float, Walk]]:
    """Ways with what each costs at least by itself, half hours included, the cheapest first, without those that cannot be."""
    found = []
    for km, walk in row:
        key = day.mask, walk
        if key not in day.ways.alone:
            day.ways.alone[key] = _Hours([day], [walk]).least(inf)
        cost = km + day.ways.alone[key]
        if cost < most:
            found.append((cost, walk))
    return sorted(found)


def _km(day: Day, walk: Walk) -> float:
    touring = day.ways.touring
    stops = (touring.base, *walk, touring.base)
    return sum(touring.km(one, other) for one, other in pairwise(stops))


@dataclass
class _Piece:
    """Work on one session in one stay: its minutes, whether there is any (None: there is), its half hours: columns."""

    item: Session
    stay: int
    minutes: int
    there: int | None
    halves: int | None = None


class _Hours:
    """The program of given ways. Minutes are counted from a base."""

    def __init__(self, days: Sequence[Day], chosen: Sequence[Walk]) -> None:
        self.program = Program()
        self.base = min(day.ways.opens for day in days)
        self.span = max(day.ways.closes for day in days) - self.base
        self.comes: dict[tuple[int, int], int] = {}
        self.leaves: dict[tuple[int, int], int] = {}
        # By stay: AI there, less what there is room for before noon, less its half hours.
        self.mornings: dict[tuple[int, int], dict[int, float]] = {}
        self.pieces: list[list[_Piece]] = []
        self.days = days
        for number, (day, walk) in enumerate(zip(days, chosen, strict=True)):
            self._way(number, day, walk)
            self.pieces.append(self._work(number, day, walk))
        self._all_done()
        self._heads()
        self._links()
        for entries in self.mornings.values():
            self.program.row(-inf, _NEXT_TO_NOTHING, entries)

    def least(self, below: float) -> float:
        """The least cost of half hours, infinite where the hours cannot be kept; only told as far as it is below so much."""
        result = self.program.minimise(nodes=_NODES, below=below)
        return result.cost if result.done else max(0.0, result.bound)

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
    def _work(self, number: int, day: Day, walk: Walk) -> list[_Piece]:
        """Pieces of work in stays, within the hours of their sessions, and the half hours after noon that they take."""
        program, ways = self.program, day.ways
        found: list[_Piece] = []
        for item in ways.of(day.mask):
            stays = [k for k, place in enumerate(walk) if place == item.place]
            most = item.minutes(ways.rate)
            for k in stays:
                minutes = program.column(0.0, 0.0, most, whole=False)
                there = program.column(0.0) if len(stays) > 1 else None
                if there is not None:
                    program.row(-inf, 0, {minutes: 1.0, there: -most})
                found.append(_Piece(item, k, minutes, there))
        for k in range(len(walk)):
            self._stay(number, k, [piece for piece in found if piece.stay == k], ways)
        return found

    def _stay(self, number: int, k: int, pieces: Sequence[_Piece], ways: "Ways") -> None:
        """One technician does one thing at a time, nothing before its hours or after."""
        program, come, leave = self.program, self.comes[number, k], self.leaves[number, k]
        program.row(-inf, 0, {come: 1.0, leave: -1.0, **{piece.minutes: 1.0 for piece in pieces}})
        for piece in pieces:
            low, high = piece.item.low - self.base, piece.item.high - self.base
            early = {other.minutes: 1.0 for other in pieces if other.item.high <= piece.item.high}
            late = {other.minutes: -1.0 for other in pieces if other.item.low >= piece.item.low}
            self._where(piece, -inf, high, {come: 1.0, **early})
            self._where(piece, low, inf, {leave: 1.0, **late})
        self._halves(number, k, [piece for piece in pieces if piece.item.ai], ways)

    def _where(self, piece: _Piece, low: float, high: float, entries: dict[int, float]) -> None:
        """A row that holds where there is work of a piece."""
        if piece.there is not None:
            wide = self.span + 24 * 60
            if high < inf:
                entries[piece.there], high = wide, high + wide
            else:
                entries[piece.there], low = -wide, low - wide
        self.program.row(low, high, entries)

    def _halves(self, number: int, k: int, pieces: Sequence[_Piece], ways: "Ways") -> None:
        """Work that does not fit between coming and noon is after noon; half hours are counted for each session at least."""
        if not pieces or not ways.per_half:
            return
        program = self.program
        before = self._before(self.comes[number, k], pieces[0].item.noon - self.base)
        every = {before: -1.0}
        for piece in pieces:
            count = program.column(ways.per_half, 0.0, 1 + piece.item.minutes(ways.rate) // HALF_HOUR)
            room = max(0.0, piece.item.noon - piece.item.low)
            program.row(-inf, room + _NEXT_TO_NOTHING, {piece.minutes: 1.0, count: -HALF_HOUR})
            program.row(-inf, _NEXT_TO_NOTHING, {piece.minutes: 1.0, count: -HALF_HOUR, before: -1.0})
            every |= {piece.minutes: 1.0, count: -HALF_HOUR}
            piece.halves = count
        self.mornings[number, k] = every

    def _before(self, at: int, noon: float) -> int:
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

    # -- sessions -------------------------------------------------------------------------------------------------
    def _by_session(self) -> dict[Session, list[tuple[int, _Piece]]]:
        found: dict[Session, list[tuple[int, _Piece]]] = {}
        for number, row in enumerate(self.pieces):
            for piece in row:
                found.setdefault(piece.item, []).append((number, piece))
        return found

    def _all_done(self) -> None:
        """A session's work is done: by one technician, or by both together."""
        for item, row in self._by_session().items():
            if item.ai:
                entries = {piece.minutes: self.days[number].ways.rate / 60.0 for number, piece in row}
                self.program.row(item.head, item.head, entries)
            else:
                entries = {piece.minutes: 1.0 for _, piece in row}
                self.program.row(item.minutes(1.0), item.minutes(1.0), entries)

    def _heads(self) -> None:
        """Head booked for both, in whatever shares, is no more than each may have."""
        shares: dict[Session, dict[int, float]] = {}
        for day in self.days:
            alone = sum(item.head for item in day.ways.of(day.mask & ~day.shared))
            mine = {}
            for item in day.ways.of(day.shared):
                column = self.program.column(0.0, 0.0, item.head)
                mine[column] = 1.0
                shares.setdefault(item, {})[column] = 1.0
            self.program.row(-inf, day.ways.most - alone, mine)
        for item, entries in shares.items():
            self.program.row(item.head, item.head, entries)

    # -- hours between --------------------------------------------------------------------------------------------
    def _links(self) -> None:
        """First turns and last ends of sessions that a rule ties together."""
        by_session = self._by_session()
        marks: dict[Session, tuple[int, int]] = {}

        def marked(item: Session) -> tuple[int, int]:
            if item not in marks:
                marks[item] = self._marks(item, by_session[item])
            return marks[item]

        groups: dict[tuple[int, int], list[Session]] = {}
        for one in by_session:
            groups.setdefault((one.need.index, one.ai_day), []).append(one)
            for other in by_session:
                link = linked(one, other)
                if link is not None:
                    self._apart((*marked(one), one.turns[0]), (*marked(other), other), link)
        for items in groups.values():
            self._treated(items, marked)

    def _treated(self, items: Sequence[Session], marked: Callable[[Session], tuple[int, int]]) -> None:
        """Several sessions that are tied to one treatment by the ranch."""
        anchor = anchor_of(items)
        if anchor is None:
            return
        program, low, high = self.program, anchor.low - self.base, anchor.high - self.base
        starts = program.column(0.0, low, max(low, high), whole=False)
        ends = program.column(0.0, low, max(low, high), whole=False)
        program.row(anchor.minutes, inf, {ends: 1.0, starts: -1.0})
        for item, rule in anchor.rules:
            self._apart((starts, ends, anchor.turn), (*marked(item), item), rule)

    def _apart(self, one: tuple[int, int, float], other: tuple[int, int, Session], link: tuple[float, float]) -> None:
        """First turns are as far apart as a rule says; so are last ones, but for what turns take."""
        low, high = link
        starts, ends, turn = one
        begins, stops, item = other
        least, most = item.turns
        self.program.row(low, high, {begins: 1.0, starts: -1.0})
        self.program.row(-inf, high - turn + most, {stops: 1.0, ends: -1.0})
        if item.everybody:
            self.program.row(low - turn + least, inf, {stops: 1.0, ends: -1.0})

    def _marks(self, item: Session, row: Iterable[tuple[int, _Piece]]) -> tuple[int, int]:
        """Columns of the first turn of a session and of its last end."""
        program, pieces = self.program, list(row)
        wide = self.span + 24 * 60
        low, high = item.low - self.base, item.high - self.base
        starts = program.column(0.0, low, max(low, high), whole=False)
        ends = program.column(0.0, low, max(low, high), whole=False)
        for number, piece in pieces:
            come, leave = self.comes[number, piece.stay], self.leaves[number, piece.stay]
            # with work in the stay, the first turn is at its first minute at the latest, the last end after all of it
            self._where(piece, -inf, 0.0, {starts: 1.0, leave: -1.0, piece.minutes: 1.0})
            self._where(piece, 0.0, inf, {ends: 1.0, come: -1.0, piece.minutes: -1.0})
            program.row(0.0, inf, {ends: 1.0, starts: -1.0, piece.minutes: -1.0})
        self._somewhere(pieces, wide, starts, ends)
        self._late(item, starts, [piece for _, piece in pieces])
        if not item.ai:
            self._in_the_morning(item, ends, pieces)
        return starts, ends

    def _in_the_morning(self, item: Session, ends: int, pieces: Sequence[tuple[int, _Piece]]) -> None:
        """Of a treatment no more is after noon than lies between noon and its last end; the rest takes time before noon."""
        program, noon = self.program, item.noon - self.base
        wide = self.span + 24 * 60
        for number, piece in pieces:
            entries = self.mornings.get((number, piece.stay))
            if entries is not None:
                after, late = program.column(0.0, 0.0, wide, whole=False), program.column(0.0)
                program.row(-inf, 0, {after: 1.0, piece.minutes: -1.0})
                program.row(-inf, 0, {after: 1.0, late: -wide})
                program.row(-inf, wide - noon, {after: 1.0, ends: -1.0, late: wide})
                entries |= {piece.minutes: 1.0, after: -1.0}

    def _late(self, item: Session, starts: int, pieces: Sequence[_Piece]) -> None:
        """Nobody's work on a session is before its first turn."""
        program = self.program
        if any(piece.halves is not None for piece in pieces):
            before = self._before(starts, item.noon - self.base)
            for piece in pieces:
                if piece.halves is not None:
                    entries = {piece.minutes: 1.0, before: -1.0, piece.halves: -HALF_HOUR}
                    program.row(-inf, _NEXT_TO_NOTHING, entries)

    def _somewhere(self, pieces: Sequence[tuple[int, _Piece]], wide: float, starts: int, ends: int) -> None:
        """The first turn is in one of the stays, the last end in one."""
        program = self.program
        first = [program.column(0.0) for _ in pieces]
        last = [program.column(0.0) for _ in pieces]
        program.row(1, inf, dict.fromkeys(first, 1.0))
        program.row(1, inf, dict.fromkeys(last, 1.0))
        for (number, piece), begins, stops in zip(pieces, first, last, strict=True):
            come, leave = self.comes[number, piece.stay], self.leaves[number, piece.stay]
            program.row(-wide, inf, {starts: 1.0, come: -1.0, begins: -wide})
            program.row(-inf, wide, {ends: 1.0, leave: -1.0, stops: wide})
            if piece.there is not None:
                program.row(-inf, 0, {begins: 1.0, piece.there: -1.0})
                program.row(-inf, 0, {stops: 1.0, piece.there: -1.0})
