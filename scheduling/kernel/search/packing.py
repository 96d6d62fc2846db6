"""A state as plain values: to hand it to another process, or to a state of a changed season."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from scheduling.kernel.search.chute import Assignment, Kept
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Origin, Treatment, Visit


@dataclass(frozen=True)
class PackedGroup:
    """One group's place: who comes (technician, how the visit is made), and what a kept plan fixes."""

    group: str
    ai_day: int
    treatment: Treatment
    crew_rate: float
    barn: int
    change: float
    kept: Kept | None
    stops: tuple[tuple[str, Origin], ...]


@dataclass(frozen=True)
class PackedDay:
    """One technician-day: its visits in order."""

    technician: str
    day: int
    visits: tuple[tuple[str, Origin], ...]


@dataclass(frozen=True)
class Packed:
    """Places and technician-days; `more` are further technician-days worth knowing."""

    groups: tuple[PackedGroup, ...]
    days: tuple[PackedDay, ...]
    more: tuple[PackedDay, ...] = ()
    cost: float = 0.0


def pack(state: State, only: Iterable[int] | None = None) -> Packed:
    """A state's groups (or some of them, whose technician-days hold nobody else) and technician-days."""
    chosen = set(range(len(state.placed)) if only is None else only)
    groups = tuple(_group(state, item) for item in state.placed if item is not None and item.need.index in chosen)
    days = tuple(
        pack_day(state, key, state.days[key])
        for key in sorted(state.days)
        if any(v.need.index in chosen for v in state.days[key].visits)
    )
    return Packed(groups, days, (), state.cost())


def _group(state: State, item: Assignment) -> PackedGroup:
    names = state.model.people
    stops = tuple((names[person].technician.id, visit.origin) for person, visit in item.stops)
    return PackedGroup(
        item.need.group.id, item.ai_day, item.treatment, item.crew_rate, item.barn, item.change, item.kept, stops
    )


def pack_day(state: State, key: int, route: Route) -> PackedDay:
    """A technician-day as plain values."""
    visits = tuple((visit.need.group.id, visit.origin) for visit in route.visits)
    return PackedDay(state.model.people[key % state.width].technician.id, key // state.width, visits)


def unpack(state: State, packed: Packed, skip: frozenset[str] = frozenset()) -> bool:
    """Place what was packed, but for groups to skip, into a state in which none of it is placed.

    False where some of it does not fit; the rest is placed all the same.
    """
    model, whole = state.model, True
    made: dict[tuple[str, Origin], Visit] = {}
    items = []
    for group in packed.groups:
        if group.group in skip or group.group not in model.index:
            continue
        item = _assignment(state, group, made)
        if item is None:
            whole = False
        else:
            items.append(item)
    placed = {item.need.group.id for item in items}
    for day in packed.days:
        if day.technician not in model.number:
            continue
        visits = tuple(made[key] for key in day.visits if key in made and key[0] in placed)
        person = model.number[day.technician]
        route = state.routes.route(person, visits) if visits else None
        if visits and (route is None or day.day in model.people[person].days_off):
            whole = False
            placed -= {visit.need.group.id for visit in visits}
        elif route is not None:
            state.set_day(day.day * state.width + person, route)
    for item in items:
        state.put(item, {})
    state.forget()
    return whole


def unpack_into(state: State, packed: Packed, groups: frozenset[str], holds: Callable[[int], bool]) -> None:
    """Place the groups named, with the technician-days of a stretch as packed; groups that stay are on them already.

    Those that were to stay and do not stand there any more are left away.
    """
    made: dict[tuple[str, Origin], Visit] = {}
    items = [_assignment(state, group, made) for group in packed.groups if group.group in state.model.index]
    standing = {visit for item in state.placed if item is not None for _, visit in item.stops}
    for day in packed.days:
        if not holds(day.day):
            continue
        visits = tuple(made[key] for key in day.visits if key in made and (key[0] in groups or made[key] in standing))
        person = state.model.number[day.technician]
        route = state.routes.route(person, visits) if visits else None
        if route is not None:
            state.set_day(day.day * state.width + person, route)
    for item in items:
        if item is not None and item.need.group.id in groups:
            state.put(item, {})
    state.forget()


def _assignment(state: State, group: PackedGroup, made: dict[tuple[str, Origin], Visit]) -> Assignment | None:
    model = state.model
    need = model.needs[model.index[group.group]]
    stops = []
    for technician, origin in group.stops:
        visit = state.visits.again(need, origin) if technician in model.number else None
        if visit is None:
            return None
        made[group.group, origin] = visit
        stops.append((model.number[technician], visit))
    item = Assignment(need, group.ai_day, group.treatment, group.crew_rate, tuple(stops), group.kept, group.barn)
    item.change = group.change
    return item


def learn(state: State, days: Iterable[PackedDay]) -> None:
    """Work out technician-days that another search found, so that set partitioning knows them."""
    model = state.model
    for day in days:
        visits = []
        for group, origin in day.visits:
            visit = state.visits.again(model.needs[model.index[group]], origin) if group in model.index else None
            if visit is not None:
                visits.append(visit)
        if visits and len(visits) == len(day.visits) and day.technician in model.number:
            state.routes.route(model.number[day.technician], tuple(visits))
