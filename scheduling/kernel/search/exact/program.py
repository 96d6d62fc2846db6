"""A small mixed-integer program for HiGHS, built column by column and row by row. One thread, so that answers repeat."""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from math import inf

import highspy
import numpy as np
import numpy.typing as npt

from scheduling.kernel.search.presolve import RULES_OFF

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Indices = npt.NDArray[np.int32]
Bools = npt.NDArray[np.bool_]
# How far apart two costs may be and still be the same (costs are printed to a tenth).
TINY = 1e-3
_GAP = 1e-4
# Pricing: a column whose reduced cost is below this makes the relaxation cheaper; so many come in at once.
_PAYS = -1e-6
_AT_ONCE = 400
_PRIMAL = 4  # the simplex that goes on where columns came in
# How far rows and whole numbers may be off. With HiGHS's own 0.000001 presolve called programs of lots infeasible, or dearer
# than they are (1.15, S seed 14: 27 instead of 18): rows here leave as little room as that. With this the answers are those
# without presolve, and come sooner.
_OFF_BY = 1e-9
# Nearly all programs here are settled at the root, by cuts. Starting over and programs within the program to find solutions
# took three quarters of the time (measured on 14 programs of six seasons); solutions below a cost known are few anyway. Jumping
# to a feasible solution first took half of the time of the small programs of hours (308 of S seed 5).
_AT_THE_ROOT = (
    ("mip_allow_restart", False),
    ("mip_heuristic_run_rins", False),
    ("mip_heuristic_run_rens", False),
    ("mip_heuristic_run_root_reduced_cost", False),
    ("mip_heuristic_run_feasibility_jump", False),
)


@dataclass(frozen=True)
class Result:
    """Values of the columns and their cost (None: no solution was found), the bound proved, whether all was settled."""

    values: Floats | None
    cost: float
    bound: float
    done: bool


@dataclass(frozen=True)
class Relaxed:
    """A linear relaxation: its cost, the reduced cost of every column (infinite where it was left away), the rows' duals."""

    cost: float
    reduced: Floats
    duals: Floats


class Program:
    """Columns and rows; `minimise` solves them."""

    def __init__(self) -> None:
        self.costs: list[float] = []
        self.lows: list[float] = []
        self.highs: list[float] = []
        self.whole: list[bool] = []
        self.rows: list[tuple[float, float, Mapping[int, float]]] = []
        self.table = _Table()
        self._priced: set[int] = set()

    def column(self, cost: float, low: float = 0.0, high: float = 1.0, *, whole: bool = True) -> int:
        """A variable; returns its number."""
        self.costs.append(cost)
        self.lows.append(low)
        self.highs.append(high)
        self.whole.append(whole)
        return len(self.costs) - 1

    def row(self, low: float, high: float, entries: Mapping[int, float]) -> int:
        """low <= sum of entries <= high; returns its number."""
        self.rows.append((low, high, entries))
        return len(self.rows) - 1

    @property
    def content(self) -> Hashable:
        """What makes it the same program as another."""
        rows = tuple((low, high, *entries.items()) for low, high, entries in self.rows)
        return tuple(self.costs), tuple(self.lows), tuple(self.highs), tuple(self.whole), rows

    def relaxed(self, keep: Ints, always: Ints) -> Relaxed | None:
        """The linear relaxation with the columns kept; None where nothing is feasible.

        It starts from `always`, columns that make the program feasible, and from what earlier relaxations asked for, and takes
        in others as they pay.
        """
        kept = np.zeros(len(self.costs), dtype=bool)
        kept[keep] = True
        some = np.zeros(len(self.costs), dtype=bool)
        some[always] = True
        some[list(self._priced)] = True
        return self._taken_in(kept, np.flatnonzero(some & kept))

    def _taken_in(self, kept: Bools, columns: Ints) -> Relaxed | None:
        """Solve some columns; take in others until none pays."""
        costs, solver = np.array(self.costs), _solver()
        solver.passModel(self.lp(columns, whole=False))
        while True:
            solver.run()
            if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
                return None
            duals = np.array(solver.getSolution().row_dual)
            reduced = costs - self.table.weighed(self, duals)
            pays = (reduced < _PAYS) & kept
            pays[columns] = False
            missing = np.flatnonzero(pays)
            if not len(missing):
                self._priced.update(columns.tolist())
                reduced[~kept] = inf
                return Relaxed(solver.getInfo().objective_function_value, reduced, duals)
            more = missing[np.argsort(reduced[missing], kind="stable")[:_AT_ONCE]]
            self._add(solver, more)
            columns = np.concatenate([columns, more])

    def _add(self, solver: highspy.Highs, columns: Ints) -> None:
        """Let a solver that has solved some columns go on with more of them."""
        starts, indices, values = self.table.by_column(self, columns)
        lows, highs, costs = (np.array(row)[columns] for row in (self.lows, self.highs, self.costs))
        solver.addCols(len(columns), costs, lows, highs, len(values), starts, indices, values)
        solver.setOptionValue("simplex_strategy", _PRIMAL)

    def minimise(
        self,
        keep: Ints | None = None,
        *,
        nodes: int,
        left: Callable[[], float] | None = None,
        below: float = inf,
    ) -> Result:
        """The cheapest whole solution, with all columns or those kept (the others at 0); none where it is not below `below`.

        `left` tells the seconds that remain: by its own clock, which need not be the solver's.
        """
        columns = np.arange(len(self.costs)) if keep is None else keep
        solver = _solver()
        if left is None or left() == inf:
            solver.setOptionValue("mip_max_nodes", nodes)
        else:
            solver.cbMipInterrupt.subscribe(lambda event: event.interrupt() if left() <= 0 else None)
        if below < inf:
            solver.setOptionValue("objective_bound", below)
        if solver.passModel(self.lp(columns, whole=True)) == highspy.HighsStatus.kError:
            return Result(None, inf, -inf, False)
        solver.run()
        status, info = solver.getModelStatus(), solver.getInfo()
        if status == highspy.HighsModelStatus.kInfeasible:
            return Result(None, inf, inf, True)
        done = status == highspy.HighsModelStatus.kOptimal
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return Result(None, inf, info.mip_dual_bound, False)
        values = np.zeros(len(self.costs))
        values[columns] = solver.getSolution().col_value
        return Result(values, info.objective_function_value, info.mip_dual_bound, done)

    def lp(self, columns: Ints, *, whole: bool) -> highspy.HighsLp:
        """The program of some columns, as the solver takes it."""
        starts, indices, values = self.table.by_row(self, columns)
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(columns), len(self.rows)
        lp.col_cost_ = np.array(self.costs)[columns]
        lp.col_lower_ = np.array(self.lows)[columns]
        lp.col_upper_ = np.array(self.highs)[columns]
        lp.row_lower_ = np.array([row[0] for row in self.rows])
        lp.row_upper_ = np.array([row[1] for row in self.rows])
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = starts, indices, values
        if whole:
            some, none = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
            lp.integrality_ = [some if self.whole[i] else none for i in columns]
        return lp


class _Table:
    """The rows' entries as arrays (row, column, value), which grow with the program."""

    def __init__(self) -> None:
        self._rows = 0
        self._row = np.zeros(0, dtype=np.int64)
        self._column = np.zeros(0, dtype=np.int64)
        self._value = np.zeros(0)

    def _grow(self, program: Program) -> None:
        new = program.rows[self._rows :]
        if not new:
            return
        lengths = [len(entries) for _, _, entries in new]
        self._row = np.concatenate([self._row, np.repeat(np.arange(self._rows, len(program.rows)), lengths)])
        columns = [column for _, _, entries in new for column in entries]
        values = [value for _, _, entries in new for value in entries.values()]
        self._column = np.concatenate([self._column, np.array(columns, dtype=np.int64)])
        self._value = np.concatenate([self._value, np.array(values)])
        self._rows = len(program.rows)

    def weighed(self, program: Program, duals: Floats) -> Floats:
        """What the rows' duals pay for every column."""
        self._grow(program)
        paid = self._value * duals[self._row]
        return np.bincount(self._column, paid, minlength=len(program.costs)).astype(np.float64)

    def by_column(self, program: Program, columns: Ints) -> tuple[Indices, Indices, Floats]:
        """Some columns one by one: starts, rows, values."""
        self._grow(program)
        number = np.full(len(program.costs), -1, dtype=np.int64)
        number[columns] = np.arange(len(columns))
        there = np.flatnonzero(number[self._column] >= 0)
        there = there[np.argsort(number[self._column[there]], kind="stable")]
        counts = np.bincount(number[self._column[there]], minlength=len(columns))
        starts = np.concatenate([[0], np.cumsum(counts)])[:-1]
        return starts.astype(np.int32), self._row[there].astype(np.int32), self._value[there]

    def by_row(self, program: Program, columns: Ints) -> tuple[Indices, Indices, Floats]:
        """Some columns row by row: starts, columns' numbers among them, values."""
        self._grow(program)
        number = np.full(len(program.costs), -1, dtype=np.int64)
        number[columns] = np.arange(len(columns))
        there = number[self._column] >= 0
        counts = np.bincount(self._row[there], minlength=len(program.rows))
        starts = np.concatenate([[0], np.cumsum(counts)])
        return starts.astype(np.int32), number[self._column[there]].astype(np.int32), self._value[there]


def _solver() -> highspy.Highs:
    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    options = (
        ("output_flag", False),
        ("threads", 1),
        ("random_seed", 1),
        ("mip_rel_gap", 0.0),
        ("mip_abs_gap", _GAP),
        ("mip_feasibility_tolerance", _OFF_BY),
        ("presolve_rule_off", RULES_OFF),
        *_AT_THE_ROOT,
    )
    for name, value in options:
        solver.setOptionValue(name, value)
    return solver
