"""The planner's machine code: compiled once on each machine, because that takes longer than many a plan."""

from typing import Any

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.search.swift import compile_rounds, is_compiled
from scheduling.kernel.season import load_season

# What is compiled hangs on the kinds of numbers, not on the season: the smallest will do.
_SMALLEST: dict[str, Any] = {
    "format": "herdplan-season/1",
    "season": {"name": "None", "first_day": "2027-01-01", "last_day": "2027-01-02", "zone": "UTC"},
    "travel": {"road_factor": 1, "speed_kmh": 70},
    "ranches": [
        {
            "id": "R",
            "name": "R",
            "lat": 0,
            "lon": 0,
            "zone": None,
            "handling_hours": ["06:00", "20:00"],
            "closed_days": [],
            "treat_rate": 60,
            "ai_stalls": 1,
        }
    ],
    "groups": [],
    "technicians": [
        {
            "id": "T",
            "name": "T",
            "lat": 0,
            "lon": 0,
            "hours": ["05:00", "20:00"],
            "days_off": [],
            "ai_rate": 25,
            "max_head_per_day": 100,
            "skills": [],
        }
    ],
}


def is_ready() -> bool:
    """Whether large seasons can be planned in machine code on this machine."""
    return is_compiled()


def make_ready() -> None:
    """Compile it, which takes about half a minute."""
    compile_rounds(Search(Model(load_season(_SMALLEST, load_catalogue().protocols)), 1, {}))
