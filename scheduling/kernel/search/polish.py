"""Polishing: part of a season at a time, the best choice among the technician-days seen so far."""

from collections.abc import Callable, Collection, Iterable
from math import inf

from scheduling.kernel.search.model import Part
from scheduling.kernel.search.partition import Partition, assignment_of, is_plain
from scheduling.kernel.search.rounds import Search, Snapshot
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit

# About so many groups are in play at once.
PART = 200
# So often a stretch is tried, each time with the ranches whose chutes spoiled what was found left as they are.
_TRIES = 3
_LEAST_GAIN = 1e-3


class Polish:
    """Improves a search's state by set partitioning over the routes that it has seen, a stretch of days at a time."""

    def __init__(self, search: Search) -> None:
        self.search = search

    def all(self, going: Callable[[], bool], most: int = PART, seconds: Callable[[], float] = lambda: inf) -> None:
        """One pass over the season in overlapping stretches, while `going()`; `seconds()` is what the next may take at most."""
        seen = self.search.state.routes.seen()
        for groups in self.stretches(most):
            if not going():
                return
            chosen = in_play(self.search.state, groups, self.search.free_set)
            needs, still = self.search.model.needs, set[int]()
            for _ in range(_TRIES):
                met = improve(self.search, chosen, seen, seconds(), still) if chosen and going() else []
                if not met:
                    break
                still |= {needs[index].place for index in met}
                chosen = [index for index in chosen if needs[index].place not in still]

    def stretches(self, most: int) -> list[list[int]]:
        """The groups in order of AI day, cut into stretches that overlap by half."""
        state, needs = self.search.state, self.search.model.needs

        def day(index: int) -> int:
            item = state.placed[index]
            return item.ai_day if item is not None else needs[index].wanted

        ordered = sorted(self.search.free, key=lambda index: (day(index), index))
        if len(ordered) <= most:
            return [ordered]
        return [ordered[i : i + most] for i in range(0, len(ordered) - most // 2, most // 2)]


def in_play(state: State, groups: Iterable[int], free: frozenset[int]) -> list[int]:
    """Those of the groups that can be given anew."""
    return sorted(index for index in groups if index in free and _can_play(state, index))


def _can_play(state: State, index: int) -> bool:
    need, item = state.model.needs[index], state.placed[index]
    if not need.works or need.fixed or (item is not None and item.kept is not None):
        return False
    if need.group.needs_barn and len(state.model.season.barns) > 1:
        return False
    return len(need.works) == 1 or item is None or len(item.stops) == len(need.works)


def routes_in_play(
    state: State,
    groups: Iterable[int],
    seen: dict[tuple[int, int], list[Route]] | None = None,
    still: Collection[int] = (),
) -> list[tuple[int, Route]]:
    """Routes seen that hold the groups, and of all others just those who are on that technician-day now, who stay on it.

    The technician-days as they are come first. At the places `still` the others keep their very starts.
    """
    chosen = set(groups)
    seen = state.routes.seen() if seen is None else seen
    days = sorted({day for index in chosen for day in _days_of(state, index)})
    found: list[tuple[int, Route]] = []
    for day in days:
        for person in range(len(state.model.people)):
            key = day * state.width + person
            now = state.days.get(key)
            others = _others(now, chosen, still) if now is not None else {}
            if now is not None:
                found.append((key, now))
            found += [
                (key, route)
                for route in seen.get((person, day), ())
                if route is not now and _may_be(route, chosen, others)
            ]
    return found


def _others(route: Route, chosen: set[int], still: Collection[int]) -> dict[Visit, int]:
    """Visits of a technician-day that stay, with the starts that they must keep (-1: any)."""
    return {
        visit: start if visit.place in still else -1
        for visit, start in zip(route.visits, route.starts, strict=True)
        if visit.need.index not in chosen
    }


def _may_be(route: Route, chosen: set[int], others: dict[Visit, int]) -> bool:
    """Whether a technician-day may become this one: all the others stay, and whoever else comes is in play."""
    if not others:
        return all(is_plain(visit, chosen) for visit in route.visits)
    starts = dict(zip(route.visits, route.starts, strict=True))
    if any(visit not in starts or kept not in (-1, starts[visit]) for visit, kept in others.items()):
        return False
    return all(visit in others or is_plain(visit, chosen) for visit in route.visits)


def _days_of(state: State, index: int) -> Iterable[int]:
    """The season's days on which a technician may come for the group."""
    need = state.model.needs[index]
    near = (-1, 0, 1) if state.model.spills(need.place) else (0,)
    return (day + work.day + step for day in need.days for work in need.works for step in near)


def improve(
    search: Search,
    groups: list[int],
    seen: dict[tuple[int, int], list[Route]] | None = None,
    seconds: float = inf,
    still: Collection[int] = (),
) -> list[int]:
    """Give the groups' technician-days anew; the state stays as it was unless the plan became cheaper.

    Where it did not for the chute's sake, the groups that met others there: it may be tried again with their ranches `still`.
    """
    state = search.state
    chosen = set(groups)
    floor = max((item.moved for item in state.placed if item is not None and item.need.index not in chosen), default=0)
    partition = Partition(state, groups, routes_in_play(state, groups, seen, still), max(floor, state.floor))
    answer = partition.solve(seconds=seconds)
    if answer is None or answer.cost > partition.cost_now() - _LEAST_GAIN:
        return []
    snapshot = Snapshot(state)
    met = _apply(search, groups, answer.days, answer.stops)
    return [] if search.keep_if_cheaper(snapshot) else met


def _apply(
    search: Search, groups: list[int], days: dict[int, Route], stops: dict[int, list[tuple[int, Visit]]]
) -> list[int]:
    """Put the answer into the state; groups whose clock times collide go back where they fit best, and are returned."""
    state, needs = search.state, search.model.needs
    for index in groups:
        if state.placed[index] is not None:
            state.take(index)
    state.touched.clear()
    wrong = []
    for index in groups:
        item = assignment_of(state, needs[index], stops[index]) if stops.get(index) else None
        if item is None:
            wrong += [index] if stops.get(index) else []
            continue
        if needs[index].group.needs_barn and needs[index].works[0].part is Part.AI:
            item.barn = state.barn_for(
                needs[index],
                (item.ai_day + trip.day for trip in needs[index].sessions),
                len({p for p, _ in item.stops}),
            )
            if item.barn < 0:
                wrong.append(index)
                continue
        state.put(item, {})
    for key, route in days.items():
        rest = tuple(visit for visit in route.visits if visit.need.index not in wrong)
        state.set_day(
            key, route if len(rest) == len(route.visits) else state.routes.route(route.person, rest) if rest else None
        )
    state.forget()
    places = {visit.place for route in days.values() for visit in route.visits}
    met = untangle(search, places | {needs[index].place for index in groups})
    wrong += met
    for index in search.order:
        if state.placed[index] is None and (index in wrong or index in groups):
            search.insertion.insert(index)
    state.forget()
    return met


def untangle(search: Search, places: set[int]) -> list[int]:
    """Take out groups until the chutes of the ranches can be settled; returns them."""
    state, out = search.state, []
    for place in sorted(places):
        while state.settled(place) is None:
            index = max(
                (index for index in state.at_ranch[place] if state.placed[index] is not None),
                key=lambda index: (state.entangled(state.placed[index]), index in search.free, index),  # type: ignore[arg-type]
            )
            state.take(index)
            out.append(index)
    return out
