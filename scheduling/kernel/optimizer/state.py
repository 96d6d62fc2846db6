"""The plan under search: where each group stands, the technicians' routes, and a log to take changes back."""

from dataclasses import dataclass

from scheduling.kernel.optimizer.chute import Chutes, Starts, Stay
from scheduling.kernel.optimizer.jobs import Job, Kind, Problem
from scheduling.kernel.optimizer.routes import EMPTY, Routes
from scheduling.kernel.optimizer.shapes import Shape, Shapes

Slot = tuple[int, int]
"""A technician and a day."""


@dataclass(frozen=True, slots=True)
class Placement:
    """A group's AI day, its shape, its calls (numbers) and the barn it uses (None: no barn)."""

    day: int
    shape: Shape
    calls: tuple[int, ...]
    barn: int | None


@dataclass(frozen=True, slots=True)
class Option:
    """A way to place a group: what it costs more, its placement and the routes that change."""

    cost: float
    placement: Placement
    routes: tuple[tuple[Slot, tuple[int, ...]], ...]


@dataclass(frozen=True, slots=True)
class Change:
    """What a move of a kept plan costs: per group moved, per day, and per other technician."""

    moved: float = 150.0
    day: float = 30.0
    technician: float = 40.0


_Undo = tuple[str, int, int, object]


class State:
    """Placements and routes that always keep the rules, with their cost."""

    def __init__(self, problem: Problem, routes: Routes, shapes: Shapes, chutes: Chutes) -> None:
        self.problem = problem
        self.table = routes
        self.shapes = shapes
        self.chutes = chutes
        self.placed: list[Placement | None] = [None] * len(problem.jobs)
        self.routes: dict[Slot, tuple[int, ...]] = {}
        self.start: dict[int, int] = {}
        self.barn_days: dict[tuple[int, int], tuple[int, ...]] = {}
        self.at_ranch: list[list[int]] = [[] for _ in problem.ranches]
        for job in problem.jobs:
            self.at_ranch[job.ranch].append(job.index)
        self.route_cost = 0.0
        self.moves = 0
        self.move_counts: dict[int, int] = {}
        self.unplaced = len(problem.jobs)
        self.kept: dict[int, tuple[int, tuple[int, ...]]] = {}
        self.change = Change()
        self.change_cost = 0.0
        self._log: list[_Undo] = []

    def cost(self) -> float:
        """The contract's cost, and what leaving a kept plan costs on top."""
        weights = self.problem.season.weights
        worst = max(self.move_counts, default=0)
        return (
            self.route_cost
            + weights.day_moved * self.moves
            + weights.worst_move * worst
            + weights.unplaced * self.unplaced
            + self.change_cost
        )

    def move_cost(self, job: Job, day: int) -> float:
        """What it costs that a group's AI falls on a day, beside its routes."""
        weights = self.problem.season.weights
        move = abs(day - job.wanted)
        worse = max(0, move - max(self.move_counts, default=0))
        return weights.day_moved * move + weights.worst_move * worse

    def mark(self) -> int:
        """A point to come back to."""
        return len(self._log)

    def forget(self) -> None:
        """Let go of the log: what stands is kept."""
        self._log.clear()

    def back_to(self, mark: int) -> None:
        """Take back every change since a mark."""
        while len(self._log) > mark:
            what, one, other, old = self._log.pop()
            if what == "route":
                self._put_route((one, other), old)  # type: ignore[arg-type]
            elif what == "placed":
                self._put_placement(one, old)  # type: ignore[arg-type]
            elif old is None:
                self.barn_days.pop((one, other), None)
            else:
                self.barn_days[one, other] = old  # type: ignore[assignment]

    def _put_route(self, slot: Slot, route: tuple[int, ...]) -> None:
        before = self.table.timed(self.routes.get(slot, ())) or EMPTY
        after = self.table.timed(route)
        assert after is not None
        self.route_cost += after.cost - before.cost
        if route:
            self.routes[slot] = route
            self.start.update(zip(route, after.starts, strict=True))
        else:
            self.routes.pop(slot, None)

    def _put_placement(self, index: int, placement: Placement | None) -> None:
        job, old = self.problem.jobs[index], self.placed[index]
        for sign, which in ((-1, old), (1, placement)):
            if which is None:
                continue
            move = abs(which.day - job.wanted)
            self.moves += sign * move
            self.move_counts[move] = self.move_counts.get(move, 0) + sign
            if not self.move_counts[move]:
                del self.move_counts[move]
            self.unplaced -= sign
            self.change_cost += sign * self.change_of(index, which)
        self.placed[index] = placement

    def change_of(self, index: int, placement: Placement) -> float:
        """What a placement costs for differing from the kept plan."""
        kept = self.kept.get(index)
        if kept is None:
            return 0.0
        day, technicians = kept
        cost = 0.0 if placement.day == day else self.change.moved + self.change.day * abs(placement.day - day)
        there = sorted({self.table.calls[c].technician for c in placement.calls})
        return cost + self.change.technician * sum(1 for t in there if t not in technicians)

    def set_route(self, slot: Slot, route: tuple[int, ...]) -> None:
        """Change one technician's day."""
        self._log.append(("route", *slot, self.routes.get(slot, ())))
        self._put_route(slot, route)

    def set_placement(self, index: int, placement: Placement | None) -> None:
        """Change where one group stands."""
        old = self.placed[index]
        self._log.append(("placed", index, 0, old))
        if old is not None:
            self._mark_barn(index, old, taken=False)
        self._put_placement(index, placement)
        if placement is not None:
            self._mark_barn(index, placement, taken=True)

    def _mark_barn(self, index: int, placement: Placement, *, taken: bool) -> None:
        if placement.barn is None:
            return
        for day in ai_days(self.problem.jobs[index], placement.day):
            old = self.barn_days.get((placement.barn, day))
            self._log.append(("barn", placement.barn, day, old))
            left = list(old or ())
            if taken:
                left.append(index)
            else:
                left.remove(index)
            if left:
                self.barn_days[placement.barn, day] = tuple(left)
            else:
                del self.barn_days[placement.barn, day]

    def stay(self, index: int) -> Stay | None:
        """A group at its ranch with the starts that its routes set."""
        placement = self.placed[index]
        if placement is None:
            return None
        job = self.problem.jobs[index]
        fixed: list[int | None] = [None] * len(job.acts)
        for call in placement.calls:
            fixed[self.table.calls[call].act] = self.start[call]
        return Stay(job, placement.shape, placement.day, tuple(fixed))

    def times(self, ranch: int) -> dict[int, Starts] | None:
        """Starts of every act of the ranch's groups, or None when they do not fit."""
        stays = [stay for stay in map(self.stay, self.at_ranch[ranch]) if stay is not None]
        laid = self.chutes.times(stays)
        if laid is None:
            return None
        return {stay.job.index: starts for stay, starts in zip(stays, laid, strict=True)}

    def ranches_on(self, routes: list[tuple[int, ...]], own: int) -> list[int]:
        """Ranches whose clock times hang on these routes."""
        found = {own: None}
        for route in routes:
            for call in route:
                found[self.table.calls[call].ranch] = None
        return list(found)

    def place(self, index: int, option: Option) -> bool:
        """Place a group if every ranch concerned still finds its hours; otherwise nothing changes."""
        mark = self.mark()
        for slot, route in option.routes:
            self.set_route(slot, route)
        self.set_placement(index, option.placement)
        concerned = self.ranches_on([route for _, route in option.routes], self.problem.jobs[index].ranch)
        if all(self.times(ranch) is not None for ranch in concerned):
            return True
        self.back_to(mark)
        return False

    def remove(self, index: int) -> list[int]:
        """Take a group out, and with it any group that loses its hours by that; returns all that went."""
        gone, todo = [], [index]
        while todo:
            leaving = todo.pop()
            placement = self.placed[leaving]
            if placement is None:
                continue
            gone.append(leaving)
            changed = self._take_out(placement)
            self.set_placement(leaving, None)
            for ranch in self.ranches_on(changed, self.problem.jobs[leaving].ranch):
                if self.times(ranch) is None:
                    todo += [j for j in self.at_ranch[ranch] if self.placed[j] is not None]
        return gone

    def _take_out(self, placement: Placement) -> list[tuple[int, ...]]:
        changed = []
        for call in placement.calls:
            slot = (self.table.calls[call].technician, self.table.calls[call].day)
            route = tuple(c for c in self.routes[slot] if c != call)
            self.set_route(slot, route)
            changed.append(route)
        return changed


def ai_days(job: Job, day: int) -> list[int]:
    """The days on which a technician inseminates at the ranch's stalls."""
    return [day + act.offset for act in job.acts if act.kind is Kind.AI]
