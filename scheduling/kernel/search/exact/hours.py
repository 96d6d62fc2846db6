"""What technicians' days cost at least with their hours in order, whatever their lots: a small program for given ways.

Every stay at a ranch on a way has a coming and a leaving; between them lies the work that the technician does there. A session
may be worked on in several stays and by both technicians. Kept are driving, the sessions' hours, head a day, half hours after
noon, and hours between treatment and AI (or another treatment) where both are in the program. Nothing is rounded to minutes.

Why no plan costs less, however lots are cut: its stays, its minutes of work on each session in each stay, the first turn and
the last end of each session are values that keep every row. In a stay the work that must be over by an hour lies between the
coming and that hour, the work that may not begin before an hour between that and the leaving. What of a stay's AI does not fit
between its coming and noon is after noon, and the started half hours of several visits are no fewer than those of their sum.
What two do at once is not before the later of them has come.

With split-time AI, which books more head the smaller the lots are, plans are told apart by the head of the largest lot of a
group (`Size`): it has so many head at least, its own hours from treatment to AI, lies within the group's turns, and is done
without a break where one technician does all of the session in one stay. Of plans that book more than the least of their size,
bookings beside the largest lot are left away until they do not, which breaks no row.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import combinations, islice, product
from math import inf

from scheduling.kernel.search.exact.in_turn import over_by_noon
from scheduling.kernel.search.exact.session import Anchor, Session, anchor_of, linked, own_ai_of
from scheduling.kernel.search.exact.stays import NEXT_TO_NOTHING, Day, Piece, Stays, driven
from scheduling.kernel.search.exact.touring import HALF_HOUR
from scheduling.kernel.search.exact.walks import TooFar, Walk, together, walks
from scheduling.kernel.season import Order

_MOST_WALKS = 100
_MOST_COMBINATIONS = 1000
_NODES = 2000
_TINY = 1e-6


def least(days: Sequence[Day], below: float) -> float:
    """What the days cost at least in all, as far as that is below so much; else `below`.

    Every combination of ways is tried until it costs as much as the cheapest by what is known of each way; where there are too
    many to try, that is the bound for those not tried.
    """
    rows, most = _rows(days, below)
    found = min(below, most)
    for count, (alone, chosen) in enumerate(together(rows)):
        if alone >= found - _TINY:
            break
        if count >= _MOST_COMBINATIONS:
            return min(found, alone)
        found = min(found, least_on(days, chosen, found))
    return found


def all_below(days: Sequence[Day], below: float) -> tuple[list[tuple[float, tuple[Walk, ...]]], float]:
    """All the days' ways that cost less than so much, the cheapest first, and what ways that were not tried cost at least."""
    rows, most = _rows(days, below)
    found = []
    for count, (alone, chosen) in enumerate(together(rows)):
        if alone >= min(below, most) - _TINY:
            break
        if count >= _MOST_COMBINATIONS:
            most = min(most, alone)
            break
        cost = least_on(days, chosen, below)
        if cost < below:
            found.append((cost, chosen))
    return sorted(found), most


def _on_ways(days: Sequence[Day], chosen: Sequence[Walk]) -> float:
    """The half hours of days on given ways, remembered. Raises `TooMany` where there is no more time."""
    known, key = days[0].ways.known, tuple(zip(days, chosen, strict=True))
    cost = known.get(key)
    if cost is None:
        days[0].ways.tick()
        cost = _Hours(days, chosen).least() if len(days) > 1 or days[0].shared else _alone(days[0], chosen[0])
        known.put(key, cost)
    return cost


def _alone(day: Day, walk: Walk) -> float:
    """The half hours of a day that is shared with nobody, without a program where others tell it, or where there are none."""
    known = day.ways.known
    cost = known.alone(day.mask, walk)
    if cost is None:
        cost = 0.0 if over_by_noon(day, walk) else _Hours([day], [walk]).least()
        known.put_alone(day.mask, walk, cost)
    return cost


def _rows(days: Sequence[Day], below: float) -> tuple[list[list[tuple[float, Walk]]], float]:
    """Of each day its ways with what they cost, the first with what the days cost whatever the way; what all cost at least
    where a day has more ways than that.
    """
    fixed, most = sum(day.ways.cost for day in days), inf
    rows: list[list[tuple[float, Walk]]] = []
    for day in days:
        others = fixed + sum(
            other.ways.per_km * other.ways.touring.tour(frozenset(), other.places) for other in days if other is not day
        )
        row, left_out = _ways_of(day, below - others)
        if len(days) > 1 and not day.shared:
            row = _by_itself(day, row, below - others)
        rows.append([(cost + fixed, walk) for cost, walk in row] if not rows else row)
        most = min(most, others + left_out)
    return rows, most


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
        cost = km + _on_ways([day], [walk])
        if cost < most:
            found.append((cost, walk))
    return sorted(found)


class _Hours(Stays):
    """The program of given ways. Minutes are counted from a base."""

    def __init__(self, days: Sequence[Day], chosen: Sequence[Walk]) -> None:
        super().__init__(days, chosen)
        # By group and AI day, where smaller lots make more head to book: columns, one for each size of its largest lot but the
        # last, and the start of that lot's treatment.
        self.sizes: dict[tuple[int, int], list[int]] = {}
        self.largest: dict[tuple[int, int], int] = {}
        self.by_session = self._by_session()
        self._all_done()
        self._heads()
        self._links()
        for entries in self.mornings.values():
            self.program.row(-inf, NEXT_TO_NOTHING, entries)

    def least(self) -> float:
        """The least cost of half hours, infinite where hours cannot be kept; remembered for the same days on other dates."""
        solved, content = self.days[0].ways.touring.solved, self.program.content
        if content not in solved:
            result = self.program.minimise(nodes=_NODES)
            solved[content] = result.cost if result.done else max(0.0, result.bound)
        return solved[content]

    # -- sessions -------------------------------------------------------------------------------------------------
    def _by_session(self) -> dict[Session, list[tuple[int, Piece]]]:
        found: dict[Session, list[tuple[int, Piece]]] = {}
        for number, row in enumerate(self.pieces):
            for piece in row:
                found.setdefault(piece.item, []).append((number, piece))
        return found

    def _all_done(self) -> None:
        """A session's work is done: by one technician, or by both together."""
        for item, row in self.by_session.items():
            if item.ai:
                entries = {piece.minutes: self.days[number].ways.rate / 60.0 for number, piece in row} | self._less(
                    item
                )
                self.program.row(item.most_head, item.most_head, entries)
            else:
                entries = {piece.minutes: 1.0 for _, piece in row}
                self.program.row(item.minutes(1.0), item.minutes(1.0), entries)

    def _less(self, item: Session) -> dict[int, float]:
        """What a session books less than with the smallest lots: columns of sizes and the head that they stand for."""
        if not item.sizes:
            return {}
        key = item.need.index, item.ai_day
        if key not in self.sizes:
            self.sizes[key] = [self.program.column(0.0) for _ in item.sizes[1:]]
            self.program.row(-inf, 1, dict.fromkeys(self.sizes[key], 1.0))
        sizes = zip(self.sizes[key], item.sizes, strict=False)
        return {column: float(item.most_head - size.total) for column, size in sizes if size.total < item.most_head}

    def _heads(self) -> None:
        """Head booked for both, in whatever shares, is no more than each may have, and no more than each is at work on."""
        shares: dict[Session, dict[int, float]] = {}
        mine: list[dict[Session, int]] = []
        for day in self.days:
            alone, less = 0, dict[int, float]()
            for item in day.ways.of(day.mask & ~day.shared):
                alone += item.most_head
                for column, head in self._less(item).items():
                    less[column] = less.get(column, 0.0) - head
            own = {item: self.program.column(0.0, 0.0, item.most_head) for item in day.ways.of(day.shared) if item.ai}
            for item, column in own.items():
                shares.setdefault(item, {})[column] = 1.0
            self.program.row(-inf, day.ways.most - alone, less | dict.fromkeys(own.values(), 1.0))
            mine.append(own)
        for item, entries in shares.items():
            self.program.row(item.most_head, item.most_head, entries | self._less(item))
            self._at_work(item, [(number, own[item]) for number, own in enumerate(mine) if item in own])

    def _at_work(self, item: Session, shares: Sequence[tuple[int, int]]) -> None:
        """Somebody's share is no more than what was worked on in that one's minutes, the other's beside included."""
        pieces = {number: [piece for piece in self.pieces[number] if piece.item is item] for number, _ in shares}
        beside: dict[int, list[int]] = {number: [] for number, _ in shares}
        for (one, _), (other, _) in combinations(shares, 2):
            for piece, there in product(pieces[one], pieces[other]):
                column = self._at_once((one, piece), (other, there))
                beside[one].append(column)
                beside[other].append(column)
        for number, share in shares:
            rate = self.days[number].ways.rate / 60.0
            others = sum(self.days[other].ways.rate for other, _ in shares if other != number) / 60.0
            entries = {share: 1.0, **dict.fromkeys((piece.minutes for piece in pieces[number]), -rate)}
            self.program.row(-inf, 0.0, entries | dict.fromkeys(beside[number], -others))

    def _at_once(self, one: tuple[int, Piece], other: tuple[int, Piece]) -> int:
        """A column: minutes at most that both are at work at once in two stays.

        They are not before the later of the two has come, so that of what is before noon no more than lies between that coming
        and noon; the rest is after noon for both.
        """
        program, wide = self.program, self.span + 24 * 60
        (number, piece), (their, there) = one, other
        minutes, flag = program.column(0.0, 0.0, wide, whole=False), program.column(0.0)
        program.row(-inf, 0, {minutes: 1.0, piece.minutes: -1.0})
        program.row(-inf, 0, {minutes: 1.0, there.minutes: -1.0})
        program.row(-inf, 0, {minutes: 1.0, flag: -wide})
        for leave, come in (
            (self.leaves[number, piece.stay], self.comes[their, there.stay]),
            (self.leaves[their, there.stay], self.comes[number, piece.stay]),
        ):
            program.row(-inf, wide, {minutes: 1.0, leave: -1.0, come: 1.0, flag: wide})
        for mine, stay in ((piece, (their, there.stay)), (there, (number, piece.stay))):
            if mine.halves is not None and stay in self.befores:
                entries = {minutes: 1.0, self.befores[stay]: -1.0, mine.halves: -HALF_HOUR}
                program.row(-inf, NEXT_TO_NOTHING, entries)
        return minutes

    # -- hours between --------------------------------------------------------------------------------------------
    def _links(self) -> None:
        """First turns and last ends of sessions that a rule ties together."""
        by_session = self.by_session
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
                    self._apart((*marked(one), one.turns[0]), (*marked(other), other.turns, other.everybody), link)
                    self._largest_lot(marked(one), marked(other), other, link)
        for items in groups.values():
            self._treated(items, marked)

    def _treated(self, items: Sequence[Session], marked: Callable[[Session], tuple[int, int]]) -> None:
        """Several AI sessions that are tied to one treatment by the ranch, or the ranch's AI to treatment by technicians."""
        anchor = anchor_of(items)
        if anchor is not None:
            starts, ends = self._own(anchor)
            for item, rule in anchor.rules:
                self._apart((starts, ends, anchor.turn), (*marked(item), item.turns, item.everybody), rule)
                self._largest_lot((starts, ends), marked(item), item, rule)
        for own in own_ai_of(items):
            begins, stops = self._own(own)
            for item, rule in own.rules:
                self._apart((*marked(item), item.turns[0]), (begins, stops, (own.turn, own.turn), True), rule)

    def _largest_lot(
        self, treated: tuple[int, int], marks: tuple[int, int], item: Session, link: tuple[float, float]
    ) -> None:
        """The largest lot's AI starts as long after its treatment as suits every animal of it, whoever does it.

        The lot is treated, and comes to a session, between the first turn and the last end of its group there. Where it is all
        of the group, it starts with it.
        """
        columns = self.sizes.get((item.need.index, item.ai_day))
        if not columns or not item.ai:
            return
        rates = [day.ways.rate for day in self.days if item in day.ways.of(day.mask)]
        fast, slow, treat = 60 / sum(rates), 60 / min(rates), 60 / item.need.ranch.treat_rate
        kept = item.need.group.order is Order.KEPT
        early, late = (max(0.0, treat - slow), max(0.0, fast - treat)) if kept else (treat, fast)
        program, (low, high) = self.program, link
        lot = self._lot(treated, item, treat)
        start = program.column(0.0, program.lows[marks[0]], program.highs[marks[1]], whole=False)
        program.row(0.0, inf, {start: 1.0, marks[0]: -1.0})
        sizes = list(zip(columns, item.sizes, strict=False))
        program.row(-inf, 0.0, {start: 1.0, marks[1]: -1.0, **{column: fast * size.booked for column, size in sizes}})
        gap = {start: 1.0, lot: -1.0}
        shorter = {column: -early * ((size.booked if kept else size.least) - 1) for column, size in sizes}
        program.row(low, inf, gap | shorter)
        program.row(-inf, high, gap | {column: late * (size.booked - 1) for column, size in sizes})
        self._without_break(item, start, {column: size.booked for column, size in sizes})
        if item.sizes[0].least == item.need.group.head:
            wide, whole = self.span + 24 * 60, columns[0]
            program.row(-inf, wide, {start: 1.0, marks[0]: -1.0, whole: wide})
            program.row(-inf, wide, {lot: 1.0, treated[0]: -1.0, whole: wide})

    def _without_break(self, item: Session, start: int, booked: Mapping[int, int]) -> None:
        """Where one technician does all of a session in one stay, other work there is before its largest lot or after it.

        What of the lot is not between its start and noon is after noon.
        """
        row = self.by_session[item]
        if len(row) > 1:
            return
        program, (number, mine) = self.program, row[0]
        lasts = {column: 60 * head / self.days[number].ways.rate for column, head in booked.items()}
        if mine.halves is not None:
            morning = self.before(start, item.noon - self.base)
            program.row(-inf, NEXT_TO_NOTHING, {morning: -1.0, mine.halves: -HALF_HOUR} | lasts)
        others = [piece for piece in self.pieces[number] if piece.stay == mine.stay and piece.item is not item]
        if not others:
            return
        wide, come, leave = self.span + 24 * 60, self.comes[number, mine.stay], self.leaves[number, mine.stay]
        before = [program.column(0.0, 0.0, program.highs[piece.minutes], whole=False) for piece in others]
        after = [program.column(0.0) for _ in others]
        for piece, early, late in zip(others, before, after, strict=True):
            high = piece.item.high - self.base
            program.row(-inf, 0, {early: 1.0, piece.minutes: -1.0})
            program.row(-inf, 0, {piece.minutes: 1.0, early: -1.0, late: -program.highs[piece.minutes]})
            program.row(-inf, high + wide, {start: 1.0, late: wide, piece.minutes: 1.0, early: -1.0} | lasts)
        program.row(-inf, 0, {come: 1.0, start: -1.0} | dict.fromkeys(before, 1.0))
        minutes = dict.fromkeys((piece.minutes for piece in others), 1.0) | dict.fromkeys(before, -1.0)
        program.row(-inf, 0, {start: 1.0, leave: -1.0} | minutes | lasts)

    def _lot(self, treated: tuple[int, int], item: Session, treat: float) -> int:
        """The column of the start of the treatment of a group's largest lot."""
        key, program = (item.need.index, item.ai_day), self.program
        if key not in self.largest:
            lot = self.largest[key] = program.column(
                0.0, program.lows[treated[0]], program.highs[treated[1]], whole=False
            )
            program.row(0.0, inf, {lot: 1.0, treated[0]: -1.0})
            sizes = zip(self.sizes[key], item.sizes, strict=False)
            program.row(
                -inf, 0.0, {lot: 1.0, treated[1]: -1.0, **{column: treat * size.least for column, size in sizes}}
            )
        return self.largest[key]

    def _own(self, own: Anchor) -> tuple[int, int]:
        """Columns of the first turn and of the last end of what the ranch does itself."""
        program, low, high = self.program, own.low - self.base, own.high - self.base
        starts = program.column(0.0, low, max(low, high), whole=False)
        ends = program.column(0.0, low, max(low, high), whole=False)
        program.row(own.minutes, inf, {ends: 1.0, starts: -1.0})
        return starts, ends

    def _apart(
        self,
        one: tuple[int, int, float],
        other: tuple[int, int, tuple[float, float], bool],
        link: tuple[float, float],
    ) -> None:
        """First turns are as far apart as a rule says; so are last ones, but for what turns take."""
        low, high = link
        starts, ends, turn = one
        begins, stops, (least, most), everybody = other
        self.program.row(low, high, {begins: 1.0, starts: -1.0})
        self.program.row(-inf, high - turn + most, {stops: 1.0, ends: -1.0})
        if everybody:
            self.program.row(low - turn + least, inf, {stops: 1.0, ends: -1.0})

    def _marks(self, item: Session, row: Iterable[tuple[int, Piece]]) -> tuple[int, int]:
        """Columns of the first turn of a session and of its last end."""
        program, pieces = self.program, list(row)
        wide = self.span + 24 * 60
        low, high = item.low - self.base, item.high - self.base
        starts = program.column(0.0, low, max(low, high), whole=False)
        ends = program.column(0.0, low, max(low, high), whole=False)
        for number, piece in pieces:
            come, leave = self.comes[number, piece.stay], self.leaves[number, piece.stay]
            # with work in the stay, the first turn is at its first minute at the latest, the last end after all of it
            self.where(piece, -inf, 0.0, {starts: 1.0, leave: -1.0, piece.minutes: 1.0})
            self.where(piece, 0.0, inf, {ends: 1.0, come: -1.0, piece.minutes: -1.0})
            program.row(0.0, inf, {ends: 1.0, starts: -1.0, piece.minutes: -1.0})
        self._somewhere(pieces, wide, starts, ends)
        self._late(item, starts, [piece for _, piece in pieces])
        if not item.ai:
            self._in_the_morning(item, ends, pieces)
        return starts, ends

    def _in_the_morning(self, item: Session, ends: int, pieces: Sequence[tuple[int, Piece]]) -> None:
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

    def _late(self, item: Session, starts: int, pieces: Sequence[Piece]) -> None:
        """Nobody's work on a session is before its first turn."""
        program = self.program
        if any(piece.halves is not None for piece in pieces):
            before = self.before(starts, item.noon - self.base)
            for piece in pieces:
                if piece.halves is not None:
                    entries = {piece.minutes: 1.0, before: -1.0, piece.halves: -HALF_HOUR}
                    program.row(-inf, NEXT_TO_NOTHING, entries)

    def _somewhere(self, pieces: Sequence[tuple[int, Piece]], wide: float, starts: int, ends: int) -> None:
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


def least_on(days: Sequence[Day], walks: Sequence[Walk], below: float) -> float:
    """What the days cost at least on given ways, only told as far as that is below so much.

    Where days are shared, first what each does alone is looked at by itself, since that is known from others.
    """
    cost = sum(day.ways.cost + day.ways.per_km * driven(day, walk) for day, walk in zip(days, walks, strict=True))
    least = cost
    for day, walk in zip(days, walks, strict=True):
        own = day.mask & ~day.shared
        if least < below - _TINY and day.shared and own:
            least += _on_ways([Day(day.ways, own, 0)], [walk])
    return cost + _on_ways(days, walks) if least < below - _TINY else least
