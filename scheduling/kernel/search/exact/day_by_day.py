"""The program of days, gone through day by day: all its choices that are near the relaxation at once.

A choice gives every group an AI day or leaves it out, and has a set of sessions on some days. After a day all that matters
of it is which groups are still to come, which are over, and which AI day those have that are between two of their sessions. So
the choices are the paths of a graph, which is small, since groups are over soon and what is far from the relaxation is not gone
on with.

A choice costs more than the relaxation by no less than the reduced costs of all columns that it takes (as far as they are above
0) and what the duals say of days without a set, whatever it is charged besides. So a column that is on no path of less than so
much is in no choice that is so near.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from scheduling.kernel.search.exact.program import Bools, Floats, Ints
from scheduling.kernel.search.exact.session import Session

# States are numbers of so many bits; so many pairs of a state and a set are looked at for one day.
_MOST_BITS = 62
_MOST_PAIRS = 4_000_000
# What a group is, but for the AI day that it has.
_TO_COME, _OVER = 0, 1
# How far sums may be off.
_TINY = 1e-6

Option = tuple[int, int]


@dataclass(frozen=True)
class _Held:
    """A group's AI day: its value in a state, first and last day of its sessions, how many there are on each day."""

    value: int
    first: int
    last: int
    on: Mapping[int, int]


@dataclass(frozen=True)
class _Sets:
    """Columns of a day (-1: none): groups that begin (bits), what others owe the day, what they add to a state."""

    columns: Ints
    begins: Ints
    owed: Ints
    adds: Ints


class _Begun:
    """All columns of a day as arrays, each worked out when it is first near.

    `options`: columns of AI days that begin (-1: none); `whole`: not with some only of a group's sessions of the day, which is
    in no choice.
    """

    def __init__(self, columns: Ints) -> None:
        self.columns = columns
        self.known, self.whole = np.zeros(len(columns), dtype=bool), np.zeros(len(columns), dtype=bool)
        self.begins, self.owed, self.adds = (np.zeros(len(columns), dtype=np.int64) for _ in range(3))
        self.options: Ints = np.full((len(columns), 1), -1, dtype=np.int64)

    def learn(self, row: int, what: tuple[int, int, int, Sequence[int]] | None) -> None:
        """What a column does: groups that begin, what others owe, what it adds, AI days that begin; None: not whole."""
        self.known[row] = True
        if what is None:
            return
        self.whole[row] = True
        self.begins[row], self.owed[row], self.adds[row], options = what
        more = len(options) - self.options.shape[1]
        if more > 0:
            self.options = np.pad(self.options, ((0, 0), (0, more)), constant_values=-1)
        self.options[row, : len(options)] = options

    def of(self, rows: Ints) -> _Sets:
        """Some of them, and before them the set of nothing."""
        columns, begins, owed, adds = (
            np.concatenate([[first], values[rows]])
            for first, values in ((-1, self.columns), (0, self.begins), (0, self.owed), (0, self.adds))
        )
        return _Sets(columns, begins, owed, adds)


@dataclass(frozen=True)
class _Steps:
    """From the states before a day to those after it: numbers of both, columns (-1: none), what each adds to a path."""

    before: Ints
    columns: Ints
    after: Ints
    more: Floats
    states: int


@dataclass(frozen=True)
class Paths:
    """What any path comes to at least, and for columns on paths the least of theirs; not exact where there are too many."""

    least: float
    through: Mapping[int, float]
    exact: bool = True


class DayByDay:
    """All sets of a program of days. `option` and `out` name the columns of AI days and of groups left out."""

    def __init__(self, sessions: Sequence[Session], option: Mapping[Option, int], out: Mapping[int, int]) -> None:
        self.option, self.out = option, out
        self._held, self._shift, self._bits = _in_states(sessions)
        self._number = {group: i for i, group in enumerate(self._shift)}
        self.days = sorted({day for held in self._held.values() for day in held.on})
        self._owing = {day: self._owed_on(day) for day in self.days}
        last = {group: max(item.first for (g, _), item in self._held.items() if g == group) for group in self._shift}
        self._closing: dict[int, list[int]] = defaultdict(list)
        for group, day in last.items():
            self._closing[day].append(group)
        self._items: dict[int, Callable[[int], Sequence[Session]]] = {}
        self._begun: dict[int, _Begun] = {}

    def _owed_on(self, day: int) -> dict[int, tuple[int, Ints]]:
        """Groups that may have begun before a day and have sessions on it: a radix, and what each value owes the day."""
        found: dict[int, tuple[int, Ints]] = {}
        radix = 1
        for group in self._shift:
            owing = [item for (g, _), item in self._held.items() if g == group and item.first < day and day in item.on]
            if owing:
                table = np.zeros(1 << self._bits[group], dtype=np.int64)
                for item in owing:
                    table[item.value] = item.value - _OVER
                found[group] = radix, table
                radix *= len(table)
        return found

    def add(self, day: int, columns: Sequence[int], items: Callable[[int], Sequence[Session]]) -> None:
        """A day's columns for sets, and what tells the sessions of each."""
        self._begun[day], self._items[day] = _Begun(np.array(columns, dtype=np.int64)), items

    def _what(self, day: int, column: int) -> tuple[int, int, int, Sequence[int]] | None:
        """What a column does, as `_Begun` learns it."""
        begins = owed = adds = 0
        options = []
        items = self._items[day](column)
        for (group, ai_day), count in Counter((item.need.index, item.ai_day) for item in items).items():
            held = self._held[group, ai_day]
            if held.on[day] != count:
                return None
            after = _OVER if held.last == day else held.value
            if held.first == day:
                begins |= 1 << self._number[group]
                adds += after << self._shift[group]
                options.append(self.option[group, ai_day])
            else:
                owed += self._owing[day][group][0] * (held.value - _OVER)
                adds += (after - held.value) << self._shift[group]
        return begins, owed, adds, options

    def near(self, reduced: Floats, idle: Mapping[int, float], room: float) -> Paths | None:
        """The paths of at most so much.

        `idle` is what a day without a set adds. None where there is no path at all; where there are too many, all columns are
        told with their own reduced cost.
        """
        if not self.possible:
            return self._all(reduced)
        costs = np.append(np.maximum(0.0, reduced), 0.0)  # the last is that of no column: of AI days that do not begin
        states, paid = np.zeros(1, dtype=np.int64), np.zeros(1)
        steps: list[_Steps] = []
        sums = [paid]
        for day in self.days:
            found = self._steps(day, (states, paid), costs, max(0.0, idle.get(day, 0.0)), room + _TINY)
            if found is None:
                return self._all(reduced)
            step, states, paid = found
            if not len(states):
                return None
            steps.append(step)
            sums.append(paid)
        # what is more was not gone on with everywhere, so that it may be less
        through = {column: least for column, least in _through(steps, sums).items() if least <= room + _TINY}
        return Paths(float(sums[-1].min()), through)

    def _all(self, reduced: Floats) -> Paths:
        columns = np.concatenate([begun.columns for begun in self._begun.values()])
        return Paths(0.0, dict(zip(columns.tolist(), reduced[columns].tolist(), strict=True)), exact=False)

    @property
    def possible(self) -> bool:
        """Whether states are small enough numbers."""
        return sum(self._bits.values()) <= _MOST_BITS

    def _steps(
        self, day: int, before: tuple[Ints, Floats], costs: Floats, idle: float, room: float
    ) -> tuple[_Steps, Ints, Floats] | None:
        """A day's steps from states with what each has come to, the states after it with theirs; None: too many."""
        states, paid = before
        sets, more = self._affordable(day, costs, idle, room)
        to_come, owing = self._to_come(states), self._owe(day, states)
        rows, columns = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
        for what in np.unique(owing).tolist():
            mine, theirs = np.flatnonzero(owing == what), np.flatnonzero(sets.owed == what)
            if len(mine) * len(theirs) > _MOST_PAIRS:
                return None
            fits: Bools = (sets.begins[theirs][None, :] & ~to_come[mine][:, None]) == 0
            fits &= paid[mine][:, None] + more[theirs][None, :] <= room
            i, j = np.nonzero(fits)
            rows.append(mine[i])
            columns.append(theirs[j])
        row, column = np.concatenate(rows), np.concatenate(columns)
        after, added = self._closed(day, states[row] + sets.adds[column], more[column], costs)
        total = paid[row] + added
        fit = total <= room
        new, number = np.unique(after[fit], return_inverse=True)
        come_to = np.full(len(new), inf)
        np.minimum.at(come_to, number, total[fit])
        return _Steps(row[fit], sets.columns[column[fit]], number, added[fit], len(new)), new, come_to

    def _affordable(self, day: int, costs: Floats, idle: float, room: float) -> tuple[_Sets, Floats]:
        """A day's sets (none first) that add no more than so much, and what each adds."""
        begun = self._begun.get(day) or _Begun(np.zeros(0, dtype=np.int64))
        near = np.flatnonzero(costs[begun.columns] <= room)
        for row in near[~begun.known[near]].tolist():
            begun.learn(row, self._what(day, int(begun.columns[row])))
        near = near[begun.whole[near]]
        more = costs[begun.columns[near]] + costs[begun.options[near]].sum(axis=1)
        fits = more <= room
        return begun.of(near[fits]), np.append(idle, more[fits])

    def _value(self, states: Ints, group: int) -> Ints:
        found: Ints = states >> self._shift[group] & ((1 << self._bits[group]) - 1)
        return found

    def _to_come(self, states: Ints) -> Ints:
        """For each state the groups to come (bits)."""
        found = np.zeros(len(states), dtype=np.int64)
        for group, number in self._number.items():
            found |= (self._value(states, group) == _TO_COME).astype(np.int64) << number
        return found

    def _owe(self, day: int, states: Ints) -> Ints:
        """For each state what groups that have begun owe the day."""
        found = np.zeros(len(states), dtype=np.int64)
        for group, (radix, table) in self._owing[day].items():
            found += radix * table[self._value(states, group)]
        return found

    def _closed(self, day: int, states: Ints, more: Floats, costs: Floats) -> tuple[Ints, Floats]:
        """Groups that can begin on no later day are left out."""
        for group in self._closing[day]:
            out = self._value(states, group) == _TO_COME
            more = more + np.where(out, costs[self.out[group]], 0.0)
            states = np.where(out, states + (_OVER << self._shift[group]), states)
        return states, more


def _in_states(
    sessions: Iterable[Session],
) -> tuple[dict[Option, _Held], dict[int, int], dict[int, int]]:
    """Every AI day as states hold it; by group where its value begins and how many bits it has."""
    on: dict[int, dict[int, Counter[int]]] = defaultdict(lambda: defaultdict(Counter))
    for item in sessions:
        on[item.need.index][item.ai_day][item.day] += 1
    held: dict[Option, _Held] = {}
    shift: dict[int, int] = {}
    bits: dict[int, int] = {}
    for group in sorted(on):
        several = any(len(days) > 1 for days in on[group].values())
        shift[group] = sum(bits.values())
        bits[group] = (len(on[group]) + _OVER).bit_length() if several else 1
        for i, (ai_day, days) in enumerate(sorted(on[group].items())):
            held[group, ai_day] = _Held(_OVER + 1 + i, min(days), max(days), days)
    return held, shift, bits


def _through(steps: Sequence[_Steps], sums: Sequence[Floats]) -> Mapping[int, float]:
    """For every column the least that a path with it comes to."""
    found: dict[int, float] = {}
    onward = np.zeros(len(sums[-1]))
    for step, paid in zip(reversed(steps), reversed(sums[:-1]), strict=True):
        rest = step.more + onward[step.after]
        onward = np.full(len(paid), inf)
        np.minimum.at(onward, step.before, rest)
        columns, number = np.unique(step.columns, return_inverse=True)
        least = np.full(len(columns), inf)
        np.minimum.at(least, number, paid[step.before] + rest)
        found.update(zip(columns.tolist(), least.tolist(), strict=True))
    found.pop(-1, None)
    return found
