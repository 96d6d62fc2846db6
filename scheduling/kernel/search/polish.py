"""Polishing: part of a season at a time, the best choice among the technician-days seen so far."""

from collections.abc import Callable, Iterable
from math import inf

from scheduling.kernel.search.model import Part
from scheduling.kernel.search.partition import COLUMNS, Answer, Partition, assignment_of, is_plain
from scheduling.kernel.search.pieces import pieces_of
from scheduling.kernel.search.rounds import Search, Snapshot
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit

# About so many groups are in play at once, to begin with.
PART = 200
# In what many coolings have seen, better plans lie hidden beyond the cheapest by reduced cost: there so many routes for each
# group may be chosen, of fewer groups at once (measured).
WIDE = 4 * COLUMNS
_FEWEST, _ROUTES = 60, 4_800
_LEAST_GAIN = 1e-3

# Routes by technician and day.
Seen = dict[tuple[int, int], list[Route]]


class Polish:
    """Improves a search's state by set partitioning over the routes that it has seen, a stretch of days at a time."""

    def __init__(self, search: Search) -> None:
        self.search = search

    def all(
        self,
        going: Callable[[], bool],
        most: int = PART,
        seconds: Callable[[], float] = lambda: inf,
        columns: int = COLUMNS,
        *,
        across: bool = False,
    ) -> bool:
        """One pass over the season in overlapping stretches, while `going()`; whether the plan became cheaper.

        `seconds()` is what the next stretch may take at most, `columns` how many routes for each group may be chosen,
        `across` cuts stretches of country instead of days.
        """
        seen, cheaper = self.search.state.routes.seen(), False
        for groups in self.stretches(min(most, max(_FEWEST, _ROUTES // columns)), across=across):
            if not going():
                break
            chosen = in_play(self.search.state, groups, self.search.free_set)
            cheaper |= bool(chosen) and self.improve(chosen, seen, seconds(), columns)
        return cheaper

    def improve(self, groups: list[int], seen: Seen, seconds: float, columns: int) -> bool:
        """Give the groups' technician-days anew; the state stays as it was unless the plan became cheaper. Whether it did.

        Where the chute spoils the answer as a whole, those of its pieces are kept that pay by themselves.
        """
        search, state, chosen = self.search, self.search.state, set(groups)
        floor = max(
            (item.moved for item in state.placed if item is not None and item.need.index not in chosen), default=0
        )
        partition = Partition(state, groups, routes_in_play(state, groups, seen), max(floor, state.floor))
        answer = partition.solve(seconds=seconds, columns=columns)
        if answer is None or answer.cost > partition.cost_now() - _LEAST_GAIN:
            return False
        snapshot = Snapshot(state)
        _apply(search, groups, answer.days, answer.stops)
        return search.keep_if_cheaper(snapshot) or _piecewise(search, groups, answer)

    def stretches(self, most: int, *, across: bool = False) -> list[list[int]]:
        """The groups in order of AI day (or across the country), cut into stretches that overlap by half."""
        state, needs = self.search.state, self.search.model.needs

        def place(index: int) -> float:
            item, ranch = state.placed[index], needs[index].ranch
            if across:
                return ranch.lat + ranch.lon
            return item.ai_day if item is not None else needs[index].wanted

        ordered = sorted(self.search.free, key=lambda index: (place(index), index))
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
    seen: Seen | None = None,
) -> list[tuple[int, Route]]:
    """Routes seen that hold the groups, and of all others just those who are on that technician-day now, who stay on it.

    The technician-days as they are come first.
    """
    chosen = set(groups)
    seen = state.routes.seen() if seen is None else seen
    days = sorted({day for index in chosen for day in _days_of(state, index)})
    found: list[tuple[int, Route]] = []
    for day in days:
        for person in range(len(state.model.people)):
            key = day * state.width + person
            now = state.days.get(key)
            others = _others(now, chosen) if now is not None else set()
            if now is not None:
                found.append((key, now))
            found += [
                (key, route)
                for route in seen.get((person, day), ())
                if route is not now and _may_be(route, chosen, others)
            ]
    return found


def _others(route: Route, chosen: set[int]) -> set[Visit]:
    """Visits of a technician-day that stay."""
    return {visit for visit in route.visits if visit.need.index not in chosen}


def _may_be(route: Route, chosen: set[int], others: set[Visit]) -> bool:
    """Whether a technician-day may become this one: all the others stay, and whoever else comes is in play."""
    return others.issubset(route.visits) and all(visit in others or is_plain(visit, chosen) for visit in route.visits)


def _days_of(state: State, index: int) -> Iterable[int]:
    """The season's days on which a technician may come for the group."""
    need = state.model.needs[index]
    near = (-1, 0, 1) if state.model.spills(need.place) else (0,)
    return (day + work.day + step for day in need.days for work in need.works for step in near)


def improve(search: Search, groups: list[int]) -> bool:
    """Give the groups' technician-days anew; the state stays as it was unless the plan became cheaper. Whether it did."""
    return Polish(search).improve(groups, search.state.routes.seen(), inf, COLUMNS)


def _piecewise(search: Search, groups: list[int], answer: Answer) -> bool:
    """Keep those pieces of an answer that make the plan cheaper; whether there was one."""
    state, before, cheaper = search.state, dict(search.state.days), False
    for piece in pieces_of(state, groups, answer):
        if any(state.days.get(key) is not before.get(key) for key in piece.days):
            continue  # a group that an earlier piece could not place as it should went there
        snapshot = Snapshot(state)
        _apply(search, piece.groups, piece.days, answer.stops)
        cheaper |= search.keep_if_cheaper(snapshot)
    return cheaper


def _apply(
    search: Search, groups: list[int], days: dict[int, Route], stops: dict[int, list[tuple[int, Visit]]]
) -> None:
    """Put the answer into the state; groups whose clock times collide go back where they fit best."""
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
    wrong += untangle(search, places | {needs[index].place for index in groups})
    for index in search.order:
        if state.placed[index] is None and (index in wrong or index in groups):
            search.insertion.insert(index)
    state.forget()


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
