"""Treatment at the few minutes at which a technician from far can come to all of it; places that cost more than they are worth."""

from scheduling.kernel.checker import check
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document
from tests.factories.tight import PROTOCOLS, needless, search_at


def test_who_drives_for_hours_comes_to_treatment_and_ai() -> None:
    """S seed 8: T0 drives 162 minutes to G10, so that AI begins at 8:42 or later and treatment ends by 18:48: 16 minutes."""
    search = Search(Model(load_season(season_document("S", 8), PROTOCOLS)), 1, {})
    need = next(need for need in search.model.needs if need.group.id == "G10")
    far = next(person.index for person in search.model.people if person.technician.id == "T0")
    found = [way for day in need.days for way in search.insertion.everywhere_on(need, day)]
    assert any(search.insertion.holds(way) and {person for person, _ in way.item.stops} == {far} for way in found)


def test_a_group_that_costs_more_than_leaving_it_out_is_left_out_and_that_is_said() -> None:
    document = season_document("S", 12)
    season = load_season(document, PROTOCOLS)
    plan = solve(season, seed=1, budget=Budget(rounds=0))
    (left,) = [item for item in plan.unplaced if item.group == "G11"]
    assert [cause.kind for cause in left.causes] == ["price"]
    assert "costs 3,000" in left.causes[0].text
    assert needless(search_at(season, plan), left) == []
    document["weights"] = {**document.get("weights", {}), "unplaced": 30_000}
    dear = solve(load_season(document, PROTOCOLS), seed=1, budget=Budget(rounds=0))
    assert "G11" not in {item.group for item in dear.unplaced}
    assert not check(load_season(document, PROTOCOLS), dear).broken
