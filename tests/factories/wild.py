"""Season files as nobody would write them, for tests by chance: valid but wild, and broken.

`wild_seasons` draws documents that the reader must take: every protocol of the catalogue, other time zones and clock changes,
heads over every limit, closed days everywhere, steps done at odd times, past the season's end, or with more cattle than a day
holds. `broken_seasons` spoils such documents in places.
"""

import copy
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass, Protocol

PROTOCOLS = load_catalogue().protocols
Document = dict[str, Any]
Draw = Callable[[st.SearchStrategy[Any]], Any]

# Northern and southern clock changes, one of half an hour, offsets of a quarter hour, and none; the last two skip midnight.
_ZONES = (
    "America/Denver",
    "America/Chicago",
    "America/Phoenix",
    "Australia/Sydney",
    "Australia/Lord_Howe",
    "Pacific/Chatham",
    "Asia/Kathmandu",
    "Pacific/Kiritimati",
    "America/Asuncion",
    "America/Havana",
    "UTC",
)
# Seasons that start a few weeks before clock changes of either hemisphere, at a leap day, and an ordinary one.
_FIRST_DAYS = tuple(
    date.fromisoformat(text)
    for text in ("2027-02-01", "2027-02-20", "2027-04-12", "2027-09-20", "2027-10-08", "2028-02-01")
)
_USUAL_HOURS = (["06:00", "20:00"], ["00:00", "23:59"], ["05:00:00", "20:30"])
_ODD_HOURS = (
    ["08:00", "12:00"],
    ["10:00", "10:30"],
    ["22:00", "23:30"],
    ["00:00", "04:00"],
)
_SKILLS: tuple[list[str], ...] = ([], ["sexed semen"], ["sexed semen", "ultrasound"])


def _mostly(draw: Draw, usual: tuple[Any, ...], odd: tuple[Any, ...]) -> Any:
    """Something usual, one time in six something odd: wild in every field at once, nothing would ever be placed."""
    return draw(st.sampled_from(odd if draw(st.integers(0, 5)) == 5 else usual))


@st.composite
def wild_seasons(draw: Draw) -> Document:
    """A season document that keeps the format, however unlikely."""
    first = draw(st.sampled_from(_FIRST_DAYS))
    length = _mostly(draw, (50, 75), (0, 5, 35))
    last = first + timedelta(days=length)
    ranches = [_ranch(draw, i, first, length) for i in range(draw(st.integers(1, 3)))]
    document: Document = {
        "format": "herdplan-season/1",
        "season": {
            "name": "Wild",
            "first_day": first.isoformat(),
            "last_day": last.isoformat(),
            "zone": draw(st.sampled_from(_ZONES)),
        },
        "travel": {
            "road_factor": _mostly(draw, (1, 1.3), (5,)),
            "speed_kmh": _mostly(draw, (75, 200), (5,)),
        },
        "ranches": ranches,
        "groups": [_group(draw, i, ranches, first, length) for i in range(draw(st.integers(0, 5)))],
        "technicians": [_technician(draw, i, first, length) for i in range(draw(st.integers(0, 3)))],
    }
    if draw(st.integers(0, 3)) == 3:
        hour = datetime(first.year, first.month, first.day, draw(st.integers(0, 23)), 20, tzinfo=UTC)
        document["season"]["not_before"] = (hour + timedelta(days=draw(st.integers(0, length)))).isoformat()
    if draw(st.booleans()):
        document["barns"] = [
            {"id": f"B{i}", "stalls": draw(st.integers(1, 4)), "clean_hours": draw(st.sampled_from((0, 2, 30, 72)))}
            for i in range(draw(st.integers(0, 2)))
        ]
    if draw(st.booleans()):
        names = ("technician_day", "km", "day_moved", "worst_move", "afternoon_half_hour", "unplaced", "uneven_load")
        document["weights"] = {
            name: draw(st.sampled_from((0, 0.5, 20, 1_000_000))) for name in names if draw(st.booleans())
        }
    return document


def _spot(draw: Draw) -> Document:
    """Mostly within a morning's drive, now and then at the ends of the earth."""
    if draw(st.integers(0, 19)) == 19:
        return {"lat": draw(st.sampled_from((-90, 0, 90))), "lon": draw(st.sampled_from((-180, 0, 180)))}
    return {"lat": 44 + draw(st.integers(0, 10)) / 10, "lon": -104 + draw(st.integers(0, 10)) / 10}


def _some_days(draw: Draw, first: date, length: int) -> list[str]:
    kind = _mostly(draw, ("none", "few"), ("every other", "all"))
    if kind == "none":
        return []
    if kind == "few":
        return [
            (first + timedelta(days=draw(st.integers(0, length)))).isoformat() for _ in range(draw(st.integers(1, 4)))
        ]
    return [(first + timedelta(days=i)).isoformat() for i in range(0, length + 1, 1 if kind == "all" else 2)]


def _ranch(draw: Draw, i: int, first: date, length: int) -> Document:
    ranch: Document = {
        "id": f"R{i}",
        "name": f"Ranch {i}",
        **_spot(draw),
        "zone": draw(st.sampled_from((None, None, *_ZONES))),
        "handling_hours": list(_mostly(draw, _USUAL_HOURS, _ODD_HOURS)),
        "closed_days": _some_days(draw, first, length),
        "treat_rate": _mostly(draw, (30, 45, 60.5, 120), (1, 1000)),
        "ai_stalls": draw(st.sampled_from((1, 1, 2, 20))),
    }
    if draw(st.booleans()):
        ranch["ai_rate"] = _mostly(draw, (20, 33.3), (1, 1000))
    if draw(st.booleans()):
        ranch["last_stop"] = draw(st.booleans())
    return ranch


def _technician(draw: Draw, i: int, first: date, length: int) -> Document:
    person: Document = {
        "id": f"T{i}",
        "name": f"Technician {i}",
        **_spot(draw),
        "hours": list(_mostly(draw, _USUAL_HOURS, _ODD_HOURS)),
        "ai_rate": _mostly(draw, (22, 25.5, 30), (1, 1000)),
        "max_head_per_day": _mostly(draw, (60, 110, 120), (1, 5000)),
    }
    if draw(st.booleans()):
        person["days_off"] = _some_days(draw, first, length)
    if draw(st.booleans()):
        person["skills"] = list(draw(st.sampled_from(_SKILLS)))
    return person


def _group(draw: Draw, i: int, ranches: list[Document], first: date, length: int) -> Document:
    kind = draw(st.sampled_from(list(AnimalClass)))
    protocol = PROTOCOLS[draw(st.sampled_from([key for key, item in PROTOCOLS.items() if item.fits(kind)]))]
    wanted = draw(st.integers(length // 2, length))
    low = max(0, wanted - _mostly(draw, (3, 7, 14), (0, 60)))
    high = min(length, wanted + _mostly(draw, (3, 7, 14), (0, 60)))
    group: Document = {
        "id": f"G{i}",
        "ranch": f"R{draw(st.integers(0, len(ranches) - 1))}",
        "animal_class": kind.value,
        "head": _mostly(draw, (2, 40, 85, 130), (1, 400, 5000)),
        "protocol": protocol.id,
        "ai_from": (first + timedelta(days=low)).isoformat(),
        "ai_to": (first + timedelta(days=high)).isoformat(),
        "ai_wanted": (first + timedelta(days=wanted)).isoformat(),
    }
    optional: dict[str, st.SearchStrategy[Any]] = {
        "order": st.sampled_from(("kept", "any")),
        "ai_by": st.sampled_from(("technician", "technician", "ranch")),
        "steps_by": st.sampled_from(("ranch", "technician")),
        "skills": st.sampled_from(_SKILLS).map(list),
        "needs_barn": st.sampled_from((False, False, True)),
    }
    group.update({name: draw(values) for name, values in optional.items() if draw(st.booleans())})
    if draw(st.integers(0, 3)) == 0:
        group["done"] = list(_done(draw, protocol, first + timedelta(days=wanted)))
    return group


def _done(draw: Draw, protocol: Protocol, ai_day: date) -> Iterator[Document]:
    """Steps carried out about when they would be, or quite another time; the first ones, or any."""
    shift = draw(st.sampled_from((0, 0, 0, -1, 3, -400)))
    minute = draw(st.sampled_from((0, 7 * 60, 14 * 60 + 10, 23 * 60 + 59)))
    keep = draw(st.integers(0, len(protocol.steps)))
    steps = protocol.steps[:keep] if draw(st.booleans()) else protocol.steps[-keep:]
    for step in steps:
        day = ai_day + timedelta(days=step.day - protocol.reference_day + shift)
        moment = datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(minutes=minute)
        yield {"step": step.key, "at": moment.isoformat()}


# -- spoiling -----------------------------------------------------------------------------------------------------
_ODD: tuple[Any, ...] = (
    None,
    True,
    0,
    -1,
    1.5,
    float("nan"),
    float("inf"),
    10**400,
    "",
    "x" * 201,
    "\ud800",
    "R0",
    "2027-05-10",
    "2027-02-30",
    "0001-01-01",
    "9999-12-31",
    "2027-05-03T16:10:00-06:00",
    "2027-05-03T16:10:00",
    "24:00",
    "06:00:07",
    "06:00+02:00",
    "../etc/localtime",
    "America",
    [],
    ["x", "x"],
    [[]],
    {},
    {"id": "R0"},
)


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    """Every container of a document with every key of it."""
    if isinstance(value, dict):
        for key in sorted(value):
            yield value, key
            yield from _places(value[key])
    elif isinstance(value, list):
        for i, item in enumerate(value):
            yield value, i
            yield from _places(item)


def _drop(draw: Draw, holder: Any, key: Any) -> None:
    del holder[key]


def _retype(draw: Draw, holder: Any, key: Any) -> None:
    holder[key] = copy.deepcopy(draw(st.sampled_from(_ODD)))


def _repeat(draw: Draw, holder: Any, key: Any) -> None:
    if isinstance(holder, list):
        holder.append(copy.deepcopy(holder[key]))
    else:
        holder[f"{key} "] = copy.deepcopy(holder[key])


def _scale(draw: Draw, holder: Any, key: Any) -> None:
    if isinstance(holder[key], (int, float)) and not isinstance(holder[key], bool):
        holder[key] *= draw(st.sampled_from((-1, 0, 1e-9, 1e9, 2, 0.5)))
    elif isinstance(holder[key], str):
        holder[key] = draw(st.sampled_from((holder[key][:-1], holder[key] + "0", holder[key].upper(), "G0", "T0")))
    else:
        holder[key] = [copy.deepcopy(holder[key])]


@st.composite
def broken_seasons(draw: Draw) -> Document:
    """A wild season spoilt in one to three places; some come out valid after all."""
    document: Document = draw(wild_seasons())
    for _ in range(draw(st.integers(1, 3))):
        places = list(_places(document))
        if not places:
            break
        holder, key = places[draw(st.integers(0, len(places) - 1))]
        draw(st.sampled_from((_drop, _retype, _repeat, _scale)))(draw, holder, key)
    return document
