"""A phase of rounds in machine code, and the way back into the search's state."""

import numpy as np

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.polish import untangle
from scheduling.kernel.search.rounds import Search, Snapshot
from scheduling.kernel.search.swift import machine
from scheduling.kernel.search.swift.machine import (
    AT,
    BEST_COST,
    BLOCK,
    CHOSEN,
    COUNT,
    GROUPS,
    KEY,
    LOAD,
    MOST_STOPS,
    OPTIONS,
    PLACES,
    POOLED,
    SEEN,
    STANDS,
    STARTS,
    VISIT,
    VISITS,
    WIDTH,
    Floats,
    Ints,
    Plan,
)
from scheduling.kernel.search.swift.tables import Phase, Standing

_BLINK = 0.01
_POOL = 60_000


class Swift:
    """Rounds in machine code for a search; made once, since what groups may choose takes a while to write down."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.standing = Standing(search)

    def begin(self) -> "Running | None":
        """A phase from the state as it is; None where a day has more stops than there is room for, or no group plays."""
        if any(len(route.visits) > MOST_STOPS for route in self.search.state.days.values()):
            return None
        phase = Phase(self.standing)
        return Running(self.search, phase) if any(phase.plays) else None


class Running:
    """A phase that is under way."""

    def __init__(self, search: Search, phase: Phase) -> None:
        self.search, self.phase = search, phase
        self.plan: Plan = plan_of(phase)
        self.room = machine.room(phase.tables)
        machine.seeded(search.rng.getrandbits(31))

    def improve(self, rounds: int, heat: float) -> int:
        """So many rounds at a temperature; returns them."""
        machine.improve(self.phase.tables, self.plan, self.room, rounds, heat, _BLINK)
        return rounds

    def staying(self) -> list[int]:
        """The search's groups that machine code left where they are, those without a visit aside."""
        playing = {i for i, plays in zip(self.phase.standing.groups, self.phase.plays, strict=True) if plays}
        return [i for i in self.search.free if i not in playing and self.search.model.needs[i].works]

    @property
    def best_cost(self) -> float:
        """The cost of the best plan seen."""
        return float(self.plan.total[BEST_COST])

    def end(self, *, best: bool) -> None:
        """Take the plan (the best seen, or as it is) into the state, and what days were seen into the search's memory."""
        plan = self.plan
        days, chosen = (plan.best_days, plan.best_chosen) if best else (plan.days, plan.chosen)
        absorb(self.search, self.phase, days, chosen)
        self._learn()

    def _learn(self) -> None:
        phase, routes, width = self.phase, self.search.state.routes, self.search.state.width
        for entry in self.plan.pool[: int(self.plan.marks[POOLED])].tolist():
            routes.route(entry[0] % width, tuple(phase.visit(v) for v in entry[2 : 2 + entry[1]]))


def plan_of(phase: Phase) -> Plan:
    """The state as arrays."""
    state, journal = phase.state, machine.JOURNAL
    chosen = _chosen(phase)
    days, cost = _days(phase)
    return Plan(
        days=days,
        stops=days[:, COUNT].astype(np.int8),
        cost=cost,
        chosen=chosen,
        moves=np.array(state.moves, dtype=np.int32),
        barns=_barns(phase),
        total=np.array([state.routes_cost, state.own_cost, state.cost(), 0.0, 0.0]),
        marks=np.array([0, 0, 0, 0, state.out, 0]),
        best_days=days.copy(),
        best_chosen=chosen.copy(),
        dirty=np.zeros((len(days), 2), dtype=np.int32),
        old_days=np.zeros((journal, 1 + WIDTH), dtype=np.int32),
        old_cost=np.zeros(journal),
        old_groups=np.zeros((journal, 1 + CHOSEN), dtype=np.int32),
        pool=np.zeros((_POOL, MOST_STOPS + 2), dtype=np.int32),
        pool_index=np.full(4 * _POOL, -1, dtype=np.int32),
    )


def _chosen(phase: Phase) -> Ints:
    chosen = np.full((len(phase.chosen), CHOSEN), -1, dtype=np.int32)
    chosen[:, SEEN] = 0
    for i, found in enumerate(phase.chosen):
        if found is not None:
            item = phase.state.placed[phase.standing.groups[i]]
            chosen[i, (BLOCK, *range(OPTIONS, OPTIONS + len(found) - 1))] = found
            chosen[i, STANDS] = item.barn if item is not None else -1
    return chosen


def _barns(phase: Phase) -> Ints:
    """Where barns stand, those of groups that stay included."""
    state, standing = phase.state, phase.standing
    barns = np.zeros((len(state.barn_gap), standing.length, 2), dtype=np.int32)
    for (barn, day), places in state.barn_days.items():
        if places:
            barns[barn, day - standing.day, (GROUPS, AT)] = len(places), places[0]
    return barns


def _days(phase: Phase) -> tuple[Ints, Floats]:
    """Technician-days, and what each costs."""
    numbers, base = phase.numbers(), phase.standing.base
    days = np.zeros((len(phase.tables.day), WIDTH), dtype=np.int32)
    cost = np.zeros(len(days))
    for key, route in phase.state.days.items():
        row, count = days[key - base], len(route.visits)
        row[COUNT], row[LOAD], cost[key - base] = count, route.head, route.cost
        row[VISITS : VISITS + count] = [numbers[visit] for visit in route.visits]
        row[PLACES : PLACES + count] = [visit.place for visit in route.visits]
        row[STARTS : STARTS + count] = route.starts
    return days, cost


def absorb(search: Search, phase: Phase, days: Ints, chosen: Ints) -> None:
    """Bring the state to where the arrays are; groups whose clock times collide after all go back where they fit best.

    Where one collides that is not the search's to move, the state is the best plan as it was.
    """
    state = search.state
    others = [i for i, item in enumerate(state.placed) if item is not None and i not in search.free_set]
    places = _place_groups(search, phase, chosen) | _set_days(phase, days)
    state.forget()
    untangle(search, places)
    for index in search.order:
        if state.placed[index] is None:
            search.insertion.insert(index)
    state.forget()
    if any(state.placed[index] is None for index in others):
        search.restore(search.best)
    elif state.cost() < search.best.cost - 1e-6:
        search.best = Snapshot(state)
        search.bests.append(search.best)


def _place_groups(search: Search, phase: Phase, chosen: Ints) -> set[int]:
    """Place groups that changed, their technician-days aside; the ranches of these groups."""
    state, places, new = search.state, set[int](), list[Assignment]()
    for i, index in enumerate(phase.standing.groups):
        if not phase.plays[i]:
            continue
        item, made = state.placed[index], _assignment(phase, chosen[i], i)
        if _place_of(item) == _place_of(made):
            continue
        places.add(search.model.needs[index].place)
        new += [made] if made is not None else []
        if item is not None:
            state.take(index)
    state.touched.clear()
    for item in new:
        state.put(item, {})
    return places


def _place_of(item: Assignment | None) -> tuple[object, ...] | None:
    return None if item is None else (item.stops, item.barn)


def _set_days(phase: Phase, days: Ints) -> set[int]:
    """Give technician-days that changed their visits; the ranches of these visits."""
    state, base, places = phase.state, phase.standing.base, set[int]()
    for key, row in enumerate(days.tolist()):
        visits = tuple(phase.visit(number) for number in row[VISITS : VISITS + row[COUNT]])
        old = state.days.get(base + key)
        if visits != (old.visits if old is not None else ()):
            route = state.routes.route(key % state.width, visits) if visits else None
            assert route is not None or not visits
            state.set_day(base + key, route)
            places |= {visit.place for visit in visits}
    return places


def _assignment(phase: Phase, picked: Ints, number: int) -> Assignment | None:
    """What was chosen for a group."""
    if picked[BLOCK] < 0:
        return None
    need, width = phase.standing.needs[number], phase.state.width
    options = [
        phase.tables.option[option, (VISIT, KEY)].tolist() for option in picked[OPTIONS : OPTIONS + len(need.works)]
    ]
    stops = tuple((key % width, phase.visit(visit)) for visit, key in options)
    visit = stops[0][1]
    rate = phase.state.model.people[stops[0][0]].rate
    return Assignment(need, visit.ai_day, visit.treatment, rate, stops, None, int(picked[STANDS]))
