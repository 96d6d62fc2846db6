"""One day of general vehicle routing with time windows, as a season: every group one AI visit, all treatments carried out.

Windows of one to nearly four hours, a limit of load: the kind of instance that general route solvers are measured on (the
layout, random, clustered or mixed, follows M. M. Solomon, "Algorithms for the vehicle routing and scheduling problems with
time window constraints", Operations Research, 1987; positions and windows are drawn here from a seed).
"""

import random
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

from scheduling.kernel.catalogue import load_catalogue

DAY = date(2027, 5, 10)
_HOMES = ({"lat": 45.0, "lon": -102.0}, {"lat": 45.3, "lon": -101.6}, {"lat": 44.7, "lon": -102.4})
_PROTOCOL = "heifer_mga_pg_ftai"  # AI 72 h after PG, two hours more or less
AI_RATE = 60  # head per hour, so that a stop lasts whole minutes
_OPENS, _CLOSES = 6 * 60, 20 * 60


def _anywhere(rng: random.Random) -> tuple[float, float]:
    return rng.uniform(44.5, 45.5), rng.uniform(-102.7, -101.3)


def _clustered(rng: random.Random, centres: list[tuple[float, float]]) -> tuple[float, float]:
    lat, lon = rng.choice(centres)
    return rng.gauss(lat, 0.05), rng.gauss(lon, 0.07)


def _spots(layout: str, rng: random.Random, stops: int) -> list[tuple[float, float]]:
    centres = [_anywhere(rng) for _ in range(9)]
    makers: dict[str, Callable[[int], tuple[float, float]]] = {
        "random": lambda i: _anywhere(rng),
        "clustered": lambda i: _clustered(rng, centres),
        "mixed": lambda i: _clustered(rng, centres) if i % 2 else _anywhere(rng),
    }
    return [makers[layout](i) for i in range(stops)]


def general_day_document(
    layout: str,
    seed: int,
    *,
    technician_day: float = 300,
    crew: int = 30,
    load: int = 110,
    stops: int = 100,
    homes: int = 1,
) -> dict[str, Any]:
    """The instance as a season file; technicians live at one base, or at several by turns."""
    rng = random.Random(f"{layout}{seed}")
    made = [_stop(rng, i, spot) for i, spot in enumerate(_spots(layout, rng, stops))]
    return {
        "format": "herdplan-season/1",
        "season": {
            "name": layout,
            "first_day": (DAY - timedelta(days=60)).isoformat(),
            "last_day": (DAY + timedelta(days=1)).isoformat(),
            "zone": "UTC",
        },
        "travel": {"road_factor": 1, "speed_kmh": 60},
        "ranches": [ranch for ranch, _ in made],
        "groups": [group for _, group in made],
        "technicians": [
            {
                "id": f"T{i}",
                "name": f"T{i}",
                **_HOMES[i % homes],
                "hours": ["04:00", "22:00"],
                "ai_rate": AI_RATE,
                "max_head_per_day": load,
            }
            for i in range(crew)
        ],
        "weights": {
            "technician_day": technician_day,
            "km": 1,
            "day_moved": 0,
            "worst_move": 0,
            "afternoon_half_hour": 0,
        },
    }


def _stop(rng: random.Random, i: int, spot: tuple[float, float]) -> tuple[dict[str, Any], dict[str, Any]]:
    """A ranch with its window as handling hours, and its group with all treatments carried out."""
    head, width = rng.randint(5, 20), rng.randint(60, 220)
    opens = rng.randint(_OPENS, _CLOSES - width)
    pg = (
        datetime(DAY.year, DAY.month, DAY.day, tzinfo=UTC) + timedelta(minutes=opens + width // 2) - timedelta(hours=72)
    )
    days = {step.key: step.day for step in load_catalogue().protocols[_PROTOCOL].steps}
    at = {key: pg - timedelta(days=days["pg"] - days[key]) for key in ("mga_start", "mga_last", "pg")}
    done = [{"step": key, "at": moment.isoformat()} for key, moment in at.items()]
    clocks = [f"{minute // 60:02d}:{minute % 60:02d}" for minute in (opens, opens + width)]
    ranch = {"id": f"R{i}", "name": f"R{i}", "lat": spot[0], "lon": spot[1], "handling_hours": clocks}
    day = DAY.isoformat()
    group = {
        "id": f"G{i}",
        "ranch": f"R{i}",
        "animal_class": "heifer",
        "head": head,
        "protocol": _PROTOCOL,
        "done": done,
    }
    return {**ranch, "treat_rate": 60, "ai_stalls": 1}, {**group, "ai_from": day, "ai_to": day, "ai_wanted": day}
