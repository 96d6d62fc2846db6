"""A lower bound of every plan that keeps the rules: lots of any number and size, by anybody, at any part of a minute.

It chooses AI days for the groups, and for every day the set of sessions that technicians come for (`daily`).
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import inf

import numpy as np

from scheduling.kernel.search.exact.daily import Daily
from scheduling.kernel.search.exact.day_by_day import DayByDay
from scheduling.kernel.search.exact.days import TooMany
from scheduling.kernel.search.exact.options import NotCovered
from scheduling.kernel.search.exact.program import TINY, Bools, Floats, Ints, Program, Relaxed
from scheduling.kernel.search.exact.reach import at_work
from scheduling.kernel.search.exact.session import Key, Session, sessions_of, tied
from scheduling.kernel.search.exact.ties import components, joint, possible
from scheduling.kernel.search.exact.touring import Touring
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.routes import Routes

_NEVER = 1e7
_HALF = 0.5
# Sets on paths that cost so much more than the cheapest are looked at together (tried: 0 to 1000; S seed 5 5.3, 3.9 and 4.6 s).
_CHEAP = 10.0
# Looking at a set with hours in order counts for so many sets.
_IN_ORDER = 16
_CLOCK = 64  # the clock is looked at once for so many sets


@dataclass(frozen=True)
class Choice:
    """What the program of days chose: its cost, columns of sets, AI days by group, the values of all columns."""

    cost: float
    columns: tuple[int, ...]
    days: Mapping[int, int]
    values: Floats


class Beyond:
    """The program of days, which may look at so many sets (`most`) and go on as long as seconds are left.

    Raises `NotCovered` for AI after seen heat, `TooMany` where there is too much to look at.
    """

    def __init__(self, model: Model, routes: Routes, most: int, left: Callable[[], float]) -> None:
        self.model, self.program, self.most, self.left = model, Program(), most, left
        if any(work.heat is not None for need in model.needs for work in need.works):
            raise NotCovered("AI after seen heat")
        tourings = [Touring(model, person.index) for person in model.people]
        rates = [person.rate for person in model.people]
        reach = partial(at_work, routes, tourings)
        daily = partial(Daily, model, routes, tourings)
        found = [session for need in model.needs for session in sessions_of(need, rates, reach)]
        self.sessions = [session for items in _by_option(found) if self._possible(items, daily) for session in items]
        moves = (abs(day - need.wanted) for need in model.needs for day in need.days)
        self.farthest = max(moves, default=0)
        self.days: list[Daily] = []
        for day, items in _by_day(self.sessions):
            self._count(_CLOCK)
            self.days.append(daily(day, items, self._tick))
        self.sets: dict[int, tuple[Daily, int]] = {}
        self._has: dict[Session, list[int]] = defaultdict(list)
        self._moves: list[tuple[int, int]] = []
        self._once: dict[int, int] = {}  # rows: one set a day
        self._groups()
        self._paths = DayByDay(self.sessions, self.option, self._out)
        self._sets()
        self._in_sets = np.array(list(self.sets), dtype=np.int64)
        # By worst move: rows and costs with which it was relaxed, and what came of it; what its plans cost at least.
        self._relaxations: dict[int, tuple[int, Floats, Relaxed | None]] = {}
        self._floors: dict[int, float] = {}
        # Sets on paths that cost little more than the cheapest, when it was last asked what is near, and what these cost.
        self._cheapest: dict[int, float] = {}
        self._ordered: set[int] = set()
        self._late: dict[int, frozenset[int]] = {}
        self._charges = len(self.program.costs)
        self._settled: Bools = np.ones(len(self.program.costs), dtype=bool)
        self._settled[self._in_sets] = False
        self._moved = np.zeros(len(self.program.costs), dtype=np.int64)
        for column, days in self._moves:
            self._moved[column] = days

    def _count(self, looked_at: int) -> None:
        before, self.most = self.most, self.most - looked_at
        if self.most < 0 or (before // _CLOCK != self.most // _CLOCK and self.left() <= 0):
            raise TooMany

    def _tick(self) -> None:
        if self.left() <= 0:
            raise TooMany

    def _possible(
        self, items: Sequence[Session], daily: Callable[[int, list[Session], Callable[[], None]], Daily]
    ) -> bool:
        """Whether a group's sessions can all be held on an AI day."""
        self._count(len(items))
        if not any(tied(one, other) for one in items for other in items):
            return True
        return possible([daily(day, row, self._tick) for day, row in _by_day(items)])

    def _groups(self) -> None:
        program, weights = self.program, self.model.season.weights
        self.option: dict[tuple[int, int], int] = {}
        self._out: dict[int, int] = {}
        for need in self.model.needs:
            self._out[need.index] = program.column(weights.unplaced)
            columns = [self._out[need.index]]
            for day in need.days:
                moved = abs(day - need.wanted)
                cost = weights.day_moved * moved + weights.rest_day * self.model.rest_days(need, day)
                column = self.option[need.index, day] = program.column(cost)
                self._moves.append((column, moved))
                columns.append(column)
            program.row(1, 1, dict.fromkeys(columns, 1.0))
        self.worst = program.column(0.0, 1.0, whole=False)
        program.lows[self.worst] = 1.0

    def _sets(self) -> None:
        """One set a day; each session of a group's AI day is in one."""
        for day in self.days:
            once: dict[int, float] = {}
            possible = np.flatnonzero(np.isfinite(day.costs)).tolist()
            self._count(len(possible))
            for mask in possible:
                column = self.program.column(float(day.costs[mask]))
                once[column] = 1.0
                self.sets[column] = day, mask
                items = day.of(mask)
                self._moves.append((column, max(item.moved for item in items)))
                for item in items:
                    self._has[item].append(column)
            self._once[day.day] = self.program.row(-inf, 1, once)
            self._paths.add(day.day, list(once), self._items)
        held = {(session.need.index, session.ai_day) for session in self.sessions}
        for key, own in self.option.items():
            if key not in held and any(work.trip is not None for work in self.model.needs[key[0]].works):
                self.program.highs[own] = 0.0
        for session in self.sessions:
            own = self.option[session.need.index, session.ai_day]
            self.program.row(0, 0, {own: -1.0, **dict.fromkeys(self._has[session], 1.0)})

    # -- one worst move at a time ---------------------------------------------------------------------------------
    def least(self, worst: int) -> float:
        """What plans with that worst move cost at least, as far as is known yet; infinite where there are none."""
        if worst not in self._floors:
            relaxed = self._relaxed(worst, np.flatnonzero(self._moved <= worst), again=True)
            self._floors[worst] = inf if relaxed is None else relaxed.cost
        return self._floors[worst]

    def _relaxed(self, worst: int, keep: Ints, *, again: bool) -> Relaxed | None:
        """The relaxation for a worst move. Where it need not be solved again, as it was, with reduced costs up to date.

        What sets have become dearer since is added to their reduced costs, so that sums of these still say no more than what
        choices cost more than the relaxation.
        """
        self.program.costs[self.worst] = self.model.season.weights.worst_move * worst
        known, rows = self._relaxations.get(worst), len(self.program.rows)
        costs = np.array(self.program.costs)
        if known is None or again or known[0] != rows:
            others = np.ones(len(costs), dtype=bool)
            others[self._in_sets] = False
            found = self.program.relaxed(keep, np.flatnonzero(others))
            self._relaxations[worst] = rows, costs, found
            return found
        _, before, relaxed = known
        return relaxed and replace(relaxed, reduced=relaxed.reduced + (costs - before))

    def near(self, worst: int, below: float, *, again: bool = True) -> Ints:
        """The columns of all plans that are cheaper than `below` with that worst move; none where there can be no such plan.

        `again`: the relaxation is solved again first.
        """
        keep = np.flatnonzero(self._moved <= worst)
        while True:
            relaxed = self._relaxed(worst, keep, again=again)
            over = None if relaxed is None or relaxed.cost >= below - TINY else self._over(worst, relaxed, below)
            if over is None:
                self._floors[worst] = max(below, self._floors.get(worst, 0.0))
                return np.zeros(0, dtype=np.int64)
            # Only what is whole is left away: of a charge a part may do.
            near: Ints = keep[(over[keep] <= 0) | (keep == self.worst) | (keep >= self._charges)]
            if not self._settle(near, over[near]):
                return near
            again = False

    def _items(self, column: int) -> list[Session]:
        day, mask = self.sets[column]
        return day.of(mask)

    def _over(self, worst: int, relaxed: Relaxed, below: float) -> Floats | None:
        """For every column how much dearer than `below` a choice with it is, at least. None where no choice is so cheap."""
        room = below - relaxed.cost
        idle = {day: -float(relaxed.duals[row]) for day, row in self._once.items()}
        found = self._paths.near(relaxed.reduced, idle, room)
        if found is None:
            return None
        upto = found.least + _CHEAP if found.exact else -inf
        self._cheapest = {column: relaxed.cost + least for column, least in found.through.items() if least <= upto}
        self._floors[worst] = max(self._floors.get(worst, 0.0), relaxed.cost + found.least)
        over = relaxed.reduced - room
        over[self._in_sets] = inf
        if found.through:
            over[list(found.through)] = np.array(list(found.through.values())) - room
        return over

    def days_in(self, columns: Ints) -> dict[int, list[frozenset[Key]]]:
        """The sets of works among columns, by the day."""
        found: dict[int, list[frozenset[Key]]] = defaultdict(list)
        for column in columns.tolist():
            if column in self.sets:
                day, mask = self.sets[column]
                found[day.day].append(frozenset(item.key for item in day.of(mask)))
        return found

    def _settle(self, columns: Ints, over: Floats) -> bool:
        """Work out what the sets cost, as far as they are not too dear then; whether any was too cheap."""
        changed = False
        for column, more in zip(columns.tolist(), over.tolist(), strict=True):
            if self._settled[column] or column in self._ordered:
                continue
            self._count(1)
            day, mask = self.sets[column]
            before = self.program.costs[column]
            self._settled[column] = day.settle(mask, before - more + TINY)
            self.program.costs[column] = max(before, min(_NEVER, float(day.costs[mask])))
            changed |= self.program.costs[column] > before
        return changed

    def nothing_below(self, worst: int, below: float, nodes: int) -> bool:
        """Whether no plan with that worst move can be cheaper than `below`. Raises `TooMany` where that is not found out."""
        return self.standing(worst, below, nodes) is None

    def standing(self, worst: int, below: float, nodes: int) -> "Choice | None":
        """The least choice of days and sets below a cost; None: no plan with that worst move can be so cheap.

        Sets that a choice takes are looked at once more, with hours in order, until a choice stands or none is cheap enough:
        first those of the cheapest paths, which are found much sooner than the program is solved, but know of no charges.
        Raises `TooMany` where that is not found out.
        """
        again = True
        while True:
            near = self.near(worst, below, again=again)
            again = False
            if not len(near):
                return None
            dearer = [self._in_order(column, below - cost) for column, cost in self._cheapest.items()]
            if any(dearer):
                continue
            result = self.program.minimise(near, nodes=nodes, left=self.left, below=below)
            if not result.done:
                raise TooMany
            if result.values is None or result.cost >= below:
                return None
            chosen = [column for column in np.flatnonzero(result.values > _HALF).tolist() if column in self.sets]
            dearer = [self._in_order(column, below - result.cost) for column in chosen]
            if not any(dearer) and not self._hang_together(chosen, result.values, below - result.cost):
                days = {index: day for (index, day), column in self.option.items() if result.values[column] > _HALF}
                return Choice(result.cost, tuple(chosen), days, result.values)

    def _in_order(self, column: int, dearer: float) -> bool:
        """Work out a set's cost with hours in order, as far as it is not so much dearer; whether it is more than was known."""
        if column in self._ordered:
            return False
        self._count(_IN_ORDER)
        day, mask = self.sets[column]
        before = self.program.costs[column]
        limit = before + dearer + TINY
        found = day.strict(mask, limit)
        if found < limit - TINY:
            self._ordered.add(column)
        self.program.costs[column] = max(before, found)
        return found > before + TINY

    def _hang_together(self, chosen: Sequence[int], values: Floats, dearer: float) -> bool:
        """Charge chosen sets that cost more together, since hours tie their days; whether there are any.

        What is charged already for some of them counts. So no plan is charged more than it costs: the charges that it takes,
        the last first, are no more than those of parts that share no set, and such parts cost that much each.
        """
        found = False
        for part in components([self.sets[column] for column in chosen]):
            columns = frozenset(chosen[i] for i in part)
            self._count(_IN_ORDER)
            sets, costs = [self.sets[chosen[i]] for i in part], [self.program.costs[chosen[i]] for i in part]
            limit = sum(costs) + self.paid(columns, values) + dearer + TINY
            found |= self.charge(columns, values, joint(sets, costs, limit))
        return found

    def paid(self, columns: frozenset[int], values: Floats) -> float:
        """What a choice pays for some of the sets beyond what each costs by itself; later charges are not in it."""
        known = len(values)
        return sum(float(values[late]) for late, some in self._late.items() if some & columns and late < known)

    def charge(self, columns: frozenset[int], values: Floats, least: float) -> bool:
        """Let sets that are chosen together cost at least so much in all; whether that is more than the choice pays."""
        others = [late for late, some in self._late.items() if some & columns]
        more = least - sum(self.program.costs[column] for column in columns)
        if more <= self.paid(columns, values) + TINY:
            return False
        late = self._new_charge(columns)
        entries = {**dict.fromkeys(others, -1.0), late: -1.0, **dict.fromkeys(columns, more)}
        self.program.row(-inf, more * (len(columns) - 1), entries)
        return True

    def _new_charge(self, columns: frozenset[int]) -> int:
        """A column for what some sets cost more together."""
        late = self.program.column(1.0, 0.0, inf, whole=False)
        self._late[late] = columns
        self._settled = np.append(self._settled, True)
        self._moved = np.append(self._moved, 0)
        return late


def _by_option(sessions: Sequence[Session]) -> list[list[Session]]:
    """Sessions of each group and AI day."""
    found: dict[tuple[int, int], list[Session]] = defaultdict(list)
    for session in sessions:
        found[session.need.index, session.ai_day].append(session)
    return list(found.values())


def _by_day(sessions: Sequence[Session]) -> list[tuple[int, list[Session]]]:
    """Sessions by the day on which they are held."""
    found: dict[int, list[Session]] = defaultdict(list)
    for session in sessions:
        found[session.day].append(session)
    return sorted(found.items())
