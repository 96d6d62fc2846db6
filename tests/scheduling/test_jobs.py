"""Planning jobs: one open job a season, leases, lost workers, stopping."""

import os
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from herdplan import demo
from scheduling.models import PlanJob, PlanVersion, Season
from scheduling.services import claim_job, request_plan, run_job, run_jobs_once, stop_job
from tests.factories.demo import coordinator

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[2]


def ask(**values: object) -> PlanJob:
    """A job for the demo's season."""
    if not Season.objects.exists():
        demo.load()
    season = Season.objects.get(cooperative__slug="high-fork")
    return request_plan(member=coordinator(), season=season, now=timezone.now(), **values)  # type: ignore[arg-type]


def test_asking_twice_gives_one_job() -> None:
    assert ask(rounds=1).pk == ask(rounds=5).pk
    assert PlanJob.objects.count() == 1


def test_a_lost_workers_job_is_claimed_again_and_the_lost_ones_result_is_dropped() -> None:
    ask(rounds=0)
    first = claim_job(now=timezone.now())
    assert first is not None
    assert claim_job(now=timezone.now()) is None
    second = claim_job(now=timezone.now() + timedelta(minutes=2))
    assert second is not None
    assert second.pk == first.pk
    run_job(first, now=timezone.now)
    assert PlanVersion.objects.count() == 0
    run_job(second, now=timezone.now)
    assert PlanVersion.objects.count() == 1
    assert PlanJob.objects.get().state == "done"


def test_a_job_that_is_lost_three_times_fails_in_words() -> None:
    ask(rounds=0)
    now = timezone.now()
    for i in range(3):
        assert claim_job(now=now + timedelta(minutes=5 * i)) is not None
    assert claim_job(now=now + timedelta(minutes=20)) is None
    assert "cut off three times" in PlanJob.objects.get().message


def test_stopping_keeps_the_best_plan() -> None:
    ask(seconds=60)
    job = claim_job(now=timezone.now())
    assert job is not None
    stop_job(member=coordinator(), job=job, now=timezone.now())
    begun = time.monotonic()
    run_job(job, now=timezone.now)
    assert time.monotonic() - begun < 30
    job.refresh_from_db()
    assert (job.state, job.result is not None) == ("stopped", True)


def test_a_season_that_cannot_be_read_fails_with_the_groups_name() -> None:
    job = ask(rounds=0)
    entry = job.season.entries.select_related("group__herd__ranch").first()
    assert entry is not None
    type(entry).objects.filter(pk=entry.pk).update(protocol="gone")
    run_jobs_once(now=timezone.now)
    job.refresh_from_db()
    assert job.state == "failed"
    assert entry.group.name in job.message
    assert "protocol" in job.message


@pytest.mark.once
def test_a_killed_worker_loses_nothing(tmp_path: Path) -> None:
    environment = {**os.environ, "HERDPLAN_DATA": str(tmp_path), "HERDPLAN_DATABASE_URL": ""}

    def manage(*command: str) -> str:
        done = subprocess.run(
            [sys.executable, "manage.py", *command],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout

    manage("migrate", "--verbosity", "0")
    manage("demo")
    asking = (
        "from tests.factories.demo import coordinator\nfrom scheduling.models import *\nfrom scheduling.services import *\n"
        "from django.utils import timezone\n"
        "request_plan(member=coordinator(), season=Season.objects.get(cooperative__slug='high-fork'), now=timezone.now(), seconds=60)"
    )
    state = "from scheduling.models import *\nj = PlanJob.objects.get()\nprint(j.state, j.attempts, j.progress, PlanVersion.objects.count())"
    manage("shell", "--no-imports", "-c", asking)
    worker = subprocess.Popen([sys.executable, "manage.py", "run_jobs", "--once"], cwd=ROOT, env=environment)
    for _ in range(60):
        time.sleep(0.25)
        if manage("shell", "--no-imports", "-c", state).startswith("running"):
            break
    worker.send_signal(signal.SIGKILL)
    worker.wait()
    assert manage("shell", "--no-imports", "-c", state).split()[0] == "running"
    expire = "from scheduling.models import *\nPlanJob.objects.update(lease_until='2020-01-01T00:00Z', seconds=0.2)"
    manage("shell", "--no-imports", "-c", expire)
    manage("run_jobs", "--once")
    assert manage("shell", "--no-imports", "-c", state).split() == ["done", "2", "100", "1"]
