"""Choosing among all technician-days: every group by one option or left out, every technician once a day.

Hours that tie one day to another (treatment to AI, the ranch's chute) are left away here, so that the cost is a lower bound of
all plans; `timing` tells what they add, and cuts bring it in.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from math import inf

import numpy as np

from scheduling.kernel.search.exact.days import Work
from scheduling.kernel.search.exact.options import Crew, Option
from scheduling.kernel.search.exact.program import Floats, Ints, Program, Relaxed
from scheduling.kernel.search.exact.session import Key
from scheduling.kernel.search.model import Model

Near = Mapping[int, Iterable[frozenset[Key]]]


class Master:
    """The program over options and technician-days. `option`, `work` and `out` name its columns."""

    def __init__(self, model: Model, options: Sequence[Option], works: Iterable[Work]) -> None:
        self.model, self.program = model, Program()
        self.weights = model.season.weights
        self.options = list(options)
        self.option: dict[Option, int] = {}
        self.out: dict[int, int] = {}
        self.work: dict[Work, int] = {}
        self.crew: dict[Crew, int] = {}
        self._moved: dict[Work, int] = {}
        self._late: dict[tuple[int, int], int] = {}
        self._on: dict[tuple[int, int], list[Work]] = defaultdict(list)
        # By day: columns of technician-days by the works that they are for.
        self._for: dict[int, dict[frozenset[Key], list[int]]] = defaultdict(lambda: defaultdict(list))
        self._holding: dict[object, list[int]] = defaultdict(list)
        self._groups()
        self.worst = self.program.column(0.0, 1.0, whole=False)
        self._days(works)
        self._links()
        self._barns()

    def _groups(self) -> None:
        for option in self.options:
            self.option[option] = self.program.column(option.cost)
            self._holding[option.need.index].append(self.option[option])
        for need in self.model.needs:
            self.out[need.index] = self.program.column(self.weights.unplaced)
            rows = [*self._holding[need.index], self.out[need.index]]
            self.program.row(1, 1, dict.fromkeys(rows, 1.0))

    def _days(self, works: Iterable[Work]) -> None:
        once: dict[tuple[int, int], dict[int, float]] = defaultdict(dict)
        for work in works:
            column = self.work[work] = self.program.column(work.cost)
            self._on[work.person, work.day].append(work)
            self._for[work.day][work.keys].append(column)
            self._moved[work] = max(stop.option.moved for stop in work.stops)
            once[work.person, work.day][column] = 1.0
            for stop in work.in_order:
                self._holding[stop].append(column)
        for entries in once.values():
            self.program.row(-inf, 1, entries)

    def _links(self) -> None:
        """Each work of an option that is chosen has one crew, and each of the crew is there."""
        for option in self.options:
            for crews in option.works:
                entries = {self.option[option]: -1.0}
                for crew in crews:
                    if len(crew.people) == 1 and not crew.barn:
                        entries.update(dict.fromkeys(self._holding[crew.stops[0]], 1.0))
                        continue
                    column = self.crew[crew] = self.program.column(0.0)
                    entries[column] = 1.0
                    for stop in crew.stops:
                        self.program.row(0, 0, {**dict.fromkeys(self._holding[stop], 1.0), column: -1.0})
                self.program.row(0, 0, entries)

    def _barns(self) -> None:
        """No more ranches with a barn on a day than there are barns."""
        there: dict[tuple[int, int], int] = {}
        for crew, column in self.crew.items():
            if crew.barn:
                place, day = crew.stops[0].place, crew.stops[0].day
                if (place, day) not in there:
                    there[place, day] = self.program.column(0.0, whole=False)
                self.program.row(-inf, 0, {column: 1.0, there[place, day]: -1.0})
        on_day: dict[int, dict[int, float]] = defaultdict(dict)
        for (_, day), column in there.items():
            on_day[day][column] = 1.0
        for entries in on_day.values():
            self.program.row(-inf, len(self.model.season.barns), entries)

    # -- one worst move at a time ---------------------------------------------------------------------------------
    def price(self, worst: int) -> None:
        """Set the price of that worst move."""
        self.program.costs[self.worst] = self.weights.worst_move * worst

    def within(self, worst: int, near: Near | None = None) -> Ints:
        """The columns of plans in which no group moves further.

        `near` holds by day the sets of works that there can be then (None: all).
        """
        moved = np.zeros(len(self.program.costs), dtype=np.int64)
        moved[list(self.option.values())] = [option.moved for option in self.option]
        moved[list(self.work.values())] = list(self._moved.values())
        if near is not None:
            moved[self._beside(near)] = worst + 1
        return np.flatnonzero(moved <= worst)

    def _beside(self, near: Near) -> Ints:
        """The columns of technician-days that have other works than any one of the sets of their day."""
        found: list[int] = []
        for day, by_works in self._for.items():
            there = covered(list(by_works), near.get(day, ()))
            found += (
                column
                for works, is_there in zip(by_works, there, strict=True)
                if not is_there
                for column in by_works[works]
            )
        return np.array(found, dtype=np.int64)

    def relaxed(self, keep: Ints) -> Relaxed | None:
        """The linear relaxation of these columns."""
        others = np.ones(len(self.program.costs), dtype=bool)
        others[list(self.work.values())] = False
        return self.program.relaxed(keep, np.flatnonzero(others))

    def near(self, keep: Ints, relaxed: Relaxed, width: float) -> Ints:
        """The columns without which a plan costs at most so much more than the relaxation."""
        lows = np.array(self.program.lows)
        return keep[(relaxed.reduced[keep] <= width) | (lows[keep] > 0)]

    def chosen(self, values: Floats) -> tuple[list[Work], list[Option]]:
        """The technician-days and options of a solution."""
        works = [work for work, column in self.work.items() if values[column] > 0.5]
        return works, [option for option, column in self.option.items() if values[column] > 0.5]

    def charged(self, works: Iterable[Work], values: Floats) -> float:
        """What a solution pays for hours on these technician-days beyond their own cost."""
        keys = {(work.person, work.day) for work in works} & self._late.keys()
        return sum(float(values[self._late[key]]) for key in keys)

    # -- cuts -----------------------------------------------------------------------------------------------------
    def forbid(self, works: Iterable[Work], options: Iterable[Option]) -> None:
        """These technician-days, or longer ones, never together with these options."""
        entries: dict[int, float] = {}
        count = 0
        for work in works:
            count += 1
            entries.update((self.work[other], 1.0) for other in self._longer(work))
        for option in options:
            count += 1
            entries[self.option[option]] = 1.0
        self.program.row(-inf, count - 1, entries)

    def charge(self, works: Sequence[Work], options: Sequence[Option], more: float) -> None:
        """These technician-days together with these options cost so much more; longer ones as much less as they cost more."""
        entries: dict[int, float] = {}
        for work in works:
            dear = ((self.work[other], more - max(0.0, other.cost - work.cost)) for other in self._longer(work))
            entries.update((column, more_then) for column, more_then in dear if more_then > 0)
        entries.update((self.option[option], more) for option in options)
        for key in {(work.person, work.day) for work in works}:
            if key not in self._late:
                self._late[key] = self.program.column(1.0, 0.0, inf, whole=False)
            entries[self._late[key]] = -1.0
        self.program.row(-inf, more * (len(works) + len(options) - 1), entries)

    def _longer(self, work: Work) -> list[Work]:
        """The technician-days with all its stops."""
        return [other for other in self._on[work.person, work.day] if work.stops <= other.stops]


def covered(works: Sequence[frozenset[Key]], sets: Iterable[frozenset[Key]]) -> list[bool]:
    """Whether sets of works have no other works than one of some sets."""
    bit: dict[Key, int] = {}
    near = [sum(1 << bit.setdefault(key, len(bit)) for key in some) for some in sets]
    unknown = 1 << len(bit)
    mine = [sum(1 << bit[key] if key in bit else unknown for key in some) for some in works]
    found: list[bool] = ((np.array(mine)[:, None] & ~np.array([*near, 0])[None, :]) == 0).any(axis=1).tolist()
    return found
