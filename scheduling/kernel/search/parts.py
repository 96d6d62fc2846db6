"""Parts of a season that can be solved apart: stretches of days, or the whole season from another seed.

A technician-day belongs to one day, so that groups whose visits all lie in one stretch can be planned without those of the
next. Groups that reach across a cut stay where they are for that time; others may come before or after them on their
technician-days, whose windows leave room for it. What couples the parts still (a ranch's chute, a barn) is handed along as
taken, and tested when the parts are joined.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf
from typing import Protocol as Shape

from scheduling.kernel.search.budget import Budget
from scheduling.kernel.search.chute import Span, handled
from scheduling.kernel.search.collector import no_collector
from scheduling.kernel.search.cooling import Cooling
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.packing import Packed, PackedDay, learn, pack, pack_day, unpack, unpack_into
from scheduling.kernel.search.polish import untangle
from scheduling.kernel.search.rounds import Search, Snapshot
from scheduling.kernel.search.routes import Route
from scheduling.kernel.search.state import State, barn_days
from scheduling.kernel.season import Season

FAR = 10_000_000  # later than any day
_MOST_TOLD = 20_000


@dataclass(frozen=True)
class Part:
    """What somebody else needs to work on a part: plain values, to be pickled.

    `days`: the AI days that each group may have (ordinals; none: it stays where it is); `blocked`: spans in which a ranch's
    chute is taken; `barns`: (barn, day, ranch) taken; `floor`: the worst move of all other groups; `hottest`: a limit to the
    temperature.
    """

    season: Season
    days: Mapping[str, tuple[int, ...]] | None
    blocked: Mapping[str, tuple[Span, ...]]
    barns: tuple[tuple[int, int, str], ...]
    floor: int
    start: Packed
    seed: int
    budget: Budget
    hottest: float = inf


@dataclass(frozen=True)
class PartResult:
    """The best found for a part, further technician-days worth knowing, and the rounds it took."""

    packed: Packed
    rounds: int


class Waiting(Shape):
    """Work that was given away."""

    def done(self) -> bool:
        """Whether every part has come back or is lost."""
        ...

    def results(self) -> list[PartResult | None]:
        """What came back, in the order of the parts; None for a part that was lost. Ends what still runs."""
        ...


class Helpers(Shape):
    """Those who solve parts: processes of this machine, or workers of several."""

    count: int

    def start(self, parts: Sequence[Part]) -> Waiting:
        """Give parts away; returns at once."""
        ...

    def wait(self, seconds: float) -> None:
        """Let a moment pass."""
        ...


@no_collector()
def solve_part(part: Part, clock: Callable[[], float] | None) -> PartResult:
    """Work on a part until its budget is spent."""
    search = Search(Model(part.season), part.seed, {})
    state = search.state
    if part.days is not None:
        search.model.restrict(part.days)
        search.restrict()
    state.blocked = {search.model.place_of(ranch): spans for ranch, spans in part.blocked.items()}
    state.floor = part.floor
    for barn, day, ranch in part.barns:
        state.barn_days.setdefault((barn, day), []).append(search.model.place_of(ranch))
    unpack(state, part.start)
    untangle(search, set(range(len(state.at_ranch))))
    search.best = Snapshot(state)
    search.first_plan()
    cooling = Cooling(search, part.budget, clock)
    cooling.hottest = part.hottest
    cooling.run()
    more: dict[PackedDay, None] = {}
    for snapshot in search.bests:
        more.update(dict.fromkeys(pack_day(state, key, route) for key, route in snapshot.days.items()))
    if part.days is None:  # a whole season is small, and what another seed has seen is worth knowing
        more.update(dict.fromkeys(pack_day(state, key, route) for key, route in _seen(state)))
    return PartResult(replace(pack(state), more=tuple(more)), cooling.done)


def _seen(state: State) -> list[tuple[int, Route]]:
    """The technician-days seen with their keys, the cheapest for each visit first, not more than can be handed about."""
    rows = state.routes.seen().items()
    found = [(day * state.width + person, route) for (person, day), row in rows for route in row]
    found.sort(key=lambda item: item[1].cost / len(item[1].visits))
    return found[:_MOST_TOLD]


# -- cutting ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Stretch:
    """One or two spans of days (first and last ordinal), the groups to plan anew in them, and those that reach in and stay."""

    spans: tuple[Span, ...]
    groups: tuple[int, ...]
    staying: tuple[int, ...]

    def holds(self, day: int) -> bool:
        """Whether a day is one of the stretch's."""
        return any(first <= day <= last for first, last in self.spans)


WHOLE: tuple[Span, ...] = ((-FAR, FAR),)


def stretches(search: Search, count: int, shift: float) -> list[Stretch]:
    """The season in so many stretches with about as many groups each; `shift` (0 to 1) moves the cuts by that share of one.

    What a shift leaves of a stretch at either end of the season makes one stretch together. Groups without a technician's
    visit, and those with steps carried out, stay where they are.
    """
    state, needs = search.state, search.model.needs
    days = {i: _days(search, i) for i in range(len(needs)) if needs[i].works}
    movable = {i for i in search.free if i in days and not needs[i].fixed and not _is_kept(state, i)}
    ordered = sorted(min(days[i]) for i in movable)
    if not ordered:
        return []
    found = []
    for row in _spans(ordered, count, shift):
        holds = Stretch(row, (), ()).holds
        inside = {i for i, on in days.items() if any(map(holds, on))}
        groups = {i for i in inside & movable if all(map(holds, days[i]))}
        if groups:
            staying = {i for i in inside - groups if state.placed[i] is not None}
            found.append(Stretch(row, tuple(sorted(groups)), tuple(sorted(staying))))
    return found


def _spans(ordered: Sequence[int], count: int, shift: float) -> list[tuple[Span, ...]]:
    """The days of each stretch, given every group's first day in order."""
    size = len(ordered) / count
    places = [int((number + shift) * size) for number in range(1 if shift == 0 else 0, count)]
    cuts = sorted({ordered[min(len(ordered) - 1, place)] for place in places})
    spans = [(first, after - 1) for first, after in pairwise([-FAR, *cuts, FAR])]
    if shift and len(spans) > 2:
        return [(spans[0], spans[-1]), *((span,) for span in spans[1:-1])]
    return [(span,) for span in spans]


def _days(search: Search, index: int) -> list[int]:
    """The season's days on which technicians come for a group; where it is out, the days of its wish."""
    item, need = search.state.placed[index], search.model.needs[index]
    return (
        [visit.day for _, visit in item.stops] if item is not None else [need.wanted + work.day for work in need.works]
    )


def _is_kept(state: State, index: int) -> bool:
    item = state.placed[index]
    return item is not None and item.kept is not None


def part_of(search: Search, stretch: Stretch, seed: int, budget: Budget, hottest: float) -> Part:
    """The part that a stretch makes, all other groups staying where they are."""
    state, model = search.state, search.model
    mine = sorted({*stretch.groups, *stretch.staying})
    season = replace(model.season, groups=tuple(model.needs[index].group for index in mine))
    days: dict[str, tuple[int, ...]] = {model.needs[index].group.id: () for index in stretch.staying}
    for index in stretch.groups:
        need = model.needs[index]
        near = (-1, 0, 1) if model.spills(need.place) else (0,)  # the technician's day may be the one before or after
        inside = (
            day
            for day in need.days
            if all(stretch.holds(day + work.day + step) for work in need.works for step in near)
        )
        days[need.group.id] = tuple(inside)
    others = [item for item in state.placed if item is not None and item.need.index not in mine]
    barns = tuple((item.barn, day, item.need.ranch.id) for item in others if item.barn >= 0 for day in barn_days(item))
    floor = max((item.moved for item in others), default=0)
    return Part(season, days, _blocked(search, frozenset(mine)), barns, floor, pack(state, mine), seed, budget, hottest)


def _blocked(search: Search, mine: frozenset[int]) -> dict[str, tuple[Span, ...]]:
    """Where the chute is taken by groups outside, at ranches that have groups of the part."""
    state = search.state
    spans: dict[str, list[Span]] = {}
    for place in sorted({search.model.needs[index].place for index in mine}):
        items = [state.placed[index] for index in sorted(state.at_ranch[place])]
        outside = [item for item in items if item is not None and item.need.index not in mine]
        if not outside:
            continue
        together = state.settled(place) or {}  # with the part's own groups, so that these fit beside what is taken
        alone = [item for item in outside if item.need.index not in together]
        times = state.chute.settle([(item, state.starts(item)) for item in alone]) or ()
        clocks = {**together, **{item.need.index: clock for item, clock in zip(alone, times, strict=False)}}
        for item in outside:
            if item.need.index in clocks:
                taken = handled(state.visits, item, clocks[item.need.index], state.starts(item))
                spans.setdefault(item.need.ranch.id, []).extend(taken)
    return {ranch: tuple(sorted(rows)) for ranch, rows in spans.items()}


# -- joining ------------------------------------------------------------------------------------------------------
def join(search: Search, found: Sequence[tuple[Stretch, PartResult]]) -> bool:
    """Put parts' results in place of their groups; the state stays as it was unless the plan became cheaper."""
    state, needs = search.state, search.model.needs
    snapshot = Snapshot(state)
    places = set()
    for stretch, result in found:
        for index in (*stretch.groups, *_displaced(search, stretch, result)):
            if state.placed[index] is not None:
                state.take(index)
        names = frozenset(needs[index].group.id for index in stretch.groups)
        unpack_into(state, result.packed, names, stretch.holds)
        if not state.is_whole():  # a group that was to stay has gone with another part: this part does not fit any more
            search.restore(snapshot)
            return False
        places |= {needs[index].place for index in (*stretch.groups, *stretch.staying)}
    state.touched.clear()
    untangle(search, places)
    for index in search.order:
        if state.placed[index] is None:
            search.insertion.insert(index)
    state.forget()
    for _, result in found:
        learn(state, (*result.packed.days, *result.packed.more))
    if state.is_whole():
        return search.keep_if_cheaper(snapshot)
    search.restore(snapshot)
    return False


def _displaced(search: Search, stretch: Stretch, result: PartResult) -> list[int]:
    """Groups that should have stayed and did not: the chute did not hold with what the part knew of them."""
    found = {group.group: group for group in result.packed.groups}
    now = {group.group: group for group in pack(search.state, stretch.staying).groups}
    names = {index: search.model.needs[index].group.id for index in stretch.staying}
    return [index for index, name in names.items() if found.get(name) != now.get(name)]
