"""Groups for which technicians come more than once, or not at all: visit by visit where each is cheapest."""

from collections.abc import Callable, Iterator
from math import inf

from scheduling.kernel.search.look import Candidate, Days, Look, Place, Stops
from scheduling.kernel.search.model import Need, Part
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.visits import Treatment, Visit

FAR = 1_000_000  # more than any number of days
Rest = tuple[float, Stops, Days]
# A way that is open still: its least cost, and what opens it into candidates and further ways.
Opening = tuple[float, Callable[[], Iterator["Opening | Candidate"]]]


class Several:
    """One group's ways by day: each opens into treatments and first technicians, each of those into a candidate.

    With a number of `days` no more are opened, and nothing that costs more than the second cheapest candidate so far:
    `left_out` tells whether anything was passed over. Without, every way is found.
    """

    def __init__(self, look: Look, need: Need, days: int = FAR, most: float = inf) -> None:
        self.look, self.need, self.days, self.most = look, need, days, most
        self.left_out = False
        self._best, self._limit = inf, inf
        self.state, self.visits = look.state, look.state.visits
        self._rests: dict[tuple[int, Treatment, float], Rest | None] = {}
        self._rows: dict[int, list[list[Place]]] = {}

    def day(self, i: int, fixed: float) -> Iterator[Opening]:
        """The day number `i`, whose own cost is `fixed`, where technicians can come for every work on it."""
        least = fixed + self.look.least(self.need, i, self.most - fixed)
        if least < inf:
            yield least, lambda: self._opened(i, fixed)

    def _opened(self, i: int, fixed: float) -> Iterator[Opening | Candidate]:
        if not self.days:
            self.left_out = True
            return iter(())
        self.days -= self.days < FAR
        return self.on_day(i, fixed)

    def _rows_of(self, i: int) -> list[list[Place]]:
        if i not in self._rows:
            self._rows[i] = [self.look.bounds(self.need, number, i) for number in range(len(self.need.works))]
        return self._rows[i]

    def on_day(self, i: int, fixed: float) -> Iterator[Opening | Candidate]:
        """What a day opens into: treatments and first technicians, or candidates where no technician comes for AI."""
        look, need = self.look, self.need
        day = need.days[i]
        barn = look.barn(need, day, 1)
        if barn is None:
            return
        treatments, rate = self.visits.treatments(need, day), self.state.model.own_rate(need)
        if not look.thorough and len(treatments) > 2:
            treatments = tuple(look.rng.sample(treatments, 2))
        for treatment in treatments if all(self._rows_of(i)) else ():
            if need.works and need.works[0].part is Part.AI:
                yield from self._firsts(i, treatment, fixed, barn)
            elif self.visits.roomy(need, day, rate):
                rest = None if self._too_dear(i, 0, fixed) else self._rest(i, treatment, rate, 0)
                if rest is not None:
                    yield self._found(
                        look.candidate(need, day, treatment, rate, rest[1], barn, rest[2], fixed + rest[0])
                    )

    def _found(self, candidate: Candidate) -> Candidate:
        if self.days == FAR:
            return candidate
        if candidate.cost < self._best:
            self._best, self._limit = candidate.cost, self._best
        elif candidate.cost < self._limit:
            self._limit = candidate.cost
        return candidate

    def _firsts(self, i: int, treatment: Treatment, fixed: float, barn: int) -> Iterator[Opening]:
        """The first session's technician sets the lots; each is tried."""
        rows = self._rows_of(i)
        others = fixed + sum(row[0][0] for row in rows[1:])
        for place in rows[0]:
            yield others + place[0], lambda place=place: self._with_first(i, treatment, place, fixed, barn)  # type: ignore[misc]

    def _with_first(self, i: int, treatment: Treatment, place: Place, fixed: float, barn: int) -> Iterator[Candidate]:
        look, need, person = self.look, self.need, place[2]
        if look.blink and look.rng.random() < look.blink:
            return
        day = need.days[i]
        rate = self.state.model.people[person].rate
        visit = look.visit(need, 0, day, treatment, 0.0, rate, place[1] // self.state.width)
        if visit is None:
            return
        first = look.added(person, visit, None)
        if first is None:
            return
        cost = fixed + first[0]
        pace = rate if len(self.visits.shape(need, rate).lots) > 1 else 0.0
        if self._too_dear(i, 1, cost):
            return
        if (i, treatment, pace) not in self._rests:  # on other days as a rule: worked out once, or once for each pace
            self._rests[i, treatment, pace] = self._rest(i, treatment, rate, 1)
        rest = self._rests[i, treatment, pace]
        if rest is not None and place[1] in rest[2]:
            rest = self._rest(i, treatment, rate, 1, {place[1]: first[1]})
        if rest is not None:
            stops = ((person, visit), *rest[1])
            days = {place[1]: first[1], **rest[2]}
            yield self._found(look.candidate(need, day, treatment, rate, stops, barn, days, cost + rest[0]))

    def _too_dear(self, i: int, first: int, cost: float) -> bool:
        """Whether the works from `first` on cannot make a candidate worth having, when the others cost so much."""
        dear = cost + sum(row[0][0] for row in self._rows_of(i)[first:]) >= self._limit
        self.left_out |= dear
        return dear

    def _rest(
        self, i: int, treatment: Treatment, crew_rate: float, first: int, days: Days | None = None
    ) -> Rest | None:
        numbers = range(first, len(self.need.works))
        return rest_of(self.look, self.need, i, treatment, crew_rate, numbers, days, self._rows_of(i))


def rest_of(
    look: Look,
    need: Need,
    i: int,
    treatment: Treatment,
    crew_rate: float,
    numbers: range | list[int],
    changed: Days | None,
    rows: list[list[Place]],
) -> Rest | None:
    """Visits for some of the need's works, each where it is cheapest; None where one fits nowhere."""
    days: Days = dict(changed) if changed else {}
    single = len(look.state.visits.shape(need, crew_rate).lots) == 1
    cost, stops = 0.0, []
    for number in numbers:
        pace = 0.0 if single and need.works[number].part is not Part.SERVICE else crew_rate
        best = _cheapest(look, need, number, need.days[i], treatment, pace, days, rows[number])
        if best is None:
            return None
        cost += best[0]
        days[best[2].day * look.state.width + best[1]] = best[3]
        stops.append((best[1], best[2]))
    return cost, tuple(stops), days


def _cheapest(
    look: Look, need: Need, number: int, day: int, treatment: Treatment, pace: float, days: Days, row: list[Place]
) -> tuple[float, int, Visit, Route] | None:
    """The cheapest of the places for one work: what it adds, technician, visit, the day's route."""
    best: tuple[float, int, Visit, Route] | None = None
    people, width = look.state.model.people, look.state.width
    made: dict[tuple[float, int], Visit | None] = {}
    for least, key, person in row:
        if best is not None and least >= best[0]:
            if not days:
                break
            if key not in days:
                continue
        how = (people[person].rate, key // width)
        if how not in made:
            made[how] = look.visit(need, number, day, treatment, pace, *how)
        visit = made[how]
        if visit is None:
            continue
        found = look.added(person, visit, days)
        if found is not None and (best is None or found[0] < best[0]):
            best = (found[0], person, visit, found[1])
    return best
