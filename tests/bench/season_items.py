"""`python -m tests.bench.season_items`: what dated items cost: a co-op of 450 groups, its page, its sweep, a herd's feed.

A site of its own with SQLite in a temporary folder; processor time, the best of three.
"""

import os
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from tests import surroundings  # noqa: F401  # before Django reads its settings

os.environ["DJANGO_SETTINGS_MODULE"] = "herdplan.settings"
import django

django.setup()

from django.core.management import call_command
from django.test import Client

from accounts.tenancy import member_in
from herdplan.calendars import contents, season_contents
from herdplan.calendars.services import make_feed
from herdplan.herds.models import Ranch
from herdplan.reminders.services import sweep
from scheduling.models import PlannedStep, SeasonEntry
from scheduling.services.season_basis import published
from scheduling.services.season_items import items_of
from tests.factories.people import make_entry, make_group, make_herd, make_ranch
from tests.factories.published import DAY_0, Published, make_published

RANCHES, GROUPS = 150, 3


def main() -> None:
    """Make the rows, measure, print."""
    call_command("migrate", verbosity=0)
    call_command("createcachetable", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False)
    made = make_published()
    fill(made)
    now = DAY_0 - timedelta(days=40)
    bases = published(PlannedStep.objects.all())
    print(f"{len(bases)} groups, {sum(len(items_of(basis)) for basis in bases)} items")
    print(f"bases from rows    {best(lambda: published(PlannedStep.objects.all())):7.3f} s")
    print(f"items from bases   {best(lambda: [items_of(basis) for basis in bases]):7.3f} s")
    print(f"sweep, first       {once(lambda: sweep(now=now)):7.3f} s")
    print(f"sweep, again       {best(lambda: sweep(now=now + timedelta(minutes=6))):7.3f} s")
    client = Client(SERVER_NAME="localhost")
    client.force_login(made.coordinator)
    page = f"/c/north/seasons/{made.entry.season_id}/preparation/"
    print(f"page of the season {best(lambda: client.get(page)):7.3f} s, {len(client.get(page).content) // 1000} kB")
    herd = made.entry.group.herd
    one = Client(SERVER_NAME="localhost")
    one.force_login(made.rancher)
    after = f"/c/north/seasons/{made.entry.season_id}/groups/{made.entry.pk}/after/"
    print(f"page after AI      {best(lambda: one.get(after)):7.3f} s, {len(one.get(after).content) // 1000} kB")
    feed, _ = make_feed(
        member=member_in(made.rancher, "north"),
        name="x",
        kind="herd",
        herd=herd,
        technician=None,
        now=datetime.now(UTC),
    )
    midnight = now.replace(hour=0, tzinfo=UTC)

    def cold() -> Any:
        season_contents._fragment.cache_clear()
        contents.step_fragment.cache_clear()
        return list(season_contents.herd_items(feed, "localhost", "en", midnight))

    print(f"herd's items, cold {best(cold) * 1000:7.1f} ms, {len(cold())} events")
    print(
        f"herd's items, kept {best(lambda: list(season_contents.herd_items(feed, 'localhost', 'en', midnight))) * 1000:7.1f} ms"
    )


def fill(made: Published) -> None:
    """More ranches with groups, each with the steps of the first."""
    pattern = list(
        PlannedStep.objects.filter(entry=made.entry).values("lot", "key", "starts", "ends", "head", "by", "changed_at")
    )
    rows = []
    for i in range(RANCHES):
        ranch: Ranch = make_ranch(made.coop, f"Ranch {i:03}")
        ranch.people.add(made.rancher)
        herd = make_herd(ranch)
        for _ in range(GROUPS):
            entry: SeasonEntry = make_entry(made.entry.season, make_group(herd))
            rows += [PlannedStep(entry=entry, ranch=ranch, **step) for step in pattern]
    PlannedStep.objects.bulk_create(rows)


def once(work: Callable[[], Any]) -> float:
    """Processor time of one run."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def best(work: Callable[[], Any]) -> float:
    """The best of three."""
    return min(once(work) for _ in range(3))


if __name__ == "__main__":
    main()
