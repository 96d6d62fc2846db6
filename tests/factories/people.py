"""Rows for tests: co-ops, people, ranches, groups. Every name is made up."""

from datetime import date
from itertools import count
from typing import Any

from accounts.models import Cooperative, Membership, User
from accounts.permissions import Role
from herdplan.herds.models import BreedingGroup, Female, Herd, Ranch
from herdplan.technicians.models import Barn, Technician
from scheduling.models import Season, SeasonEntry

_number = count(1)
PASSWORD = "gate-latch-44"


def make_coop(slug: str = "north", **fields: Any) -> Cooperative:
    """A co-op in Mountain Time."""
    values = {"name": f"{slug.title()} Breeders", "zone": "America/Denver", **fields}
    return Cooperative.objects.create(slug=slug, **values)


def make_person(coop: Cooperative | None = None, *roles: Role, email: str | None = None) -> User:
    """A person with the given roles in the co-op."""
    user = User.objects.create_user(email or f"person{next(_number)}@example.org", PASSWORD, name="Robin Vale")
    if coop:
        Membership.objects.bulk_create(Membership(cooperative=coop, user=user, role=role) for role in roles)
    return user


def make_ranch(coop: Cooperative, name: str = "Willow Draw", **fields: Any) -> Ranch:
    """A ranch north of the hills."""
    number = next(_number)
    values = {"slug": f"ranch-{number}", "lat": 44.9, "lon": -103.8, "zone": coop.zone, **fields}
    return Ranch.objects.create(cooperative=coop, name=name, **values)


def make_herd(ranch: Ranch, name: str | None = None) -> Herd:
    """A herd of the ranch."""
    return Herd.objects.create(ranch=ranch, name=name or f"Herd {next(_number)}")


def make_group(herd: Herd, **fields: Any) -> BreedingGroup:
    """A group of sixty cows."""
    values = {"name": f"Group {next(_number)}", "animal_class": "cow", "head": 60, **fields}
    return BreedingGroup.objects.create(herd=herd, **values)


def make_female(herd: Herd, **fields: Any) -> Female:
    """A cow."""
    values = {"tag": f"N{next(_number)}", "animal_class": "cow", **fields}
    return Female.objects.create(herd=herd, **values)


def make_technician(coop: Cooperative, **fields: Any) -> Technician:
    """A technician near the ranch."""
    values = {"name": f"Technician {next(_number)}", "lat": 45.0, "lon": -103.6, **fields}
    return Technician.objects.create(cooperative=coop, **values)


def make_barn(coop: Cooperative, **fields: Any) -> Barn:
    """A two-stall barn."""
    values = {"name": f"Barn {next(_number)}", **fields}
    return Barn.objects.create(cooperative=coop, **values)


def make_season(coop: Cooperative, **fields: Any) -> Season:
    """Spring 2027."""
    values = {
        "name": f"Spring {next(_number)}",
        "first_day": date(2027, 4, 12),
        "last_day": date(2027, 6, 5),
        "zone": coop.zone,
        **fields,
    }
    return Season.objects.create(cooperative=coop, **values)


def make_entry(season: Season, group: BreedingGroup, **fields: Any) -> SeasonEntry:
    """The group, wishing for AI on 10 May."""
    values = {
        "protocol": "cow_7d_cosynch_insert",
        "head": group.head,
        "ai_from": date(2027, 5, 3),
        "ai_to": date(2027, 5, 20),
        "ai_wanted": date(2027, 5, 10),
        **fields,
    }
    return SeasonEntry.objects.create(season=season, group=group, **values)
