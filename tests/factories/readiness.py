"""Females with records for tests of readiness. Judged on 1 April 2027 for AI on 10 May, as the scene of plans wishes."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from accounts.permissions import Role
from accounts.tenancy import Member, member_in
from herdplan.herds.models import Female, Record
from scheduling.models import SeasonEntry
from tests.factories.people import make_entry, make_group, make_person
from tests.factories.plans import Scene

TODAY, AI = date(2027, 4, 1), date(2027, 5, 10)
WEANED_LB = 0.45359237


def adviser(scene: Scene) -> Member:
    """The co-op's veterinarian."""
    return member_in(make_person(scene.coop, Role.ADVISER), scene.coop.slug)


def make_cows(
    entry: SeasonEntry, head: int, *, first: int = 1, calved: date | None = None, **fields: Any
) -> list[Female]:
    """Cows of the entry's group: condition 5, vaccinated 40 days before AI, calved 80 days before AI unless said otherwise."""
    group = entry.group
    calved = calved or AI - timedelta(days=80)
    females = Female.objects.bulk_create(
        Female(herd=group.herd, group=group, tag=str(i), animal_class="cow", born=date(2021, 3, 1), last_calved=calved, **fields)
        for i in range(first, first + head)
    )  # fmt: skip
    rows = []
    for female in females:
        rows += [
            Record(female=female, kind="calving", day=calved),
            Record(female=female, kind="condition", day=date(2026, 11, 1), condition=5),
            Record(female=female, kind="condition", day=date(2027, 3, 15), condition=5),
            Record(female=female, kind="vaccination", day=AI - timedelta(days=40), vaccine="viral_killed"),
        ]
    Record.objects.bulk_create(rows)
    return females


def make_heifers(scene: Scene, weights: Sequence[float], **wishes: Any) -> tuple[SeasonEntry, list[Female]]:
    """A group of heifers of those weights in pounds on 15 March, entered; mature cows of 1,100 lb, kept from bulls."""
    herd = scene.willow.group.herd
    herd.mature_kg = 1_100 * WEANED_LB
    herd.save()
    group = make_group(herd, name="Heifers", animal_class="heifer", head=len(weights))
    values = {"protocol": "heifer_7d_cosynch_insert", "kept_from_bulls": True, **wishes}
    entry = make_entry(scene.season, group, **values)
    females = Female.objects.bulk_create(
        Female(herd=herd, group=group, tag=f"H{i:03}", animal_class="heifer", born=date(2026, 3, 1)) for i in range(len(weights))
    )  # fmt: skip
    rows = []
    for female, pounds in zip(females, weights, strict=True):
        rows += [
            Record(female=female, kind="weight", day=date(2026, 11, 1), weight_kg=500 * WEANED_LB),
            Record(female=female, kind="weight", day=date(2027, 3, 15), weight_kg=pounds * WEANED_LB),
            Record(female=female, kind="tract", day=date(2027, 3, 31), tract_score=4),
            Record(female=female, kind="pelvis", day=date(2027, 3, 31), pelvic_height_cm=13, pelvic_width_cm=12),
            Record(female=female, kind="vaccination", day=date(2027, 3, 1), vaccine="viral_killed"),
            Record(female=female, kind="vaccination", day=date(2027, 3, 25), vaccine="viral_killed"),
        ]
    Record.objects.bulk_create(rows)
    return entry, females


def keep_from_bulls(entry: SeasonEntry) -> None:
    """The group was kept from bulls this season."""
    entry.kept_from_bulls = True
    entry.save()
