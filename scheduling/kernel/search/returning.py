"""Groups on another day than the plan that is kept go back to their own day wherever they fit it: by rule, not by price.

A date once given is a promise; who comes is not. So a group whose old day still admits a place, whoever comes and at whatever
hour, is put there however dear that is, with all others as they stand. Each that goes back leaves a place that another may
need for the same: the pass goes on until nobody can.
"""

from collections.abc import Mapping

from scheduling.kernel.plan import Plan
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.insertion import Insertion
from scheduling.kernel.search.keeping import adopt, wishes_of
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season


def send_home(insertion: Insertion, homes: Mapping[int, int]) -> set[int]:
    """Put groups back on their days (ordinals, by number) until no more go; returns those that went. No other day changes."""
    state = insertion.state
    state.forget()
    gone: set[int] = set()
    while True:
        away = [index for index in sorted(homes) if _is_away(insertion, index, homes[index])]
        went = {index for index in away if _goes(insertion, index, homes[index])}
        if not went:
            return gone
        gone |= went


def _is_away(insertion: Insertion, index: int, home: int) -> bool:
    item = insertion.state.placed[index]
    return item is not None and item.ai_day != home and home in insertion.state.model.needs[index].days


def _goes(insertion: Insertion, index: int, home: int) -> bool:
    """Whether the group went home; else the state is as before."""
    state = insertion.state
    state.touched.clear()
    state.take(index)
    earlier = set(state.touched)  # ranches where others start earlier now that the group is out
    for candidate in insertion.everywhere_on(state.model.needs[index], home):
        if not insertion.holds(candidate):
            continue
        mark = state.mark()
        state.put(candidate.item, candidate.days)
        if state.holds(earlier):
            state.forget()
            return True
        state.undo(mark)
    state.undo(0)
    return False


def returned(season: Season, before: Plan, after: Plan) -> Plan:
    """The plan with every group back on its day of the plan before where it has a place there, all others to the minute.

    `after` must keep the season's rules; where nobody goes back it is returned itself.
    """
    homes = {group.id: group.ai_day.toordinal() for group in before.groups}
    if all(homes.get(group.id) in (None, group.ai_day.toordinal()) for group in after.groups):
        return after
    model = Model(season)
    return returned_in(model, {model.index[name]: day for name, day in homes.items() if name in model.index}, after)


def returned_in(model: Model, homes: Mapping[int, int], after: Plan) -> Plan:
    """As `returned`, for a model of the season; `homes` are the days before (ordinals) by the group's number."""
    if all(homes.get(model.index[group.id]) in (None, group.ai_day.toordinal()) for group in after.groups):
        return after
    search = Search(model, after.seed, {})
    adopt(search.insertion, wishes_of(model, search.state, after))
    whole = all(search.state.placed[model.index[group.id]] is not None for group in after.groups)
    if not whole or not send_home(search.insertion, homes):
        return after
    return plan_of(search.state, seed=after.seed, rounds=after.rounds, bound=after.bound, unplaced=after.unplaced)
