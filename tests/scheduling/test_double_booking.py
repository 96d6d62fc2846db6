"""No technician in two places, whatever many processes try at once: on SQLite and on PostgreSQL."""

import os
import subprocess
import sys
import uuid
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import psycopg
import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from scheduling import double_booking
from scheduling.models import Booking
from tests.factories.people import (
    make_coop,
    make_entry,
    make_group,
    make_herd,
    make_ranch,
    make_season,
    make_technician,
)

ROOT = Path(__file__).resolve().parents[2]
RACERS, TRIES = 6, 60
SET_UP = """
from tests.factories.people import *
coop = make_coop()
group = make_group(make_herd(make_ranch(coop)))
make_entry(make_season(coop), group)
for _ in range(3): make_technician(coop)
"""
READ = """
from scheduling.models import Booking
for row in Booking.objects.order_by("technician", "busy_starts"):
    print(row.technician_id, row.busy_starts.timestamp(), row.busy_ends.timestamp())
"""


@pytest.fixture(params=["sqlite", "postgresql"])
def surroundings(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[dict[str, str]]:
    """The environment of processes that share one fresh database."""
    environment = {**os.environ, "HERDPLAN_DATA": str(tmp_path), "HERDPLAN_DATABASE_URL": ""}
    if request.param == "sqlite":
        yield environment
        return
    server = os.environ.get("HERDPLAN_TEST_POSTGRES_URL", "postgresql://postgres@127.0.0.1:5432/postgres")
    name = f"race_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server, autocommit=True) as admin:
        admin.execute(f'CREATE DATABASE "{name}"')
        try:
            yield {**environment, "HERDPLAN_DATABASE_URL": f"{server.rsplit('/', 1)[0]}/{name}"}
        finally:
            admin.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def manage(environment: dict[str, str], *command: str) -> str:
    """A command's output."""
    done = subprocess.run(
        [sys.executable, "manage.py", *command], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


@pytest.mark.once
def test_racing_processes_never_overlap(surroundings: dict[str, str]) -> None:
    manage(surroundings, "migrate", "--verbosity", "0")
    manage(surroundings, "shell", "--no-imports", "-c", SET_UP)
    racers = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.scheduling.race", str(seed), str(TRIES)],
            cwd=ROOT,
            env=surroundings,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for seed in range(RACERS)
    ]
    counts = []
    for racer in racers:
        out, err = racer.communicate(timeout=120)
        assert racer.returncode == 0, err[-2000:]
        counts.append([int(word) for word in out.split()])
    accepted, refused = (sum(column) for column in zip(*counts, strict=True))
    rows = [line.split() for line in manage(surroundings, "shell", "--no-imports", "-c", READ).splitlines()]
    assert (accepted + refused, len(rows)) == (RACERS * TRIES, accepted)
    assert accepted > 20
    assert refused > 20
    overlaps = [1 for one, other in pairwise(rows) if one[0] == other[0] and float(other[1]) < float(one[2])]
    assert overlaps == []


@pytest.mark.django_db
def test_the_rule_is_installed_and_survives_a_second_installation() -> None:
    assert double_booking.is_installed(connection)
    double_booking.install(connection)
    assert double_booking.is_installed(connection)


@pytest.mark.django_db
def test_a_cancelled_booking_blocks_nobody_and_is_held_back_when_confirmed_again() -> None:
    coop = make_coop()
    entry = make_entry(make_season(coop), make_group(make_herd(make_ranch(coop))))
    person, now = make_technician(coop), timezone.now()

    def book(step: str, status: str) -> Booking:
        return Booking.objects.create(
            entry=entry,
            technician=person,
            lot=0,
            step=step,
            starts=now,
            ends=now + timedelta(hours=1),
            busy_starts=now,
            busy_ends=now + timedelta(hours=1),
            head=1,
            status=status,
            changed_at=now,
        )

    book("ai", "confirmed")
    cancelled = book("pg", "cancelled")
    cancelled.status = "confirmed"
    with pytest.raises(DatabaseError, match="technician"), transaction.atomic():
        cancelled.save()
    cancelled.starts = cancelled.busy_starts = now + timedelta(hours=1)
    cancelled.ends = cancelled.busy_ends = now + timedelta(hours=2)
    cancelled.save()
    assert Booking.objects.filter(status="confirmed").count() == 2
