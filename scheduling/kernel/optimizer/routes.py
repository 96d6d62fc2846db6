"""Calls (one technician at one act of one group) and the routes that string them together.

A route is a tuple of call numbers; its times and cost depend on nothing else, so each is worked out once. Starting as
early as the windows allow is cheapest: the only price on hours, work after noon, grows with the hour.
"""

from dataclasses import dataclass

from scheduling.kernel.optimizer.jobs import Problem

Pieces = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Call:
    """Window of the start [early, late], length, and AI pieces (start after the call's start, length) in minutes."""

    job: int
    act: int
    technician: int
    day: int
    ranch: int
    early: int
    late: int
    length: int
    head: int
    pieces: Pieces


@dataclass(frozen=True, slots=True)
class Route:
    """Cost of a technician's day (weighted), its km and each call's start."""

    cost: float
    km: float
    half_hours: int
    starts: tuple[int, ...]


EMPTY = Route(0.0, 0.0, 0, ())


class Routes:
    """All calls and routes ever looked at."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.calls: list[Call] = []
        self._numbers: dict[Call, int] = {}
        self._memo: dict[tuple[int, ...], Route | None] = {(): EMPTY}

    def number(self, call: Call) -> int:
        """The number of a call; the same call keeps its number."""
        found = self._numbers.get(call)
        if found is None:
            found = self._numbers[call] = len(self.calls)
            self.calls.append(call)
        return found

    def timed(self, route: tuple[int, ...]) -> Route | None:
        """Times and cost, or None when the technician cannot do it."""
        try:
            return self._memo[route]
        except KeyError:
            found = self._memo[route] = self._time(route)
            return found

    def _time(self, route: tuple[int, ...]) -> Route | None:
        problem, calls = self.problem, self.calls
        first = calls[route[0]]
        technician, day = first.technician, first.day
        limits = problem.technicians[technician]
        if day in problem.off[technician] or sum(calls[c].head for c in route) > limits.max_head_per_day:
            return None
        now, place = problem.starts[technician][day], problem.base(technician)
        km, halves, starts = 0.0, 0, []
        for c in route:
            call = calls[c]
            now = max(now + problem.drive[place][call.ranch], call.early)
            if now > call.late:
                return None
            starts.append(now)
            halves += self.half_hours(call, now)
            km += problem.km[place][call.ranch]
            now += call.length
            place = call.ranch
        home = problem.base(technician)
        if now + problem.drive[place][home] > problem.ends[technician][day]:
            return None
        km += problem.km[place][home]
        weights = problem.season.weights
        cost = weights.technician_day + weights.km * km + weights.afternoon_half_hour * halves
        return Route(cost, km, halves, tuple(starts))

    def half_hours(self, call: Call, start: int) -> int:
        """Started half hours of AI after noon, counted by visit."""
        noon = self.problem.noons[call.ranch][call.day]
        if start + call.length <= noon:
            return 0
        total = 0
        for offset, length in call.pieces:
            late = start + offset + length - max(noon, start + offset)
            total += -(-late // 30) if late > 0 else 0
        return total

    def best_place(self, route: tuple[int, ...], call: int) -> tuple[float, tuple[int, ...]] | None:
        """The cheapest route with the call put in: (extra cost, route); None if it fits nowhere."""
        before = self.timed(route)
        if before is None:
            return None
        best: tuple[float, tuple[int, ...]] | None = None
        for place in range(len(route) + 1):
            tried = (*route[:place], call, *route[place:])
            after = self.timed(tried)
            if after is not None and (best is None or after.cost - before.cost < best[0]):
                best = (after.cost - before.cost, tried)
        return best
