"""The search: a first plan group by group, then take some groups out and put them back better, again and again."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from math import exp, inf

from scheduling.kernel.search.model import Model, Need
from scheduling.kernel.search.placing import NEAREST, Crew, Placer
from scheduling.kernel.search.state import Placement, State
from scheduling.kernel.season import Hands

_HOT, _COLD = 80.0, 1.0
# Share of placements whose AI is not tried at the earliest hour.
_LATE = 0.3


@dataclass(frozen=True)
class Wish:
    """What a plan to be kept says of a group: changing it costs something."""

    day: date
    technicians: frozenset[str]


# The price of change when a plan is repaired: a group on another day, each day, another technician.
_CHANGED_DAY, _PER_DAY, _CHANGED_TECHNICIAN = 150.0, 30.0, 40.0


class Search:
    """Holds a state and improves it. Deterministic for a seed and a number of rounds."""

    def __init__(self, model: Model, seed: int, keep: dict[str, Wish]) -> None:
        self.model, self.keep = model, keep
        self.rng = random.Random(seed)
        self.state = State(model)
        self.order = sorted(
            model.needs, key=lambda name: (len(model.needs[name].days), -model.needs[name].group.head, name)
        )
        self.blink = 0.0

    # -- cost -----------------------------------------------------------------------------------------------------
    def cost(self) -> float:
        """The contract's cost of the state, and of what it changes against the plan to be kept."""
        weights, state = self.model.season.weights, self.state
        own = sum(state.own_cost(item) + self.change(item) for item in state.placed.values())
        unplaced = len(self.model.needs) - len(state.placed)
        return state.routes_cost + own + weights.worst_move * state.worst_move() + weights.unplaced * unplaced

    def change(self, placement: Placement) -> float:
        """What it costs that a group is not where the plan to be kept has it."""
        wish = self.keep.get(placement.group)
        if wish is None:
            return 0.0
        days = abs((placement.day - wish.day).days)
        others = frozenset(technician for technician, _ in placement.stops) != wish.technicians
        return (_CHANGED_DAY + _PER_DAY * days if days else 0.0) + (_CHANGED_TECHNICIAN if others else 0.0)

    # -- putting one group in -------------------------------------------------------------------------------------
    def crews(self, need: Need, day: date) -> Iterator[tuple[float, Crew]]:
        """Crews worth trying on a day, each with the least it can add to the routes' cost."""
        if need.group.ai_by is Hands.RANCH or not need.protocol.ai_steps:
            yield 0.0, Crew((), need.ranch.ai_rate)
            return
        people, able = self.model.season.technicians, self.model.crews[need.group.id]
        wish = self.keep.get(need.group.id)
        wanted = [name for name in able if wish and name in wish.technicians]
        near = list(dict.fromkeys([*wanted, *able[:NEAREST]]))
        offers = []
        for name in near:
            least = self._least(name, day, need)
            if least < inf:
                offers.append((least, name))
                yield least, Crew((name,), people[name].ai_rate)
        stalls = need.ranch.ai_stalls
        if need.group.needs_barn:
            stalls = max([stalls, *(barn.stalls for barn in self.model.season.barns.values())])
        if stalls < 2:
            return
        for i, (cost, one) in enumerate(offers[:4]):
            for other_cost, other in offers[i + 1 : 4]:
                yield cost + other_cost, Crew((one, other), people[one].ai_rate + people[other].ai_rate)

    def _late(self) -> float:
        """How far into its window AI is tried first: mostly at once, sometimes later, so that others fit before it."""
        return self.rng.random() if self.blink and self.rng.random() < _LATE else 0.0

    def _least(self, technician: str, day: date, need: Need) -> float:
        gaps = self.state.gaps(technician, day, f"R{need.ranch.id}", 1, 1)
        return min((cost for _, _, cost in gaps), default=inf)

    def best(self, name: str) -> Placement | None:
        """The cheapest placement found for a group, or None. Crews that cannot beat the best so far are passed over."""
        need, weights = self.model.needs[name], self.model.season.weights
        worst = self.state.worst_move()
        best: Placement | None = None
        best_cost = inf
        for day in need.days:
            moved = abs((day - need.group.ai_wanted).days)
            fixed = weights.day_moved * moved + weights.worst_move * max(0, moved - worst)
            wish = self.keep.get(name)
            if wish and wish.day != day:
                fixed += _CHANGED_DAY + _PER_DAY * abs((day - wish.day).days)
            if fixed >= best_cost:
                if wish:
                    continue
                break
            for least, crew in sorted(self.crews(need, day), key=lambda item: (item[0], item[1].technicians)):
                if fixed + least >= best_cost or (self.blink and self.rng.random() < self.blink):
                    continue
                placement = Placer(self.state, need, day, crew, self._late()).place()
                if placement is None:
                    continue
                cost = fixed + self._added(placement) + self.change(placement)
                if cost < best_cost:
                    best, best_cost = placement, cost
        return best

    def _added(self, placement: Placement) -> float:
        before = self.state.routes_cost
        self.state.put(placement)
        added = self.state.routes_cost - before
        self.state.take(placement.group)
        afternoon = self.model.season.weights.afternoon_half_hour * self.state.afternoon(placement)
        return added + afternoon

    def insert(self, names: list[str]) -> None:
        """Put groups in, one after the other, where each is cheapest; those that fit nowhere stay out."""
        for name in names:
            placement = self.best(name)
            if placement is not None:
                self.state.put(placement)

    # -- rounds ---------------------------------------------------------------------------------------------------
    def first_plan(self) -> None:
        """The first plan: the hardest groups first."""
        self.insert([name for name in self.order if name not in self.state.placed])

    def improve(
        self, rounds: Callable[[int], bool], progress: Callable[[int, float], None], share: Callable[[int], float]
    ) -> int:
        """Ruin and recreate while `rounds(i)` holds; keeps the best. Returns the rounds done."""
        current = best = self.cost()
        best_state = dict(self.state.placed)
        self.blink = 0.01
        done = 0
        while self.model.needs and rounds(done):
            heat = _HOT * (_COLD / _HOT) ** min(1.0, share(done))
            removed = self._ruin()
            saved = {name: self.state.placed[name] for name in removed if name in self.state.placed}
            for name in saved:
                self.state.take(name)
            self.insert(removed)
            cost = self.cost()
            if cost <= current or self.rng.random() < exp((current - cost) / heat):
                current = cost
                if cost < best - 1e-9:
                    best, best_state = cost, dict(self.state.placed)
            else:
                self._restore(removed, saved)
            done += 1
            progress(done, best)
        self._set(best_state)
        return done

    def _restore(self, removed: list[str], saved: dict[str, Placement]) -> None:
        for name in removed:
            if name in self.state.placed:
                self.state.take(name)
        for placement in saved.values():
            self.state.put(placement)

    def _set(self, placed: dict[str, Placement]) -> None:
        for name in list(self.state.placed):
            self.state.take(name)
        for placement in placed.values():
            self.state.put(placement)

    def _ruin(self) -> list[str]:
        """Groups to take out: neighbours in place and time, whole technician-days, or any; and some that are out."""
        size = self.rng.randint(2, 8)
        out = [name for name in self.order if name not in self.state.placed]
        kind = self.rng.random()
        if kind < 0.5 or not self.state.placed:
            names = self._neighbours(size)
        elif kind < 0.85:
            names = self._technician_days(size)
        else:
            names = self.rng.sample(self.order, min(size, len(self.order)))
        extra = self.rng.sample(out, min(3, len(out)))
        names = list(dict.fromkeys([*extra, *names]))
        kind = self.rng.random()
        if kind < 0.4:
            self.rng.shuffle(names)
        elif kind < 0.7:
            names.sort(key=lambda name: -self.model.needs[name].group.head)
        else:
            names.sort(key=lambda name: len(self.model.needs[name].days))
        return names

    def _neighbours(self, size: int) -> list[str]:
        seed = self.model.needs[self.rng.choice(self.order)]

        def far(name: str) -> float:
            other = self.model.needs[name]
            km = self.model.km(f"R{seed.ranch.id}", f"R{other.ranch.id}")
            return km + 12 * abs((seed.group.ai_wanted - other.group.ai_wanted).days) + self.rng.random() * 40

        pool = self.order if len(self.order) <= 300 else self.rng.sample(self.order, 300)
        return [seed.group.id, *(name for name in sorted(pool, key=far) if name != seed.group.id)][:size]

    def _technician_days(self, size: int) -> list[str]:
        routes = [route for route, stops in self.state.routes.items() if stops]
        if not routes:
            return self._neighbours(size)
        names: list[str] = []
        for route in self.rng.sample(routes, min(2, len(routes))):
            names += [stop.group for stop in self.state.routes[route]]
        return list(dict.fromkeys(names))[: size + 2]
