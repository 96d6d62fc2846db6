"""Benchmark of readiness: `python -m tests.bench.readiness [HEAD]`. Prints a line for the kernel alone, one for the service
on rows (SQLite in a temporary folder) and one for the group's page over HTTP; asserts no time. Processor time of this process.
"""

import argparse
import os
import random
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

from tests import surroundings  # noqa: F401  # before Django reads its settings

os.environ["DJANGO_SETTINGS_MODULE"] = "herdplan.settings"
import django

django.setup()

from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.permissions import Role
from accounts.tenancy import Member, member_in
from herdplan.herds.models import BreedingGroup, Female, Herd, Record
from scheduling.kernel.advice.herd import judge_group
from scheduling.kernel.advice.records import (
    ConditionScore,
    FemaleRecord,
    Pelvis,
    Pregnancy,
    TractScore,
    Vaccination,
    VaccineKind,
    Weighing,
)
from scheduling.kernel.advice.verdicts import Verdict, plan_dates
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass
from scheduling.models import SeasonEntry
from scheduling.services.readiness import season_readiness
from scheduling.services.readiness_pages import spreads_of, work_of
from tests.factories.people import make_coop, make_entry, make_group, make_herd, make_person, make_ranch, make_season

TODAY, AI = date(2027, 3, 20), date(2027, 5, 21)


def herd(head: int, seed: int) -> list[FemaleRecord]:
    """An invented herd: a quarter heifers, the rest cows, with a year of records each."""
    chance = random.Random(seed)
    return [_heifer(i, chance) if i % 4 == 0 else _cow(i, chance) for i in range(head)]


def _heifer(i: int, chance: random.Random) -> FemaleRecord:
    weights = tuple(Weighing(TODAY - timedelta(days=30 * k), chance.gauss(310 - 20 * k, 25)) for k in range(6))
    return FemaleRecord(
        f"H{i}",
        AnimalClass.HEIFER,
        born=TODAY - timedelta(days=chance.randint(340, 460)),
        weights=weights,
        tract=TractScore(TODAY, chance.randint(1, 5)),
        pelvis=Pelvis(TODAY, chance.uniform(11, 16), chance.uniform(10, 14)),
        vaccinations=(Vaccination(TODAY - timedelta(days=chance.randint(0, 90)), VaccineKind.KILLED),),
        pregnancy=Pregnancy.OPEN,
    )


def _cow(i: int, chance: random.Random) -> FemaleRecord:
    return FemaleRecord(
        f"C{i}",
        AnimalClass.COW,
        born=TODAY - timedelta(days=chance.randint(900, 4000)),
        calved=TODAY - timedelta(days=chance.randint(-20, 70)),
        conditions=tuple(ConditionScore(TODAY - timedelta(days=40 * k), chance.randint(6, 14) / 2) for k in range(4)),
        vaccinations=(Vaccination(TODAY - timedelta(days=chance.randint(0, 400)), VaccineKind.MODIFIED_LIVE),),
        pregnancy=chance.choice(list(Pregnancy)),
        kept_from_bulls=chance.random() < 0.5,
    )


def rows_of(females: list[FemaleRecord]) -> tuple[Member, list[SeasonEntry], int]:
    """The same herd as rows: heifers and cows in a group each, entered for the same AI day; and how many records it has."""
    coop = make_coop("bench")
    herd = make_herd(make_ranch(coop))
    Herd.objects.filter(pk=herd.pk).update(mature_kg=500)
    season = make_season(coop)
    member = member_in(make_person(coop, Role.COORDINATOR), "bench")
    wish = {"ai_from": AI, "ai_to": AI, "ai_wanted": AI}
    records: list[Record] = []
    for animal_class, protocol in (("heifer", "heifer_7d_cosynch_insert"), ("cow", "cow_7d_cosynch_insert")):
        ours = [one for one in females if one.animal_class == animal_class]
        group = make_group(herd, name=animal_class, animal_class=animal_class, head=len(ours))
        make_entry(season, group, protocol=protocol, **wish)
        for female, one in zip(_females(herd, group, ours), ours, strict=True):
            records += _records(female, one)
    Record.objects.bulk_create(records, batch_size=500)
    entries = SeasonEntry.objects.filter(season=season).select_related("season", "group__herd__ranch")
    return member, list(entries), len(records)


def _females(herd: Herd, group: BreedingGroup, ours: list[FemaleRecord]) -> list[Female]:
    rows = [
        Female(
            herd=herd, group=group, tag=one.tag, animal_class=one.animal_class, born=one.born, last_calved=one.calved
        )
        for one in ours
    ]
    return Female.objects.bulk_create(rows)


def _records(female: Female, one: FemaleRecord) -> list[Record]:
    rows = [Record(female=female, kind="weight", day=item.day, weight_kg=max(item.kg, 100)) for item in one.weights]
    rows += [Record(female=female, kind="condition", day=item.day, condition=item.score) for item in one.conditions]
    if one.tract:
        rows.append(Record(female=female, kind="tract", day=one.tract.day, tract_score=one.tract.score))
    if one.pelvis:
        high, wide = one.pelvis.height_cm, one.pelvis.width_cm
        rows.append(
            Record(female=female, kind="pelvis", day=one.pelvis.day, pelvic_height_cm=high, pelvic_width_cm=wide)
        )
    for dose in one.vaccinations:
        vaccine = "viral_live" if dose.kind is VaccineKind.MODIFIED_LIVE else "viral_killed"
        rows.append(Record(female=female, kind="vaccination", day=dose.day, vaccine=vaccine))
    if one.calved:
        rows.append(Record(female=female, kind="calving", day=one.calved))
    rows.append(Record(female=female, kind="pregnancy", day=TODAY, pregnancy=one.pregnancy.value))
    return rows


def timed(work: Callable[[], object]) -> str:
    """Best and worst of five."""
    times = []
    for _ in range(5):
        begun = time.process_time()
        work()
        times.append(time.process_time() - begun)
    return f"best of 5 {min(times) * 1000:.0f} ms, worst {max(times) * 1000:.0f} ms"


def _seen(browser: Client, address: str) -> None:
    assert browser.get(address).status_code == 200


def main() -> None:
    """Judge a herd five times, in the kernel, through the service and over HTTP."""
    parser = argparse.ArgumentParser()
    parser.add_argument("head", type=int, nargs="?", default=1_000)
    wanted = parser.parse_args()
    females = herd(wanted.head, seed=1)
    plan = plan_dates(load_catalogue().protocols["cow_7d_cosynch_insert"], AI, TODAY)
    group = judge_group(females, plan, mature_kg=500)
    counts = ", ".join(f"{group.counts[verdict]} {verdict.words.lower()}" for verdict in Verdict)
    print(f"kernel, {wanted.head} head: {timed(lambda: judge_group(females, plan, mature_kg=500))}; {counts}")
    call_command("migrate", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False)
    member, entries, count = rows_of(females)
    now = datetime(TODAY.year, TODAY.month, TODAY.day, 18, tzinfo=UTC)

    def service() -> None:
        for item in season_readiness(member=member, season=entries[0].season, entries=entries, now=now):
            spreads_of(item, member.user)
            work_of(item)

    with CaptureQueriesContext(connection) as caught:
        service()
    print(f"service, {wanted.head} head, {count} records, {len(caught)} queries: {timed(service)}")
    browser = Client(SERVER_NAME="localhost")
    browser.force_login(member.user)
    address = f"/c/bench/seasons/{entries[0].season_id}/ready/"
    print(f"overview page over HTTP: {timed(lambda: _seen(browser, address))}")


if __name__ == "__main__":
    main()
