import gc
from collections.abc import Iterator
from threading import Event, Thread

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.search import Budget, Progress, solve
from scheduling.kernel.search.collector import no_collector
from scheduling.kernel.search.cooling import Cooling
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season, load_season
from tests.factories.seasons import season_document


@pytest.fixture
def season() -> Season:
    return load_season(season_document("S", 1), load_catalogue().protocols)


@pytest.fixture(autouse=True)
def collector_on() -> Iterator[None]:
    gc.enable()
    yield
    gc.enable()


def test_it_is_off_within_and_on_again_after() -> None:
    with no_collector():
        assert not gc.isenabled()
        with no_collector():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()


def test_it_stays_off_where_it_was_off() -> None:
    gc.disable()
    with no_collector():
        assert not gc.isenabled()
    assert not gc.isenabled()


def test_an_error_switches_it_on_again() -> None:
    with pytest.raises(ZeroDivisionError), no_collector():
        _ = 1 // 0
    assert gc.isenabled()


def test_of_two_threads_the_last_switches_it_on_again() -> None:
    entered, leave = Event(), Event()

    def search() -> None:
        with no_collector():
            entered.set()
            leave.wait(10)

    thread = Thread(target=search)
    with no_collector():
        thread.start()
        assert entered.wait(10)
    assert not gc.isenabled()
    leave.set()
    thread.join()
    assert gc.isenabled()


def test_solving_switches_it_off_and_leaves_it_on(season: Season) -> None:
    seen = []

    def look(_: Progress) -> None:
        seen.append(gc.isenabled())

    solve(season, seed=1, budget=Budget(rounds=50), progress=look)
    assert seen
    assert not any(seen)
    assert gc.isenabled()


def test_an_error_in_solving_leaves_it_on(season: Season) -> None:
    def fail(_: Progress) -> None:
        raise LookupError

    with pytest.raises(LookupError):
        solve(season, seed=1, budget=Budget(rounds=50), progress=fail)
    assert gc.isenabled()


def test_rounds_leave_nothing_behind_that_only_the_collector_could_clear(season: Season) -> None:
    """Else memory would grow with the rounds while it is off."""
    search = Search(Model(season), 1, {})
    search.first_plan()
    left = []
    for rounds in (100, 800):
        gc.collect()
        with no_collector():
            Cooling(search, Budget(rounds=rounds), None).run()
            left.append(gc.collect())
    assert left[1] <= left[0] + 100
