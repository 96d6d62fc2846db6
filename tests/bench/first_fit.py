"""What a careful person does by hand: groups in the order of their wishes, the nearest day, the nearest technician."""

from scheduling.kernel.plan import Bound, Plan
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.explain import explain
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.placing import Crew, Placer
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Hands, Season


def first_fit(season: Season) -> Plan:
    """A plan by first fit, under the same rules as every other plan."""
    search = Search(Model(season), 1, {})
    state, people = search.state, season.technicians
    for group in sorted(season.groups, key=lambda item: (item.ai_wanted, item.id)):
        need = search.model.needs[group.id]
        alone = group.ai_by is Hands.RANCH or not need.protocol.ai_steps
        crews = [Crew((), need.ranch.ai_rate)] if alone else []
        crews += [Crew((name,), people[name].ai_rate) for name in search.model.crews[group.id] if not alone]
        tries = (Placer(state, need, day, crew).place() for day in need.days for crew in crews)
        placement = next((item for item in tries if item is not None), None)
        if placement is not None:
            state.put(placement)
    out = [group.id for group in season.groups if group.id not in state.placed]
    unplaced = tuple(explain(search, name, with_remedies=False) for name in out)
    return plan_of(state, seed=1, rounds=0, bound=Bound(None, "none"), unplaced=unplaced)
