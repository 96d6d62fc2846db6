"""A season that is given whole to somebody else, from another seed."""

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.search.budget import Budget
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.packing import Packed, learn
from scheduling.kernel.search.parts import Part, PartResult, solve_part
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document

SEASON = load_season(season_document("M", 1), load_catalogue().protocols)


def solved(seed: int) -> PartResult:
    return solve_part(Part(SEASON, None, {}, (), 0, Packed((), ()), seed, Budget(rounds=300)), None)


def test_it_begins_from_nothing_and_tells_what_it_has_seen_beyond_its_plan() -> None:
    result = solved(7)
    assert result.rounds == 300
    assert len(result.packed.groups) > 100
    assert len(result.packed.more) > 10 * len(result.packed.days)
    state = Search(Model(SEASON), 1, {}).state
    learn(state, result.packed.more)
    known = {
        (state.model.people[person].technician.id, day, frozenset((v.need.group.id, v.origin) for v in route.visits))
        for (person, day), row in state.routes.seen().items()
        for route in row
    }
    assert {(day.technician, day.day, frozenset(day.visits)) for day in result.packed.more} <= known


def test_the_same_seed_and_rounds_tell_the_same() -> None:
    assert solved(7) == solved(7)
    assert solved(7).packed != solved(8).packed
