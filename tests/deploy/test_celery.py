"""Celery as a doorbell on a real Redis: the ring makes a waiting job run; a flushed Redis loses nothing."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import redis

ROOT = Path(__file__).resolve().parents[2]
URL = os.environ.get("HERDPLAN_TEST_REDIS_URL", "redis://127.0.0.1:6379/7")
ASK = """
from django.utils import timezone
from scheduling.models import Season
from scheduling.services import request_plan
from tests.factories.demo import coordinator
season = Season.objects.get(cooperative__slug="high-fork")
request_plan(member=coordinator(), season=season, now=timezone.now(), rounds=0)
"""
STATE = "from scheduling.models import PlanJob; print(sorted(PlanJob.objects.values_list('state', flat=True)))"
RING = "import herdplan.celery; from scheduling.tasks import ring_jobs; ring_jobs.delay()"


@pytest.fixture
def environment(tmp_path: Path) -> Iterator[dict[str, str]]:
    """A site of its own with Redis as broker and cache."""
    server = redis.Redis.from_url(URL)
    server.flushdb()
    kept = {name: value for name, value in os.environ.items() if name != "DJANGO_ALLOW_ASYNC_UNSAFE"}
    yield {**kept, "HERDPLAN_DATA": str(tmp_path), "HERDPLAN_DATABASE_URL": "", "HERDPLAN_REDIS_URL": URL}
    server.flushdb()


def manage(environment: dict[str, str], *command: str) -> str:
    """A command's output."""
    done = subprocess.run(
        [sys.executable, "manage.py", *command], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-1500:]
    return done.stdout.strip()


def shell(environment: dict[str, str], code: str) -> str:
    """What a piece of code prints."""
    return manage(environment, "shell", "--no-imports", "-c", code)


def wait_for(environment: dict[str, str], states: str) -> None:
    """Until the jobs are in these states."""
    for _ in range(40):
        if shell(environment, STATE) == states:
            return
        time.sleep(0.5)
    raise AssertionError(f"still {shell(environment, STATE)}, not {states}")


def test_a_ring_runs_what_waits_and_a_flushed_broker_loses_no_job(environment: dict[str, str]) -> None:
    manage(environment, "migrate", "--verbosity", "0")
    manage(environment, "demo")
    shell(environment, ASK)
    command = [
        sys.executable,
        "-m",
        "celery",
        "-A",
        "herdplan.celery",
        "worker",
        "--pool",
        "solo",
        "--loglevel",
        "WARNING",
    ]
    shell(environment, RING)
    redis.Redis.from_url(URL).flushdb()  # the ring is gone before anybody heard it
    worker = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        time.sleep(3)
        assert shell(environment, STATE) == "['queued']"
        shell(environment, RING)
        wait_for(environment, "['done']")
        shell(environment, ASK)
        shell(environment, RING)
        wait_for(environment, "['done', 'done']")
    finally:
        worker.terminate()
        worker.wait(timeout=20)


def test_sign_in_limits_count_in_redis_when_there_is_one(environment: dict[str, str]) -> None:
    assert shell(environment, "from django.core.cache import cache; cache.set('n', 1); print(cache.incr('n'))") == "2"
    assert redis.Redis.from_url(URL).dbsize() >= 1
