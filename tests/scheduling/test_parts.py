"""Parts of a season: cut, planned by others, joined; in processes and through the database."""

import pickle
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from django.db import OperationalError, connection

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.parts import Part, PartResult, join, part_of, solve_part, stretches
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season, load_season
from scheduling.models import PlanJob, PlanPart
from scheduling.processes import ProcessHelpers
from scheduling.services.parts import WorkerHelpers, run_part_once, seal_of
from tests.factories.demo import published_demo
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols


def season_of(size: str, seed: int) -> Season:
    """A season of the benchmark's."""
    return load_season(season_document(size, seed), PROTOCOLS)


class Here:
    """A helper that works at once, in this process: what is planned is the same as elsewhere."""

    count = 2

    def __init__(self, lose: int = -1) -> None:
        self.lose, self.parts = lose, list[Part]()

    def start(self, parts: Sequence[Part]) -> "Here":
        """Through the pickle that processes and workers use."""
        self.parts = [pickle.loads(pickle.dumps(part)) for part in parts]  # noqa: S301 (our own, a line above)
        return self

    def done(self) -> bool:
        return True

    def results(self) -> list[PartResult | None]:
        return [None if i == self.lose else solve_part(part, time.process_time) for i, part in enumerate(self.parts)]

    def wait(self, seconds: float) -> None:
        raise AssertionError("nothing to wait for")


def test_stretches_hold_every_group_once_and_no_technician_day_twice() -> None:
    search = Search(Model(season_of("M", 3)), 1, {})
    search.first_plan()
    found = stretches(search, 3, 0.0)
    assert len(found) == 3
    groups = [index for item in found for index in item.groups]
    assert len(groups) == len(set(groups)) > 60
    for one, after in pairwise(found):
        assert one.spans[-1][1] < after.spans[0][0]
    for item in found:
        part = part_of(search, item, 1, Budget(rounds=5), 20.0)
        for group in part.season.groups:
            need = search.model.needs[search.model.index[group.id]]
            days = (part.days or {})[group.id]
            assert all(item.holds(day + work.day) for day in days for work in need.works)


def test_cuts_that_are_moved_leave_as_many_stretches_the_ends_of_the_season_in_one() -> None:
    search = Search(Model(season_of("M", 3)), 1, {})
    search.first_plan()
    ends, *others = stretches(search, 3, 0.5)
    assert [len(item.spans) for item in (ends, *others)] == [2, 1, 1]
    sizes = [len(item.groups) for item in (ends, *others)]
    assert max(sizes) < 2 * min(sizes)
    one, two = others
    assert ends.spans[0][1] + 1 == one.spans[0][0]
    assert one.spans[0][1] + 1 == two.spans[0][0]
    assert two.spans[0][1] + 1 == ends.spans[1][0]


def test_a_group_that_two_parts_did_not_leave_where_it_was_undoes_neither() -> None:
    """Found by tracing a large season: one group across the cut, and the work of both parts was thrown away."""
    search = Search(Model(season_of("M", 3)), 1, {})
    search.first_plan()
    before, found = search.state.cost(), stretches(search, 2, 0.0)
    parts = [part_of(search, item, 1, Budget(rounds=100), 20.0) for item in found]
    across = search.model.needs[(set(found[0].staying) & set(found[1].staying)).pop()].group.id
    first, second = (solve_part(part, None) for part in parts)
    groups = tuple(group for group in first.packed.groups if group.group != across)
    days = tuple(
        replace(day, visits=tuple(visit for visit in day.visits if visit[0] != across)) for day in first.packed.days
    )
    first = PartResult(replace(first.packed, groups=groups, days=days), first.rounds)
    assert join(search, list(zip(found, (first, second), strict=True)))
    assert search.state.is_whole()
    assert search.state.cost() < before


@pytest.mark.once
@pytest.mark.parametrize("lose", [-1, 0])
def test_a_large_season_planned_in_parts_breaks_no_rule_even_where_a_part_is_lost(lose: int) -> None:
    season = season_of("L", 2)
    alone = solve(season, seed=1, budget=Budget(rounds=0))
    plan = solve(season, seed=1, budget=Budget(seconds=6), clock=time.process_time, helpers=Here(lose))
    assert [item.text for item in check(season, plan).broken] == []
    assert plan.cost.total < alone.cost.total


@pytest.mark.once
def test_a_season_is_planned_by_processes_and_one_that_dies_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    season = season_of("M", 2)
    plan = solve(season, seed=1, budget=Budget(seconds=5), clock=time.monotonic, helpers=ProcessHelpers(2))
    assert [item.text for item in check(season, plan).broken] == []
    monkeypatch.setattr("scheduling.processes.sys.executable", "/bin/false")
    left = solve(season, seed=1, budget=Budget(seconds=3), clock=time.monotonic, helpers=ProcessHelpers(3))
    assert [item.text for item in check(season, left).broken] == []


class Given(Here):
    """Tells what it was given and whether it was ended, and searches only for somebody who waits for it."""

    def __init__(self, lose: int = -1) -> None:
        super().__init__(lose)
        self.ended = 0

    def results(self) -> list[PartResult | None]:
        self.ended += 1
        return super().results()


@pytest.mark.once
@pytest.mark.parametrize("lose", [-1, 0])
def test_somebody_searches_beside_a_proof_that_may_come_to_no_end(lose: int) -> None:
    """S seed 5 takes longer than two seconds to prove: with what was found beside the plan is better, without it as it was."""
    season = season_of("S", 5)
    alone = solve(season, seed=1, budget=Budget(seconds=2), clock=time.process_time)
    helpers = Given(lose)
    plan = solve(season, seed=1, budget=Budget(seconds=2), clock=time.process_time, helpers=helpers)
    assert [item.text for item in check(season, plan).broken] == []
    assert (len(helpers.parts), helpers.ended) == (1, 1)
    assert plan.bound.kind == alone.bound.kind == "none"
    assert plan.cost.total < alone.cost.total or lose == 0


def test_rounds_alone_ask_nobody_beside_a_proof() -> None:
    helpers = Given()
    solve(season_of("S", 1), seed=1, budget=Budget(rounds=100), helpers=helpers)
    assert (helpers.parts, helpers.ended) == ([], 0)


@pytest.mark.django_db(transaction=True)
def test_workers_take_parts_from_the_database(job: PlanJob) -> None:
    season = season_of("M", 4)
    stop = threading.Event()

    def work() -> None:
        while not stop.is_set():
            try:
                idle = not run_part_once()
            except OperationalError:  # a database in memory says "locked" at once, where a file and a server wait
                idle = True
            if idle:
                time.sleep(0.05)
        connection.close()

    worker = threading.Thread(target=work)
    worker.start()
    try:
        helpers = WorkerHelpers(job, 2, lambda: datetime.now(UTC))
        plan = solve(season, seed=1, budget=Budget(seconds=6), clock=time.monotonic, helpers=helpers)
    finally:
        stop.set()
        worker.join()
    assert [item.text for item in check(season, plan).broken] == []
    assert not PlanPart.objects.exists()


@pytest.mark.django_db
def test_a_part_without_our_seal_is_not_opened(job: PlanJob) -> None:
    payload = pickle.dumps({"not": "a part"})
    row = PlanPart.objects.create(job=job, number=0, given=payload, given_seal="0" * 64, made_at=datetime.now(UTC))
    assert run_part_once()
    row.refresh_from_db()
    assert row.state == "failed"
    assert seal_of(payload) != row.given_seal
    assert not run_part_once()


@pytest.fixture
def job() -> PlanJob:
    """A job that stands for the one that gives parts away."""
    season = published_demo()
    return PlanJob.objects.create(season=season, seed=1, seconds=5, state="running", created_at=datetime.now(UTC))
