"""The rounds of the search: take some groups out, put them back better, keep what pays, again and again."""

import random
from collections import deque
from collections.abc import Iterable, Mapping
from math import inf, log

import numpy as np
import numpy.typing as npt

from scheduling.kernel.search.chute import Assignment
from scheduling.kernel.search.insertion import Insertion, Wish
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State

COLD = 2.0
FAR = 10_000_000  # later than any day
_BLINK = 0.01
_OUT_TRIED = 0.2  # how often groups that are left out are tried with others
_FIRST_NEAREST = 3
_REMEMBERED = 12
_NEIGHBOURS = 60
_ROUND_ABOUT = 12
# A day apart counts as so many km when neighbours are chosen.
_KM_PER_DAY = 6.0
_KM_NEVER = 300.0


def hot_for(rounds_per_group: float) -> float:
    """The temperature to begin a cooling with: the more rounds for each group, the hotter (measured on our own seasons)."""
    return min(200.0, max(20.0, 6.0 * rounds_per_group))


class Snapshot:
    """A state to come back to."""

    __slots__ = ("cost", "days", "placed")

    def __init__(self, state: State) -> None:
        self.placed: list[Assignment | None] = list(state.placed)
        self.days: dict[int, Route] = dict(state.days)
        self.cost = state.cost()


class Search:
    """Holds a state and improves it. Deterministic for a seed and a number of rounds."""

    def __init__(self, model: Model, seed: int, wishes: Mapping[int, Wish]) -> None:
        self.model = model
        self.rng = random.Random(seed)
        self.state = State(model)
        self.insertion = Insertion(self.state, wishes, self.rng)
        needs = model.needs
        self.order = sorted(range(len(needs)), key=self._rank)
        self.free = list(range(len(needs)))
        self.free_set = frozenset(self.free)
        self.around = self.free  # groups around which others are taken out
        self._near: dict[int, list[int]] = {}
        self._spread: list[
            npt.NDArray[np.int64]
        ] = []  # of the free groups: place, wanted day, first and last possible day
        self.best = Snapshot(self.state)
        self.bests: deque[Snapshot] = deque(maxlen=_REMEMBERED)

    def restrict(self) -> None:
        """After the model's days were cut down: groups that have one possible day stay in play, those with none do not."""
        self.free = [i for i in range(len(self.model.needs)) if self.model.needs[i].days]
        self.free_set = frozenset(self.free)
        self.around = self.free
        self._near, self._spread = {}, []
        self.order = sorted(self.free, key=self._rank)

    def _rank(self, index: int) -> tuple[bool, int, int, int]:
        """The hardest first: what was carried out gives way to nobody, then few days, then many head."""
        need = self.model.needs[index]
        return not need.fixed, len(need.days), -need.group.head, index

    # -- the first plan -------------------------------------------------------------------------------------------
    def first_plan(self) -> None:
        """Put in what is out, the hardest groups first; the nearest few technicians first, so that it is soon there."""
        nearest, price = self.insertion.nearest, self.model.season.weights.unplaced
        for few in (_FIRST_NEAREST, nearest):
            self.insertion.look_at(few)
            for index in self.order:
                if self.state.placed[index] is None:
                    most = inf if index in self.insertion.wishes else price
                    if not self.insertion.insert(index, most) and few == _FIRST_NEAREST:
                        self.insertion.insert_relayed(index)
        self.state.forget()
        if self.state.cost() < self.best.cost - 1e-9 or not any(self.best.placed):
            self.best = Snapshot(self.state)

    # -- rounds ---------------------------------------------------------------------------------------------------
    def improve(self, rounds: int, heat: float) -> int:
        """So many rounds at a temperature; returns them. The state ends where the last left it; `best` is the best seen."""
        if not self.free:
            return 0
        state, rng = self.state, self.rng
        self.insertion.blink = _BLINK
        current = state.cost()
        for _ in range(rounds):
            if not self._round(current - heat * log(1.0 - rng.random())):
                state.undo(0)
                continue
            state.forget()
            current = state.cost()
            if current < self.best.cost - 1e-6:
                self.best = Snapshot(state)
                self.bests.append(self.best)
        self.insertion.blink = 0.0
        return rounds

    def _round(self, limit: float) -> bool:
        """Take groups out and put them back; False where that costs more than the limit, or moves a group that has to stay.

        Given up as soon as that is clear: every group that is put back adds to the cost.
        """
        names = self._ruin()
        state, unplaced = self.state, self.model.season.weights.unplaced
        state.touched.clear()
        for index in names:
            if state.placed[index] is not None:
                state.take(index)
        names += self._untangle(names)
        if not self.free_set.issuperset(names):
            return False
        back = [index for index in self._arranged(names) if state.placed[index] is None]
        for number, index in enumerate(back):
            left = limit - state.cost() + unplaced * (len(back) - number)
            if left < 0 or (not self.insertion.insert(index, left) and left < unplaced):
                return False
        return state.cost() <= limit

    def _untangle(self, names: list[int]) -> list[int]:
        """Stops that moved up may meet other work in the chute: groups there are taken out, too."""
        state, more = self.state, list[int]()
        while state.touched:
            place = min(state.touched)
            state.touched.discard(place)
            if state.settled(place) is None:
                for index in list(state.at_ranch[place]):
                    item = state.placed[index]
                    if item is not None and state.entangled(item) and index not in names:
                        state.take(index)
                        more.append(index)
        return more

    def _arranged(self, names: list[int]) -> list[int]:
        """The order in which groups go back."""
        needs, kind = self.model.needs, self.rng.random()
        names = list(dict.fromkeys(names))
        self.rng.shuffle(names)
        if kind < 0.3:
            names.sort(key=lambda i: -needs[i].group.head)
        elif kind < 0.5:
            names.sort(key=lambda i: len(needs[i].days))
        elif kind < 0.6:
            names.sort(
                key=lambda i: (
                    -self.model.road(needs[i].place)[self.model.people[needs[i].able[0]].base][0]
                    if needs[i].able
                    else 0.0
                )
            )
        return names

    # -- what to take out -----------------------------------------------------------------------------------------
    def _ruin(self) -> list[int]:
        size = self.rng.randint(2, 10)
        out: list[int] = []
        if self.state.out and self.rng.random() < _OUT_TRIED:
            out = [index for index in self.free if self.state.placed[index] is None]
        kind = self.rng.random()
        if kind < 0.5 or not self.state.days:
            names = self._neighbours(size)
        elif kind < 0.85:
            names = self._technician_days()
        else:
            names = self.rng.sample(self.free, min(size, len(self.free)))
        return [*self.rng.sample(out, min(3, len(out))), *names]

    def _neighbours(self, size: int) -> list[int]:
        """A group and some that are near in place and time."""
        seed = self.rng.choice(self.around)
        wide = self.near_of(seed)[: size * 3]
        return [seed, *self.rng.sample(wide, min(size - 1, len(wide)))]

    def near_of(self, seed: int) -> list[int]:
        near = self._near.get(seed)
        if near is None:
            near = self._near[seed] = self._nearest(seed)
        return near

    def _nearest(self, seed: int) -> list[int]:
        """Groups by road and by days apart; those that can never share a day come last."""
        one = self.model.needs[seed]
        if not self._spread:
            needs = [self.model.needs[index] for index in self.free]
            ends = [(need.place, need.wanted, min(need.days, default=0), max(need.days, default=FAR)) for need in needs]
            self._spread = [np.array(column) for column in zip(*ends, strict=True)]
        place, wanted, first, last = self._spread
        road = np.array([km for km, _ in self.model.road(one.place)])
        apart = (first > max(one.days, default=FAR)) | (last < min(one.days, default=0))
        far = road[place] + _KM_PER_DAY * np.abs(wanted - one.wanted) + _KM_NEVER * apart
        order = np.argsort(far, kind="stable")[: _NEIGHBOURS + 1]
        return [index for index in (self.free[i] for i in order) if index != seed][:_NEIGHBOURS]

    def _technician_days(self) -> list[int]:
        """The groups of one to three technician-days that are near each other in place and time."""
        state, width = self.state, self.state.width
        seed, most = self.rng.choice(self.around), self.rng.randint(1, 3)
        near = self.near_of(seed)[:_ROUND_ABOUT]
        names: dict[int, None] = {}
        keys: set[int] = set()
        for index in (seed, *self.rng.sample(near, len(near))):
            item = state.placed[index]
            for person, visit in item.stops if item is not None else ():
                key = visit.day * width + person
                if key not in keys:
                    keys.add(key)
                    names.update(dict.fromkeys(other.need.index for other in state.days[key].visits))
                    break
            if len(keys) >= most:
                break
        return [index for index in names if index in self.free_set]

    # -- coming back ----------------------------------------------------------------------------------------------
    def keep_if_cheaper(self, snapshot: Snapshot) -> bool:
        """Keep the state where it is cheaper than the snapshot, else go back to it."""
        cost = self.state.cost()
        lost = any(item is not None and self.state.placed[i] is None for i, item in self._staying(snapshot))
        if lost or cost >= snapshot.cost - 1e-6:
            self.restore(snapshot)
            return False
        self.state.forget()
        if cost < self.best.cost - 1e-6:
            self.best = Snapshot(self.state)
        return True

    def _staying(self, snapshot: Snapshot) -> Iterable[tuple[int, Assignment | None]]:
        """The places in the snapshot of groups that are not in play."""
        return ((i, item) for i, item in enumerate(snapshot.placed) if i not in self.free_set)

    def restore(self, snapshot: Snapshot) -> None:
        """Make the state what it was."""
        state = self.state
        for index, item in enumerate(state.placed):
            if item is not None and snapshot.placed[index] is not item:
                state.take(index)
        put_back(state, snapshot, (i for i, item in enumerate(snapshot.placed) if item is not None))
        state.touched.clear()
        state.forget()


def put_back(state: State, snapshot: Snapshot, indices: Iterable[int]) -> None:
    """Place every group of the snapshot that is not placed, with the snapshot's technician-days."""
    for index in indices:
        item = snapshot.placed[index]
        if item is not None and state.placed[index] is None:
            state.put(item, {})
    for key in [key for key in state.days if key not in snapshot.days]:
        state.set_day(key, None)
    for key, route in snapshot.days.items():
        if state.days.get(key) is not route:
            state.set_day(key, route)
