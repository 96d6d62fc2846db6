"""Seasons with long days: many small groups close together, so that a technician makes ten to fifteen short stops a day."""

import random
from datetime import date, timedelta
from typing import Any

_FIRST = date(2027, 4, 12)
_LEAD = 40
_PROTOCOLS = {
    "cow": ("cow_7d_cosynch_insert", "cow_5d_cosynch_insert", "cow_7d_cosynch_insert_split"),
    "heifer": ("heifer_7d_cosynch_insert", "heifer_mga_pg_ftai"),
}


def long_days_document(
    seed: int, *, groups: int = 90, technicians: int = 4, days: int = 4, plain: bool = False
) -> dict[str, Any]:
    """A season's document: each group on its own ranch inside 50 km, 3 to 12 head, wished within a few days.

    `plain` leaves away what ties stops together: bought treatments, pairs, barns, ranches that must come last, skills, zones.
    """
    rng = random.Random(f"long days {seed}")
    ranches = [_ranch(rng, i, plain) for i in range(groups)]
    return {
        "format": "herdplan-season/1",
        "season": {
            "name": f"long days {seed}",
            "first_day": _FIRST.isoformat(),
            "last_day": (_FIRST + timedelta(days=_LEAD + days + 14)).isoformat(),
            "zone": "America/Denver",
        },
        "travel": {"road_factor": 1.3, "speed_kmh": 65},
        "ranches": ranches,
        "groups": [_group(rng, i, days, plain) for i in range(groups)],
        "technicians": [_technician(rng, i) for i in range(technicians)],
        "barns": [] if plain else [{"id": "B1", "stalls": 2, "clean_hours": 2}],
    }


def _spot(rng: random.Random) -> dict[str, float]:
    return {"lat": round(45.0 + rng.random() * 0.45, 4), "lon": round(-102.0 + rng.random() * 0.6, 4)}


def _ranch(rng: random.Random, i: int, plain: bool) -> dict[str, Any]:
    opens = rng.choice(("06:00", "06:00", "07:00", "09:00"))
    closes = rng.choice(("20:00", "20:00", "18:00", "16:00"))
    made = {"id": f"R{i}", "name": f"Ranch {i}", **_spot(rng), "handling_hours": [opens, closes], "treat_rate": 60}
    if plain:
        return {**made, "ai_stalls": 1}
    zone = "America/Chicago" if rng.random() < 0.1 else None
    return {**made, "zone": zone, "ai_stalls": rng.choice((1, 1, 1, 2)), "last_stop": rng.random() < 0.05}


def _technician(rng: random.Random, i: int) -> dict[str, Any]:
    return {
        "id": f"T{i}",
        "name": f"Technician {i}",
        **_spot(rng),
        "hours": ["05:00", "20:30"],
        "ai_rate": rng.choice((22, 25, 30)),
        "max_head_per_day": rng.choice((90, 110, 120)),
        "skills": ["sexed semen"] if i % 2 == 0 else [],
    }


def _group(rng: random.Random, i: int, days: int, plain: bool) -> dict[str, Any]:
    kind = rng.choice(("cow", "cow", "heifer"))
    wanted = _FIRST + timedelta(days=_LEAD + rng.randrange(days))
    made = {
        "id": f"G{i}",
        "ranch": f"R{i}",
        "animal_class": kind,
        "head": rng.randint(3, 12),
        "protocol": _PROTOCOLS[kind][0] if plain else rng.choice(_PROTOCOLS[kind]),
        "ai_from": (wanted - timedelta(days=1)).isoformat(),
        "ai_to": (wanted + timedelta(days=1)).isoformat(),
        "ai_wanted": wanted.isoformat(),
    }
    if plain:
        return made
    return {
        **made,
        "steps_by": "technician" if rng.random() < 0.1 else "ranch",
        "skills": ["sexed semen"] if rng.random() < 0.15 else [],
        "needs_barn": rng.random() < 0.03,
    }
