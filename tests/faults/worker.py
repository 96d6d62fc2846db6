"""A real reminder process for the fault tests: `python -m tests.faults.worker fill|expected|loop`.

`loop` starts children that run `run_outbox` and starts another whenever one is killed. What a test wants to go wrong stands
in the environment: FAULT_CLOCK (a file with seconds to add to the clock), FAULT_KILL (send or note: where a child kills
itself now and then, before the journal or between journal and commit), FAULT_CHANCE, FAULT_LOCK_S (how long a statement
waits for a locked database).
"""

import ctypes
import json
import os
import random
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import django
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "herdplan.settings")
if __name__ == "__main__":
    if os.environ.get("FAULT_LOCK_S"):
        wait = float(os.environ["FAULT_LOCK_S"])
        database: dict[str, Any] = settings.DATABASES["default"]
        on_sqlite = "sqlite" in str(database["ENGINE"])
        options = {"timeout": wait} if on_sqlite else {"options": f"-c lock_timeout={int(wait * 1000)}"}
        database["OPTIONS"] = {**database.get("OPTIONS", {}), **options}
    django.setup()

from django.core.management import call_command
from django.utils import timezone

from accounts.models import Cooperative, User
from accounts.permissions import Role
from herdplan.reminders import clock, journal
from herdplan.reminders.channels import message_id
from herdplan.reminders.models import OutboxMessage, PersonSettings
from herdplan.reminders.services import outbox
from herdplan.reminders.services.published import load_plan
from herdplan.reminders.services.wanted import wanted
from scheduling.models import PlannedStep
from scheduling.services.catalogue import protocol_of
from tests.factories.people import (
    make_coop,
    make_entry,
    make_group,
    make_herd,
    make_person,
    make_ranch,
    make_season,
)

_DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG of Linux
_GRACE_S = 15.0


def fill(ranches: int, minutes: int) -> None:
    """A co-op of ranches with a rancher each, whose programme begins in `minutes`; nobody sleeps."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    coop = make_coop("north")
    season, protocol = make_season(coop), protocol_of("cow_7d_cosynch_insert")
    assert protocol is not None
    begins = timezone.now().replace(microsecond=0) + timedelta(minutes=minutes)
    rows = []
    for i in range(ranches):
        user = make_person(coop, Role.RANCHER, email=f"rancher{i}@north.example")
        PersonSettings.objects.create(user=user, channels=["email"])
        ranch = make_ranch(coop, f"Ranch {i}", slug=f"r-{i}")
        ranch.people.add(user)
        entry = make_entry(season, make_group(make_herd(ranch), name=f"Group {i}"))
        for step in protocol.steps:
            starts = begins + timedelta(days=step.day, seconds=i)
            rows.append(
                PlannedStep(
                    entry=entry, ranch=ranch, lot=0, key=step.key, starts=starts, ends=starts + timedelta(hours=2), head=60,
                    by="ranch", changed_at=timezone.now(),
                )
            )  # fmt: skip
    PlannedStep.objects.bulk_create(rows)


def expected() -> list[str]:
    """Message-IDs of every reminder that is due by now and of use, and of each person's message about the plan."""
    now, coop = clock.now(), Cooperative.objects.get()
    due = [message_id(item.key) for item in wanted(load_plan(coop, now)) if item.due <= now < item.expires]
    plan = OutboxMessage.objects.filter(notice__isnull=False).exclude(state="cancelled").exclude(purpose="call list")
    told = {user for user, _ in plan.values_list("user", "pk")}
    assert told == set(User.objects.values_list("pk", flat=True)), "somebody was not told of the plan at all"
    return due + [message_id(key) for key in plan.values_list("dedup_key", flat=True)]


def shift() -> timedelta:
    """How far the clock is wrong."""
    path = os.environ.get("FAULT_CLOCK", "")
    text = Path(path).read_text(encoding="ascii") if path and Path(path).exists() else ""
    return timedelta(seconds=float(text or 0))


def rig() -> None:
    """Shorten waits, open the clock's door, put in the point of failure."""
    real: Callable[[], datetime] = timezone.now
    clock.now = lambda: real() + shift()
    outbox.LEASE, outbox.SKEW = timedelta(seconds=2), timedelta(seconds=1)
    outbox._FIRST_WAIT = timedelta(seconds=0.2)
    where, chance = os.environ.get("FAULT_KILL", ""), float(os.environ.get("FAULT_CHANCE", "0"))
    note = journal.note

    def failing(key: str) -> None:
        lost = random.random() < chance
        if where == "send" and lost:
            _die()
        note(key)
        if where == "note" and lost:
            _die()

    journal.note = failing


def _die() -> None:
    with Path(os.environ["FAULT_LOG"]).open("a", encoding="ascii") as log:
        log.write("k\n")
    os.kill(os.getpid(), signal.SIGKILL)


def loop(children: int) -> None:
    """Keep so many children alive; say on stdout who was started. Ends with its standard input."""
    alive: set[int] = set()
    nursery = os.getpid()
    # What is raised while a process parts in two is swallowed by Python, or raised in the wrong one: only waiting is ended.
    _hear(False)
    threading.Thread(target=_end_with_stdin, args=(nursery,), daemon=True).start()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        while True:
            while len(alive) < children:
                alive.add(_child())
            _hear(True)
            gone, _ = os.wait()
            _hear(False)
            alive.discard(gone)
    finally:
        _end(alive)


def _hear(whether: bool) -> None:
    """Whether this thread and those it starts are told that somebody asks the process to end."""
    signal.pthread_sigmask(signal.SIG_UNBLOCK if whether else signal.SIG_BLOCK, {signal.SIGTERM})


def _end(alive: set[int]) -> None:
    """As a site is stopped: asked first, killed only where nothing happens."""
    for pid in alive:
        with suppress(ProcessLookupError):  # reaped at the moment we were stopped
            os.kill(pid, signal.SIGTERM)
    deadline = time.monotonic() + _GRACE_S
    for pid in alive:
        with suppress(ProcessLookupError, ChildProcessError):
            while os.waitpid(pid, os.WNOHANG) == (0, 0):
                if time.monotonic() > deadline:
                    os.kill(pid, signal.SIGKILL)
                time.sleep(0.02)


def _end_with_stdin(nursery: int) -> None:
    """The test that started us has gone, however it ended."""
    sys.stdin.read()
    os.kill(nursery, signal.SIGTERM)


def _child() -> int:
    pid = os.fork()
    if pid:
        print(pid, flush=True)
        return pid
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    _hear(True)
    ctypes.CDLL(None).prctl(_DIE_WITH_PARENT, signal.SIGKILL)
    random.seed(os.getpid())
    try:
        call_command("run_outbox", every=0.1)
    finally:
        os._exit(0)


if __name__ == "__main__":
    rig()
    command, *rest = sys.argv[1:]
    if command == "fill":
        fill(int(rest[0]), int(rest[1]))
    elif command == "loop":
        loop(int(rest[0]))
    else:
        print(json.dumps(expected()))
