"""Set partitioning: the best choice among technician-days that the search has seen, for part of a season or all of it.

Every group in play is covered once or left out, every technician-day is used once at most. The linear relaxation is solved
over a few routes first; those of negative reduced cost are added until none is left; then HiGHS (through highspy) chooses
among the cheapest by reduced cost, on one thread and within a number of nodes, so that the answer does not depend on the clock.
No starting solution is given: with one, HiGHS 1.16 handed it back unchanged and called a cost below the optimum optimal.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

import highspy
import numpy as np
import numpy.typing as npt

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.model import Need, Part
from scheduling.kernel.search.presolve import RULES_OFF
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit

NODES = 200
_GAP = 1e-4
# Routes for each group in play that HiGHS may choose among, to begin with: with 12 it found half as much.
COLUMNS = 18
_FRESH = 1_500
_PRICINGS = 12
_LINKED = 4  # a visit's row names group, work, day and treatment; those of shared sessions name more

Floats = npt.NDArray[np.float64]
Entries = list[tuple[int, float]]


@dataclass(frozen=True)
class Answer:
    """The technician-days of a solution, each group's stops, its cost, the bound that was proved, whether all was solved."""

    days: dict[int, Route]
    stops: dict[int, list[tuple[int, Visit]]]
    cost: float
    bound: float
    optimal: bool


class Partition:
    """One problem over groups in play and the routes given for each technician-day. `floor` is the worst move of all others.

    A technician-day that others are on, who stay, is in all of its routes with them, and has one of these.
    """

    def __init__(self, state: State, groups: Sequence[int], routes: Sequence[tuple[int, Route]], floor: int) -> None:
        self.state, self.groups, self.routes, self.floor = state, groups, routes, floor
        self.weights = state.model.season.weights
        self.low: list[float] = []
        self.high: list[float] = []
        self.base: list[tuple[float, Entries, float]] = []  # cost, entries, upper bound
        self._cover = {index: self._row(1, 1) for index in groups}
        self._worst: dict[int, int] = {}
        self._links: dict[tuple[object, ...], int] = {}
        self._choices: dict[tuple[object, ...], int] = {}
        self._barns: dict[int, int] = {}
        self._out: dict[int, int] = {}
        self._days: dict[int, int] = {}
        self._entries: dict[Visit, tuple[float, Entries]] = {}
        self._build()

    # -- building -------------------------------------------------------------------------------------------------
    def _row(self, low: float, high: float) -> int:
        self.low.append(low)
        self.high.append(high)
        return len(self.low) - 1

    def _column(self, cost: float, entries: Entries, high: float) -> int:
        self.base.append((cost, entries, high))
        return len(self.base) - 1

    def _build(self) -> None:
        self._column(self.weights.worst_move, [], 10_000)
        for index in self.groups:
            self._out[index] = self._column(self.weights.unplaced, [(self._cover[index], 1.0)], 1)
        visits: dict[Visit, int] = {}
        flat: list[int] = []
        starts: list[int] = []
        costs: list[float] = []
        days: list[int] = []
        for key, route in self.routes:
            if key not in self._days:
                stays = any(visit.need.index not in self._cover for visit in route.visits)
                self._days[key] = self._row(1 if stays else -inf, 1)
            days.append(self._days[key])
            starts.append(len(flat))
            costs.append(self._cost(route))
            for visit in route.visits:
                if visit not in visits:
                    visits[visit] = len(visits)
                    self._entries[visit] = self._stand(visit)
                flat.append(visits[visit])
        self._close()
        self._visits = list(visits)
        self._flat, self._starts = np.array(flat, dtype=np.int64), np.array(starts, dtype=np.int64)
        self._costs, self._day_rows = np.array(costs), np.array(days, dtype=np.int64)

    def _cost(self, route: Route) -> float:
        """The route's cost; where even loads are weighed, with the slope of that at the days that the technician has now."""
        price = self.state.model.load_price
        return route.cost + (2 * price[route.person] * self.state.worked[route.person] if price else 0.0)

    def _stand(self, visit: Visit) -> tuple[float, Entries]:
        """What covering a group by this visit costs, and the rows that the visit stands in; none for a group that stays."""
        if visit.need.index not in self._cover:
            return 0.0, []
        if len(visit.need.works) == 1 and len(visit.row) == _LINKED:
            return self._placed(visit.need, visit.ai_day)
        return 0.0, [(self._link(visit), 1.0)]

    def _placed(self, need: Need, ai_day: int) -> tuple[float, Entries]:
        moved = abs(ai_day - need.wanted)
        entries = [(self._cover[need.index], 1.0)]
        if moved > self.floor:
            entries.append((self._worst_row(need.index), float(moved)))
        if need.group.needs_barn and need.sessions:
            entries.append((self._barn_row(ai_day), 1.0))
        rest = self.weights.rest_day * self.state.model.rest_days(need, ai_day)
        return self.weights.day_moved * moved + rest, entries

    def _worst_row(self, index: int) -> int:
        if index not in self._worst:
            self._worst[index] = self._row(-inf, 0)
            self.base[0][1].append((self._worst[index], -1.0))
        return self._worst[index]

    def _barn_row(self, day: int) -> int:
        if day not in self._barns:
            self._barns[day] = self._row(-inf, len(self.state.model.season.barns))
        return self._barns[day]

    def _link(self, visit: Visit) -> int:
        """The row that ties a visit to the choice of day and treatment that it belongs to."""
        if visit.row not in self._links:
            self._links[visit.row] = self._row(0, 0)
            choice = choice_of(visit.row)
            if choice not in self._choices:
                cost, entries = self._placed(visit.need, visit.ai_day)
                self._choices[choice] = self._column(cost, entries, 1)
            self.base[self._choices[choice]][1].append((self._links[visit.row], -1.0))
        return self._links[visit.row]

    def _close(self) -> None:
        """Forbid choices for which no route holds one of the visits that they need."""
        seen: dict[tuple[object, ...], set[object]] = defaultdict(set)
        for row in self._links:
            seen[choice_of(row)].add((row[1], *row[6:]))
        for key, column in self._choices.items():
            need = self.state.model.needs[int(str(key[0]))]
            shared = sum(work.part is Part.AI for work in need.works) if len(key) > 3 else 0
            if len(seen[key]) < len(need.works) + shared:
                cost, entries, _ = self.base[column]
                self.base[column] = (cost, entries, 0.0)

    def cost_now(self) -> float:
        """What the groups in play and their technician-days cost as they are, counted as an answer's cost is."""
        state, items = self.state, [self.state.placed[index] for index in self.groups]
        routes = sum(self._cost(state.days[key]) for key in self._days if key in state.days)
        worst = max([self.floor, *(item.moved for item in items if item is not None)])
        own = sum(state.own(item) for item in items if item is not None)
        return routes + own + self.weights.worst_move * worst + self.weights.unplaced * items.count(None)

    # -- solving --------------------------------------------------------------------------------------------------
    def solve(
        self, *, nodes: int = NODES, seconds: float = inf, all_routes: bool = False, columns: int = COLUMNS
    ) -> Answer | None:
        """The cheapest choice; None where none was found within the nodes.

        `columns`: routes for each group that may be chosen, the least by reduced cost.
        `all_routes`: no route is left away, so that the bound holds for all plans made of the routes given.
        """
        if not self.routes:
            return None
        own = [i for i, (key, route) in enumerate(self.routes) if self.state.days.get(key) is route]
        most = columns * len(self.groups)
        if all_routes or len(self.routes) <= most:
            return self._choose(range(len(self.routes)), nodes, seconds)
        seconds /= 2  # for the relaxation, and again for the choice
        reduced = self._relax(own, seconds)
        cheapest = np.argsort(reduced, kind="stable")[:most]
        return self._choose(sorted({*own, *(int(i) for i in cheapest)}), nodes, seconds)

    def _relax(self, own: Sequence[int], seconds: float) -> Floats:
        """Reduced cost of every route after column generation among them, or as far as the seconds went."""
        picked = dict.fromkeys([*own, *(i for i, (_, route) in enumerate(self.routes) if len(route.visits) == 1)])
        solver = self._solver(seconds)
        solver.passModel(self._model(list(picked), whole=False))
        reduced = self._costs
        for _ in range(_PRICINGS):
            solver.run()
            if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
                break
            reduced = self._price(np.array(solver.getSolution().row_dual))
            cheapest = np.argsort(reduced, kind="stable")[:_FRESH]
            fresh = [int(i) for i in cheapest if reduced[i] < -1e-6 and int(i) not in picked]
            if not fresh:
                break
            picked.update(dict.fromkeys(fresh))
            starts, rows, values, costs = self._columns(fresh)
            count = len(fresh)
            solver.addCols(count, costs, np.zeros(count), np.ones(count), len(rows), starts[:-1], rows, values)
        return reduced

    def _price(self, duals: Floats) -> Floats:
        worth = np.empty(len(self._visits))
        for i, visit in enumerate(self._visits):
            cost, entries = self._entries[visit]
            worth[i] = cost - sum(value * duals[row] for row, value in entries)
        found: Floats = self._costs - duals[self._day_rows] + np.add.reduceat(worth[self._flat], self._starts)
        return found

    def _choose(self, picked: Sequence[int], nodes: int, seconds: float) -> Answer | None:
        solver = self._solver(seconds)
        solver.setOptionValue("mip_max_nodes", nodes)
        if solver.passModel(self._model(picked, whole=True)) == highspy.HighsStatus.kError:
            return None  # a solver that does not take the model would run on without an end
        solver.run()
        info = solver.getInfo()
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None
        values = solver.getSolution().col_value[len(self.base) :]
        days = {self.routes[i][0]: self.routes[i][1] for i, value in zip(picked, values, strict=True) if value > 0.5}
        stops: dict[int, list[tuple[int, Visit]]] = defaultdict(list)
        for _, route in sorted(days.items()):
            for visit in route.visits:
                stops[visit.need.index].append((route.person, visit))
        optimal = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
        return Answer(days, stops, info.objective_function_value, info.mip_dual_bound, optimal)

    @staticmethod
    def _solver(seconds: float) -> highspy.Highs:
        solver = highspy.Highs()  # type: ignore[no-untyped-call]
        options = (
            ("output_flag", False),
            ("threads", 1),
            ("random_seed", 1),
            ("mip_rel_gap", _GAP),
            ("mip_abs_gap", 1e-3),
            ("presolve_rule_off", RULES_OFF),
        )
        for name, value in options:
            solver.setOptionValue(name, value)
        if seconds < inf:
            solver.setOptionValue("time_limit", max(0.05, seconds))
        return solver

    def _columns(self, picked: Sequence[int]) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32], Floats, Floats]:
        """Starts, rows, values and costs of routes as sparse columns."""
        starts: list[int] = [0]
        rows: list[int] = []
        values: list[float] = []
        costs: list[float] = []
        for i in picked:
            key, route = self.routes[i]
            entries = self._rows_of(route)
            rows += (self._days[key], *entries)
            values += (1.0, *entries.values())
            starts.append(len(rows))
            costs.append(self._cost(route) + sum(self._entries[visit][0] for visit in route.visits))
        return np.array(starts, dtype=np.int32), np.array(rows, dtype=np.int32), np.array(values), np.array(costs)

    def _rows_of(self, route: Route) -> dict[int, float]:
        """The rows that a route's visits stand in, each once. A barn serves all groups of its ranch."""
        entries: dict[int, float] = {}
        barns, at = set(self._barns.values()), set[tuple[int, int]]()
        for visit in route.visits:
            for row, value in self._entries[visit][1]:
                if row in barns:
                    value *= (row, visit.place) not in at
                    at.add((row, visit.place))
                entries[row] = entries.get(row, 0.0) + value
        return entries

    def _model(self, picked: Sequence[int], *, whole: bool) -> highspy.HighsLp:
        starts, rows, values, costs = self._columns(picked)
        base_rows = [row for _, entries, _ in self.base for row, _ in entries]
        base_values = [value for _, entries, _ in self.base for _, value in entries]
        base_starts = np.cumsum([0, *(len(entries) for _, entries, _ in self.base)])
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.base) + len(picked), len(self.low)
        lp.col_cost_ = np.concatenate([np.array([cost for cost, _, _ in self.base]), costs])
        lp.col_lower_ = np.concatenate([np.array([float(self.floor)]), np.zeros(lp.num_col_ - 1)])
        lp.col_upper_ = np.concatenate([np.array([high for _, _, high in self.base]), np.ones(len(picked))])
        lp.row_lower_, lp.row_upper_ = np.array(self.low), np.array(self.high)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        lp.a_matrix_.start_ = np.concatenate([base_starts[:-1], starts + base_starts[-1]]).astype(np.int32)
        lp.a_matrix_.index_ = np.concatenate([np.array(base_rows, dtype=np.int32), rows]).astype(np.int32)
        lp.a_matrix_.value_ = np.concatenate([np.array(base_values), values])
        if whole:
            some, none = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
            lp.integrality_ = [none] + [some] * (len(self.base) - 1 + len(picked))
        return lp


def choice_of(row: tuple[object, ...]) -> tuple[object, ...]:
    """Group, day and treatment; of a session shared by two also its start and who they are by pace."""
    return (row[0], row[2], row[3]) if len(row) == _LINKED else (row[0], row[2], row[3], *row[4:6])


def assignment_of(state: State, need: Need, stops: Sequence[tuple[int, Visit]]) -> Assignment | None:
    """The assignment that a group's stops amount to (without a barn); None where their lots do not agree."""
    order = {work.key: number for number, work in enumerate(need.works)}
    ordered = tuple(sorted(stops, key=lambda stop: (order[stop[1].key], stop[0])))
    first = need.works[0]
    rate = need.ranch.ai_rate
    if first.part is Part.AI:
        rate = sum(state.model.people[person].rate for person, visit in ordered if visit.key == first.key)
    shape = state.visits.shape(need, rate)
    for _, visit in ordered:
        trip = next((trip for trip in need.trips if visit.key in trip.keys), None)
        if trip is not None and tuple(offset for offset, _ in visit.spans) != shape.patterns[trip.key].offsets:
            return None
    if len({(person, visit.key) for person, visit in ordered}) != len(ordered):
        return None
    visit = ordered[0][1]
    return Assignment(need, visit.ai_day, visit.treatment, rate, ordered)


def is_plain(visit: Visit, chosen: Iterable[int]) -> bool:
    """Whether a visit may stand in a partition: of a group in play, not kept, shared by two only as a single session."""
    if visit.need.index not in chosen or "kept" in visit.row:
        return False
    return len(visit.row) == _LINKED or len(visit.need.works) == 1
