"""The program of days gone through day by day, against the same program solved by HiGHS with one column forced in."""

from math import inf
from typing import Any

import numpy as np
import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.search.exact import day_by_day
from scheduling.kernel.search.exact.beyond import Beyond
from scheduling.kernel.search.exact.program import Ints, Program
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.routes import Routes
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
ROOM = 100.0


def bound_of(seed: int, groups: int = 7, **weights: float) -> Beyond:
    """The bound of some groups of S: one treated by technicians with a second PG, one with AI split over two days."""
    document: dict[str, Any] = season_document("S", seed)
    document["groups"] = document["groups"][:groups]
    document["weights"] = weights
    document["groups"][0].update(
        animal_class="cow", protocol="cow_5d_cosynch_insert", steps_by="technician", ai_by="technician"
    )
    document["groups"][1].update(animal_class="cow", protocol="cow_7d_cosynch_insert_split", ai_by="technician")
    model = Model(load_season(document, PROTOCOLS))
    return Beyond(model, Routes(model), 10**6, lambda: inf)


def kept(bound: Beyond, worst: int) -> Ints:
    """The columns of plans in which no group moves further."""
    return np.flatnonzero(bound._moved <= worst)


def forced(bound: Beyond, keep: Ints, column: int) -> float:
    """What the cheapest choice with a column costs, by HiGHS."""
    program = Program()
    for number, cost in enumerate(bound.program.costs):
        low = 1.0 if number == column else bound.program.lows[number]
        program.column(cost, low, bound.program.highs[number], whole=bound.program.whole[number])
    for row in bound.program.rows:
        program.row(*row)
    result = program.minimise(keep, nodes=100_000)
    assert result.done or result.values is None
    return result.cost


@pytest.mark.parametrize("seed", [2, 5, 9, 14])
@pytest.mark.parametrize("unplaced", [3000.0, 800.0])
def test_no_choice_with_a_column_costs_less_than_its_paths(seed: int, unplaced: float) -> None:
    """Also where groups are left out because that is cheap."""
    bound, worst = bound_of(seed, unplaced=unplaced), 3
    keep = kept(bound, worst)
    relaxed = bound._relaxed(worst, keep, again=True)
    assert relaxed is not None
    idle = {day: -float(relaxed.duals[row]) for day, row in bound._once.items()}
    whole = bound.program.minimise(keep, nodes=100_000)
    room = whole.cost - relaxed.cost + ROOM
    found = bound._paths.near(relaxed.reduced, idle, room)
    assert found is not None
    least, through = found.least, found.through
    assert least <= whole.cost - relaxed.cost + 1e-3
    columns = [column for column in keep.tolist() if column in bound.sets]
    beside = [column for column in columns if column not in through]
    cheap = sorted(through, key=lambda column: (through[column], column))
    assert beside
    for column in cheap[:: max(1, len(cheap) // 25)]:
        assert forced(bound, keep, column) >= relaxed.cost + through[column] - 1e-3
    for column in beside[:: max(1, len(beside) // 25)]:
        assert forced(bound, keep, column) >= relaxed.cost + room - 1e-3
    taken = [column for column in columns if whole.values is not None and whole.values[column] > 0.5]
    assert all(through[column] <= whole.cost - relaxed.cost + 1e-3 for column in taken)
    # what the paths say is what the choice costs, where no column is at its upper end in the relaxation
    assert taken
    if (relaxed.reduced[keep] > -1e-6).all():
        assert least == min(through.values()) == pytest.approx(whole.cost - relaxed.cost, abs=1e-3)


@pytest.mark.parametrize("seed", [2, 5])
def test_where_there_is_no_choice_so_near_there_is_no_path(seed: int) -> None:
    bound, worst = bound_of(seed), 3
    relaxed = bound._relaxed(worst, kept(bound, worst), again=True)
    assert relaxed is not None
    cheapest = bound.program.minimise(kept(bound, worst), nodes=100_000).cost
    assert cheapest > relaxed.cost + 1
    assert len(bound.near(worst, cheapest - 0.5)) == 0
    assert len(bound.near(worst, cheapest + 5000)) > 0


@pytest.mark.parametrize("limit", ["_MOST_PAIRS", "_MOST_BITS"])
def test_where_there_are_too_many_paths_columns_are_left_by_the_relaxation(
    limit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(day_by_day, limit, 3)
    bound, worst = bound_of(5), 3
    relaxed = bound._relaxed(worst, kept(bound, worst), again=True)
    assert relaxed is not None
    found = bound._paths.near(relaxed.reduced, {}, ROOM)
    assert found is not None
    through = found.through
    assert (found.least, found.exact) == (0, False)
    assert all(through[column] == relaxed.reduced[column] for column in through)
    assert len(bound.near(worst, relaxed.cost + ROOM)) > 0
