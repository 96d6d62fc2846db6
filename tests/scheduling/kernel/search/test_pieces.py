import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.partition import Answer, Partition
from scheduling.kernel.search.pieces import pieces_of
from scheduling.kernel.search.polish import improve, in_play, routes_in_play
from scheduling.kernel.search.rounds import Search, Snapshot
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols


def begun(seed: int) -> Search:
    """A season of 120 groups on the way."""
    search = Search(Model(load_season(season_document("M", seed), PROTOCOLS)), 1, {})
    search.first_plan()
    search.improve(600, 20.0)
    search.restore(search.best)
    return search


def answered(search: Search) -> tuple[list[int], Answer]:
    chosen = in_play(search.state, search.free, search.free_set)
    answer = Partition(search.state, chosen, routes_in_play(search.state, chosen), 0).solve()
    assert answer is not None
    return chosen, answer


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_pieces_share_nothing_and_are_the_whole_answer_together(seed: int) -> None:
    search = begun(seed)
    state = search.state
    chosen, answer = answered(search)
    pieces = pieces_of(state, chosen, answer)
    assert len(pieces) > 1
    days = [key for piece in pieces for key in piece.days]
    groups = [index for piece in pieces for index in piece.groups]
    assert len(days) == len(set(days))
    assert len(groups) == len(set(groups))
    changed = set()
    for index in chosen:
        item = state.placed[index]
        if item is None or set(item.stops) != set(answer.stops.get(index, [])):
            changed.add(index)
    assert set(groups) == changed
    assert {key for key, route in answer.days.items() if state.days.get(key) is not route} <= set(days)
    for piece in pieces:  # whoever is on a piece's technician-day and changes, changes with it
        visits = {visit for route in piece.days.values() for visit in route.visits}
        assert {visit.need.index for visit in visits} & changed <= set(piece.groups)


def test_pieces_that_pay_are_kept_where_the_whole_answer_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    search = begun(1)
    kept, asked = search.keep_if_cheaper, []

    def refuse_the_first(snapshot: Snapshot) -> bool:
        asked.append(snapshot)
        if len(asked) > 1:
            return kept(snapshot)
        search.restore(snapshot)
        return False

    monkeypatch.setattr(search, "keep_if_cheaper", refuse_the_first)
    before = search.state.cost()
    assert improve(search, in_play(search.state, search.free, search.free_set))
    assert len(asked) > 2
    assert search.state.cost() < before
    assert search.state.is_whole()
    assert search.state.holds(range(len(search.state.at_ranch)))
