"""Notices when a ranch's name, directions, position or groups' names change, so that calendars count it as a change."""

from collections import defaultdict
from datetime import datetime
from hashlib import sha256

from django.core.cache import cache

from herdplan.calendars.models import Place
from herdplan.herds.models import BreedingGroup, Ranch

_EVERY_S = 60
_CACHE_KEY = "calendars.places"


def refresh_places(*, now: datetime) -> int:
    """Compare every ranch that has published steps with what calendars were told; returns how many changed."""
    ranches = Ranch.objects.filter(planned_steps__isnull=False).distinct()
    groups: dict[object, list[tuple[str, str]]] = defaultdict(list)
    named = BreedingGroup.objects.filter(herd__ranch__in=ranches).order_by("pk")
    for ranch, key, name in named.values_list("herd__ranch", "pk", "name"):
        groups[ranch].append((str(key), name))
    told = {place.ranch_id: place for place in Place.objects.filter(ranch__in=ranches)}
    changed = 0
    for row in ranches.values_list("pk", "name", "directions", "lat", "lon", "zone"):
        digest = sha256(repr((row[1:], groups[row[0]])).encode()).hexdigest()
        place = told.get(row[0])
        if place is None:
            Place.objects.get_or_create(ranch_id=row[0], defaults={"digest": digest, "changed_at": now})
        elif place.digest != digest:
            changed += Place.objects.filter(pk=place.pk, digest=place.digest).update(
                digest=digest, number=place.number + 1, changed_at=now.replace(microsecond=0)
            )
    return changed


def refresh_places_now_and_then(*, now: datetime) -> None:
    """The same, at most once a minute over all processes."""
    if cache.add(_CACHE_KEY, 1, _EVERY_S):
        refresh_places(now=now)
