"""`python -m tests.bench.feeds`: what a feed costs, beside the icalendar library on the same feed, and 2,000 of them at once.

A site of its own with SQLite in a temporary folder; the polled one is gunicorn with two workers of four threads.
"""

import http.client
import os
import secrets
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import product
from pathlib import Path
from statistics import median, quantiles
from typing import Any

from tests import surroundings  # noqa: F401  # before Django reads its settings

os.environ["DJANGO_SETTINGS_MODULE"] = "herdplan.settings"
import django

django.setup()

import icalendar
from django.core.management import call_command
from django.db import connection
from django.db.models import Q
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.models import User
from accounts.permissions import Role
from herdplan.calendars import contents, feeds, writer
from herdplan.calendars.models import FeedToken
from herdplan.calendars.services import digest
from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlannedStep
from scheduling.services import bump_calendar
from tests.factories.people import make_coop, make_entry, make_group, make_herd, make_person, make_ranch, make_season
from tests.factories.people import make_technician as new_technician

EVENTS, FEEDS, AT_ONCE = 200, 2_000, 64


def main() -> None:
    """Make the rows, measure, print."""
    call_command("migrate", verbosity=0)
    call_command("createcachetable", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False)
    people = rows()
    tokens = feeds_of(people)
    one_feed(tokens[0])
    if "--no-poll" not in sys.argv:
        polled(tokens)


def rows() -> list[Technician]:
    """Twenty technicians with 200 stops each; each stop at one of forty ranches, at one of the five lots of its group."""
    coop = make_coop()
    season = make_season(coop)
    entries = [make_entry(season, make_group(make_herd(make_ranch(coop, f"Ranch {i}")))) for i in range(40)]
    people: list[Technician] = []
    start = datetime.now(UTC).replace(hour=12, minute=0, second=0, microsecond=0) + timedelta(days=1)
    for number in range(20):
        person = new_technician(coop, name=f"Technician {number}", user=make_person(coop, Role.TECHNICIAN))
        people.append(person)
        made = []
        for i in range(EVENTS):
            begins = start + timedelta(days=i // 2, hours=5 * (i % 2))
            made.append(
                Booking(
                    entry=entries[(number + i) % 40], technician=person, lot=i // 40, step="ai", head=80,
                    starts=begins, ends=begins + timedelta(hours=3), busy_starts=begins - timedelta(hours=1),
                    busy_ends=begins + timedelta(hours=3), km_before=61.5, changed_at=start - timedelta(days=30),
                )
            )  # fmt: skip
        Booking.objects.bulk_create(made)
    PlannedStep.objects.bulk_create(
        PlannedStep(
            entry=entry, ranch=entry.group.herd.ranch, lot=lot, key=key, starts=start, ends=start + timedelta(hours=3), head=80,
            by="ranch", changed_at=start - timedelta(days=30),
        )
        for entry, lot, key in product(entries, range(EVENTS // 40), ("gnrh1", "insert", "out", "pg", "ai", "gnrh2"))
    )  # fmt: skip
    return people


def feeds_of(people: list[Technician]) -> list[str]:
    """Two thousand addresses; every technician's has a hundred of them."""
    tokens = [secrets.token_urlsafe(32) for _ in range(FEEDS)]
    FeedToken.objects.bulk_create(
        FeedToken(
            cooperative_id=people[i % 20].cooperative_id,
            owner_id=people[i % 20].user_id or "",
            name=f"feed {i}",
            kind="technician",
            technician=people[i % 20],
            token_hash=digest(token),
        )
        for i, token in enumerate(tokens)
    )
    return tokens


def cpu_ms(work: Callable[[], object], times: int, before: Callable[[], object] = lambda: None) -> float:
    """Median CPU time of some runs, milliseconds."""
    taken = []
    for _ in range(times):
        before()
        started = time.process_time()
        work()
        taken.append((time.process_time() - started) * 1000)
    return median(taken)


def forget() -> None:
    """Throw away the fragments, and what is kept of texts and days that only rows bring."""
    for kept in (
        contents.stop_fragment, writer._place, writer._plain, writer._day, writer._hour, writer._standing,
    ):  # fmt: skip
        kept.cache_clear()


def one_feed(token: str) -> None:
    """One feed of 200 events: cold, from fragments, 304, and the library."""
    feed = FeedToken.objects.select_related("cooperative", "owner", "technician").get(token_hash=digest(token))
    now = datetime.now(UTC)

    def build() -> bytes:
        return feeds.build(feed, secrets.token_hex(8), now)[0]

    body = build()
    print(f"{EVENTS} events, {len(body)} bytes, {body.count(b'BEGIN:VEVENT')} in the feed")
    print(f"built cold, no fragment cached:       {cpu_ms(build, 30, forget):6.2f} ms of CPU")
    print(f"built from cached fragments:          {cpu_ms(build, 100):6.2f} ms of CPU")
    stops = Q(technician=feed.technician_id)
    query = cpu_ms(lambda: list(contents.stop_facts(stops)), 50)
    print(f"  of which the query over the rows:   {query:6.2f} ms of CPU")
    events = [contents.stop_event(facts, feeds.style_of(feed)) for facts in contents.stop_facts(stops)]
    print(f"icalendar, the same events (no query):{cpu_ms(lambda: by_the_library(events), 20):6.2f} ms of CPU")
    client, path = Client(SERVER_NAME="localhost"), f"/feeds/{token}.ics"
    tag = client.get(path)["ETag"]
    with CaptureQueriesContext(connection) as asked:
        assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    touched = sum("scheduling_booking" in item["sql"] or "plannedstep" in item["sql"] for item in asked)
    print(f"304: {len(asked)} queries, {touched} of them over bookings or steps")
    FeedToken.objects.filter(token_hash=digest(token)).update(fetches=0)
    feed.refresh_from_db()
    state = feeds.state_of(feed, now)
    print(
        f"  state and validators of a 304:      {cpu_ms(lambda: feeds.known(feed, feeds.state_of(feed, now)), 200):6.2f} ms of CPU"
    )
    assert state == feeds.state_of(feed, now)
    print(
        f"  the whole request through Django:   {cpu_ms(lambda: client.get(path, headers={'If-None-Match': tag}), 40):6.2f} ms of CPU"
    )


def by_the_library(events: list[Any]) -> Any:
    """The same events built and written by icalendar."""
    calendar = icalendar.Calendar()
    for name, value in (("prodid", "-//bench//EN"), ("version", "2.0")):
        calendar.add(name, value)
    for item in events:
        event = icalendar.Event()
        for name, value in (
            ("uid", item.uid), ("dtstamp", item.changed_at), ("last-modified", item.changed_at), ("sequence", item.sequence),
            ("dtstart", item.starts), ("dtend", item.ends), ("summary", item.summary), ("description", item.text),
            ("status", "CONFIRMED"), ("location", item.location), ("geo", item.geo), ("url", item.url),
        ):  # fmt: skip
            event.add(name, value)
        calendar.add_component(event)
    return calendar.to_ical()


@contextmanager
def site() -> Iterator[int]:
    """The site on a free port."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "gunicorn", "herdplan.wsgi", "--bind", f"127.0.0.1:{port}", "--workers", "2", "--threads", "4",
               "--no-control-socket"]  # fmt: skip
    root = Path(__file__).resolve().parents[2]
    with subprocess.Popen(command, cwd=root, stderr=subprocess.DEVNULL) as server:
        try:
            for _ in range(100):
                try:
                    socket.create_connection(("127.0.0.1", port), 1).close()
                    break
                except OSError:
                    time.sleep(0.1)
            yield port
        finally:
            server.terminate()


def polled(tokens: list[str]) -> None:
    """All feeds at once, twice: first without, then with the tag."""
    bump_calendar(User.objects.earliest("date_joined").technician_profiles.get().cooperative.seasons.get())
    with site() as port:
        get(port, tokens[0], "")
        tags: dict[str, str] = {}
        for name in ("full", "304"):
            started = time.perf_counter()
            with ThreadPoolExecutor(AT_ONCE) as pool:
                answers = list(pool.map(get, [port] * FEEDS, tokens, [tags.get(token, "") for token in tokens]))
            wall = time.perf_counter() - started
            times = [taken for _, _, taken in answers]
            codes = {code: sum(1 for item in answers if item[0] == code) for code in {item[0] for item in answers}}
            p95 = quantiles(times, n=20)[-1]
            print(f"{FEEDS} feeds, {AT_ONCE} at once, {name}: {codes}, {FEEDS / wall:.0f} a second, "
                  f"median {median(times) * 1000:.0f} ms, p95 {p95 * 1000:.0f} ms")  # fmt: skip
            tags = {token: tag for token, (_, tag, _) in zip(tokens, answers, strict=True)}


def get(port: int, token: str, tag: str) -> tuple[int, str, float]:
    """Fetch a feed; status, tag, seconds."""
    started = time.perf_counter()
    talk = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    talk.request(
        "GET", f"/feeds/{token}.ics", headers={"Accept-Encoding": "gzip"} | ({"If-None-Match": tag} if tag else {})
    )
    answer = talk.getresponse()
    answer.read()
    talk.close()
    return answer.status, answer.headers.get("ETag", ""), time.perf_counter() - started


if __name__ == "__main__":
    main()
