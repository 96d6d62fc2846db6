"""The season as a season-file document, from the rows. Ids are the rows' ids."""

from datetime import timedelta
from typing import Any

from herdplan.herds.models import Ranch
from herdplan.technicians.models import Barn, Technician
from scheduling.models import Season, SeasonEntry
from scheduling.services.fair_weights import add_shares


def season_document(season: Season) -> dict[str, Any]:
    """The document of the format herdplan-season/1. Seven queries, whatever the size."""
    entries = list(season.entered.select_related("group__herd").prefetch_related("records").order_by("pk"))
    ranches = Ranch.objects.filter(cooperative=season.cooperative_id).prefetch_related("closed_days").order_by("pk")
    people = Technician.objects.filter(cooperative=season.cooperative_id).prefetch_related("days_off").order_by("pk")
    used = {entry.group.herd.ranch_id for entry in entries}
    document: dict[str, Any] = {
        "format": "herdplan-season/1",
        "season": {
            "name": season.name,
            "first_day": season.first_day.isoformat(),
            "last_day": season.last_day.isoformat(),
            "zone": season.zone,
        },
        "travel": {"road_factor": season.road_factor, "speed_kmh": season.speed_kmh},
        "ranches": [_ranch(ranch) for ranch in ranches if ranch.pk in used],
        "groups": [_group(entry) for entry in entries],
        "technicians": [_technician(person, season) for person in people],
        "barns": [
            {"id": str(barn.pk), "stalls": barn.stalls, "clean_hours": barn.clean_hours}
            for barn in Barn.objects.filter(cooperative=season.cooperative_id).order_by("pk")
        ],
    }
    if season.weights:
        document["weights"] = season.weights
        add_shares(document, season)
    return document


def _ranch(ranch: Ranch) -> dict[str, Any]:
    return {
        "id": str(ranch.pk),
        "name": ranch.name,
        "lat": ranch.lat,
        "lon": ranch.lon,
        "zone": ranch.zone,
        "handling_hours": [f"{ranch.opens:%H:%M}", f"{ranch.closes:%H:%M}"],
        "closed_days": [row.day.isoformat() for row in ranch.closed_days.all()],
        "treat_rate": ranch.treat_rate,
        "ai_rate": ranch.ai_rate,
        "ai_stalls": ranch.ai_stalls,
        **({"last_stop": True} if ranch.last_stop else {}),  # said only where it binds: older plans stay fresh
    }


def _technician(person: Technician, season: Season) -> dict[str, Any]:
    return {
        "id": str(person.pk),
        "name": person.name,
        "lat": person.lat,
        "lon": person.lon,
        "hours": [f"{person.starts:%H:%M}", f"{person.ends:%H:%M}"],
        "days_off": _days_off(person, season),
        "ai_rate": person.ai_rate,
        "max_head_per_day": person.max_head_per_day,
        "skills": sorted(person.skills),
    }


def _days_off(person: Technician, season: Season) -> list[str]:
    days = set()
    for row in person.days_off.all():
        day, last = max(row.first_day, season.first_day), min(row.last_day, season.last_day)
        while day <= last:
            days.add(day.isoformat())
            day += timedelta(days=1)
    return sorted(days)


def _group(entry: SeasonEntry) -> dict[str, Any]:
    return {
        "id": str(entry.pk),
        "ranch": str(entry.group.herd.ranch_id),
        "animal_class": entry.group.animal_class,
        "head": entry.head,
        "protocol": entry.protocol,
        "ai_from": entry.ai_from.isoformat(),
        "ai_to": entry.ai_to.isoformat(),
        "ai_wanted": entry.ai_wanted.isoformat(),
        "order": entry.order,
        "ai_by": entry.ai_by,
        "steps_by": entry.steps_by,
        "skills": sorted(entry.skills),
        "needs_barn": entry.needs_barn,
        "done": [{"step": row.step, "at": row.at.isoformat()} for row in entry.records.all()],
    }


def differences(season: Season, then: dict[str, Any]) -> list[str]:
    """What differs between the season now and a document of it, by name. Steps ticked off since do not count."""
    return differences_between(season, season_document(season), then)


def differences_between(season: Season, now: dict[str, Any], then: dict[str, Any]) -> list[str]:
    """What differs between two documents of a season, by name, steps carried out left aside."""
    one, other = ({**row, "season": _lasting(row["season"])} for row in (now, then))
    found = [f"the season's {name}" for name in ("season", "travel", "weights") if one.get(name) != other.get(name)]
    found = [text.replace("season's season", "season's name, days or zone") for text in found]
    changed: list[tuple[str, str, str]] = []
    for table in ("groups", "ranches", "technicians", "barns"):
        here, there = _rows_of(now, table), _rows_of(then, table)
        for key in sorted(here.keys() | there.keys()):
            if here.get(key) != there.get(key):
                row = here.get(key) or there[key]
                what = "changed" if key in here and key in there else "added" if key in here else "taken out"
                changed.append((key, str(row.get("name") or table[:-1]), what))
    groups = _names(season) if changed else {}
    return found + [f"{groups.get(key) or name} ({what})" for key, name, what in changed]


def _lasting(season: dict[str, Any]) -> dict[str, Any]:
    """What is said of the season, without the minute at which it was planned."""
    return {key: value for key, value in season.items() if key != "not_before"}


def _names(season: Season) -> dict[str, str]:
    return {str(entry.pk): str(entry.group) for entry in season.entries.select_related("group__herd__ranch")}


def _rows_of(document: dict[str, Any], table: str) -> dict[str, dict[str, Any]]:
    """Rows by id, without what was carried out since: ticking a step off does not make a plan stale."""
    return {row["id"]: {key: value for key, value in row.items() if key != "done"} for row in document.get(table, [])}
