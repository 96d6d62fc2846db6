"""Solving a season within a budget."""

from collections.abc import Callable
from dataclasses import dataclass

from scheduling.kernel.plan import Bound, Plan
from scheduling.kernel.search.build import placement_of, plan_of
from scheduling.kernel.search.explain import explain
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search, Wish
from scheduling.kernel.search.state import Placement
from scheduling.kernel.season import Season
from scheduling.kernel.sessions import session_head

_EXPLAINED = 40


@dataclass(frozen=True, slots=True)
class Budget:
    """How long to search: a number of rounds (the same plan every time), or seconds on the caller's clock, or both."""

    rounds: int | None = None
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the search is: rounds done, share of the budget used (0 to 1), cost of the best plan so far, groups placed."""

    rounds: int
    share: float
    best_cost: float
    placed: int


def solve(
    season: Season,
    *,
    seed: int,
    budget: Budget,
    keep: Plan | None = None,
    clock: Callable[[], float] | None = None,
    progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan:
    """Plan a season. Always returns a plan; groups that fit nowhere are in `unplaced` with causes.

    With rounds alone the same season and seed give the same plan. `clock` counts seconds and is needed for a budget of
    seconds. `keep` is an earlier plan: what still fits of it stays, and changing it costs.
    """
    model = Model(season)
    search = Search(model, seed, _wishes(keep))
    if keep is not None:
        _adopt(search, keep)
    search.first_plan()
    begun = clock() if clock else 0.0

    def used(done: int) -> float:
        by_rounds = done / budget.rounds if budget.rounds else 0.0
        by_clock = (clock() - begun) / budget.seconds if clock and budget.seconds else 0.0
        return max(by_rounds, by_clock)

    def going(done: int) -> bool:
        if (budget.rounds is None and (clock is None or budget.seconds is None)) or budget.rounds == 0:
            return False
        return used(done) < 1 and not (should_stop is not None and should_stop())

    def told(done: int, best: float) -> None:
        if progress is not None:
            progress(Progress(done, min(1.0, used(done)), best, len(search.state.placed)))

    told(0, search.cost())
    done = search.improve(going, told, used)
    search.blink = 0.0
    search.first_plan()
    out = [group.id for group in season.groups if group.id not in search.state.placed]
    unplaced = tuple(explain(search, name, with_remedies=i < _EXPLAINED) for i, name in enumerate(out))
    return plan_of(search.state, seed=seed, rounds=done, bound=Bound(None, "none"), unplaced=unplaced)


def _wishes(keep: Plan | None) -> dict[str, Wish]:
    if keep is None:
        return {}
    people: dict[str, set[str]] = {}
    for visit in keep.visits:
        people.setdefault(visit.group, set()).add(visit.technician)
    return {group.id: Wish(group.ai_day, frozenset(people.get(group.id, ()))) for group in keep.groups}


def _adopt(search: Search, keep: Plan) -> None:
    """Take over every group of the earlier plan that still fits beside those taken over before it."""
    for group in keep.groups:
        placement = placement_of(search.model, keep, group)
        if placement is not None and _still_fits(search, placement):
            search.state.put(placement)


def _still_fits(search: Search, placement: Placement) -> bool:
    """Whether a placement keeps every rule that a changed season can have touched."""
    model, state = search.model, search.state
    need = model.needs[placement.group]
    group, ranch = need.group, need.ranch
    if placement.day not in need.days or sum(lot.head for lot in placement.lots) != group.head:
        return False
    starts = {key: start for key, start, _ in placement.lots[0].spans}
    if any(abs(starts[key] - at) > 1 for key, at in need.fixed.items()):
        return False
    if any(not state.chute_free(ranch.id, begin, end) for begin, end in placement.chute):
        return False
    stops: dict[tuple[str, object], int] = {}
    for technician, stop in placement.stops:
        person = model.season.technicians[technician]
        if not group.skills <= person.skills or (stop.barn and stop.barn not in model.season.barns):
            return False
        day = state.route_of(technician, stop)[1]
        stops[technician, day] = stops.get((technician, day), 0) + stop.ai_head
        gaps = state.gaps(technician, day, stop.place, stop.end - stop.start, stops[technician, day])
        if not any(low <= stop.start <= high for low, high, _ in gaps):
            return False
        if stop.barn and state.barn_for(ranch.id, stop.start, stop.end, 1) != stop.barn:
            return False
    heads = {step.key: session_head(need.protocol, step, group.head) for step in need.protocol.ai_steps}
    return bool(placement.lots) and (group.ai_by.value == "ranch" or _heads_right(placement, heads))


def _heads_right(placement: Placement, heads: dict[str, int]) -> bool:
    for key, head in heads.items():
        booked = sum(stop.head for _, stop in placement.stops if stop.key == key)
        if len(placement.lots) == 1 and booked != head:
            return False
    return True
