"""Seasons for tests and benchmarks: made by rule from a seed, on an open map of 300 km, in two time zones."""

import random
from datetime import date, timedelta
from typing import Any

SIZES = {"S": (8, 12, 2, 21), "M": (40, 120, 6, 45), "L": (150, 450, 20, 60), "XL": (500, 1500, 60, 75)}
_FIRST = date(2027, 4, 12)
_COWS = (
    "cow_7d_cosynch_insert",
    "cow_7d_cosynch_insert",
    "cow_5d_cosynch_insert",
    "cow_7_7_synch",
    "cow_7d_cosynch_insert_split",
)
_HEIFERS = ("heifer_7d_cosynch_insert", "heifer_5d_cosynch_insert", "heifer_mga_pg_ftai", "heifer_14d_insert_pg_split")


def season_document(size: str = "S", seed: int = 1) -> dict[str, Any]:
    """A season file's document of size S, M, L or XL."""
    ranches, groups, technicians, days = SIZES[size]
    rng = random.Random(f"{size}{seed}")
    lead = 40
    last = _FIRST + timedelta(days=lead + days)
    made = [_ranch(rng, i) for i in range(ranches)]
    people = [_technician(rng, i, last) for i in range(technicians)]
    return {
        "format": "herdplan-season/1",
        "season": {
            "name": f"{size}{seed}",
            "first_day": _FIRST.isoformat(),
            "last_day": last.isoformat(),
            "zone": "America/Denver",
        },
        "travel": {"road_factor": 1.3, "speed_kmh": 75},
        "ranches": made,
        "groups": [_group(rng, i, made, (lead, days)) for i in range(groups)],
        "technicians": people,
        "barns": [{"id": f"B{i}", "stalls": 2, "clean_hours": 2} for i in range(1, 2 + technicians // 10)],
    }


def _spot(rng: random.Random) -> dict[str, float]:
    return {"lat": round(44.0 + rng.random() * 2.7, 4), "lon": round(-104.0 + rng.random() * 3.8, 4)}


def _ranch(rng: random.Random, i: int) -> dict[str, Any]:
    spot = _spot(rng)
    closed = [(_FIRST + timedelta(days=rng.randint(35, 80))).isoformat()] if rng.random() < 0.3 else []
    return {
        "id": f"R{i}",
        "name": f"Ranch {i}",
        **spot,
        "zone": "America/Chicago" if spot["lon"] > -101 else None,
        "handling_hours": ["06:00", "20:00"],
        "closed_days": closed,
        "treat_rate": rng.choice((45, 60, 60, 75)),
        "ai_stalls": 2 if rng.random() < 0.25 else 1,
    }


def _technician(rng: random.Random, i: int, last: date) -> dict[str, Any]:
    off = _FIRST + timedelta(days=rng.randint(40, (last - _FIRST).days))
    return {
        "id": f"T{i}",
        "name": f"Technician {i}",
        **_spot(rng),
        "hours": ["05:00", "20:30"],
        "days_off": [off.isoformat()],
        "ai_rate": rng.choice((22, 25, 25, 30)),
        "max_head_per_day": rng.choice((100, 110, 120)),
        "skills": ["sexed semen"] if i % 2 == 0 else [],
    }


def _group(rng: random.Random, i: int, ranches: list[dict[str, Any]], days: tuple[int, int]) -> dict[str, Any]:
    heifers = rng.random() < 0.4
    wanted = days[0] + rng.randint(2, days[1] - 3)
    wanted += (5 - (_FIRST + timedelta(days=wanted)).weekday()) % 7 if rng.random() < 0.4 else 0  # many want a Saturday
    wanted = min(wanted, days[0] + days[1] - 2)
    low, high = max(days[0], wanted - rng.randint(3, 7)), min(days[0] + days[1] - 2, wanted + rng.randint(3, 7))
    return {
        "id": f"G{i}",
        "ranch": rng.choice(ranches)["id"],
        "animal_class": "heifer" if heifers else "cow",
        "head": rng.randint(20, 90),
        "protocol": rng.choice(_HEIFERS if heifers else _COWS),
        "ai_from": (_FIRST + timedelta(days=low)).isoformat(),
        "ai_to": (_FIRST + timedelta(days=high)).isoformat(),
        "ai_wanted": (_FIRST + timedelta(days=wanted)).isoformat(),
        "order": "any" if rng.random() < 0.15 else "kept",
        "ai_by": "ranch" if rng.random() < 0.1 else "technician",
        "steps_by": "technician" if rng.random() < 0.1 else "ranch",
        "skills": ["sexed semen"] if rng.random() < 0.1 else [],
        "needs_barn": rng.random() < 0.05,
    }
