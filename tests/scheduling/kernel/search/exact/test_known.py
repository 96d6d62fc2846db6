"""Half hours of a technician's day without a program: what is said of them is what the program says."""

from collections import Counter
from collections.abc import Sequence
from itertools import count
from math import inf

import pytest

from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.exact import hours
from scheduling.kernel.search.exact.in_turn import over_by_noon
from scheduling.kernel.search.exact.known import Known
from scheduling.kernel.search.exact.stays import Day
from scheduling.kernel.search.exact.walks import Walk
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document
from tests.scheduling.kernel.search.exact.test_hours import PROTOCOLS


class Asked:
    """Every day by itself that a proof asks for, with what the program says and what is said without it."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, float | None, bool]] = []

    def alone(self, day: Day, walk: Walk) -> float:
        """In place of the proof's own."""
        known, by_noon = day.ways.known.alone(day.mask, walk), over_by_noon(day, walk)
        cost = hours._Hours([day], [walk]).least()
        self.rows.append((cost, known, by_noon))
        day.ways.known.put_alone(day.mask, walk, cost)
        return cost


@pytest.mark.parametrize("seed", [11, 14])
def test_what_is_known_without_a_program_is_what_the_program_says(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = Asked()
    monkeypatch.setattr(hours, "_alone", asked.alone)
    looks = count()  # seconds that do not depend on the machine: each look at the clock is one
    season = load_season(season_document("S", seed), PROTOCOLS)
    solve(season, seed=1, budget=Budget(seconds=4000), clock=lambda: float(next(looks)))
    said = Counter((known, by_noon) for _, known, by_noon in asked.rows)
    for cost, known, by_noon in asked.rows:
        assert known is None or cost == pytest.approx(known, abs=1e-6)
        assert not by_noon or cost == pytest.approx(0, abs=1e-6)
    assert min(said[0.0, True] + said[0.0, False], said[inf, False], said[None, True], said[None, False]) > 0


def of(known: Known, rows: Sequence[tuple[int, Walk]]) -> list[float | None]:
    """What is told of days."""
    return [known.alone(mask, walk) for mask, walk in rows]


def test_less_to_do_asks_for_no_more_half_hours_and_more_to_do_finds_no_more_room() -> None:
    known = Known()
    known.put_alone(0b0111, (4, 2, 5), 0.0)
    known.put_alone(0b0011, (4, 7), inf)
    known.put_alone(0b1000, (1,), 6.0)
    less = [(0b0111, (4, 2, 5)), (0b0101, (4, 5)), (0b0001, (4, 2))]
    assert of(known, less) == [0.0, 0.0, 0.0]
    others = [(0b1001, (4, 5)), (0b0101, (5, 4)), (0b0001, (4, 2, 4)), (0b1000, (1,))]
    assert of(known, others) == [None] * 4
    more = [(0b0011, (4, 7)), (0b1011, (4, 9, 7)), (0b0111, (4, 9, 4, 7))]
    assert of(known, more) == [inf, inf, inf]
    assert of(known, [(0b1011, (7, 9, 4)), (0b0001, (4, 7))]) == [None, None]
