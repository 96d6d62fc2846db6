"""What a careful person does by hand: groups in the order of their wishes, the nearest day, the nearest technician."""

from collections.abc import Iterator

from scheduling.kernel.plan import Bound, Plan
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.explain import explain
from scheduling.kernel.search.insertion import Candidate
from scheduling.kernel.search.model import Model, Need
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season


def first_fit(season: Season) -> Plan:
    """A plan by first fit, under the same rules as every other plan; a visit goes anywhere into the technician's day."""
    search = Search(Model(season), 1, {})
    insertion, state = search.insertion, search.state
    insertion.nearest = len(season.technicians)
    for need in sorted(search.model.needs, key=lambda item: (item.group.ai_wanted, item.index)):
        found = next((item for item in _in_order(search, need) if insertion.holds(item)), None)
        if found is not None:
            state.put(found.item, found.days)
    out = [need.index for need in search.model.needs if state.placed[need.index] is None]
    unplaced = tuple(explain(search, index, with_remedies=False) for index in out)
    return plan_of(state, seed=1, rounds=0, bound=Bound(None, "none"), unplaced=unplaced)


def _in_order(search: Search, need: Need) -> Iterator[Candidate]:
    """Ways to place a group: the nearest day first, on it the nearest technician for the first visit."""
    rank = {person: number for number, person in enumerate(need.able)}
    for day in need.days:
        found = list(search.insertion.on_day(need, day))
        yield from sorted(found, key=lambda item: rank[item.item.stops[0][0]] if item.item.stops else 0)
