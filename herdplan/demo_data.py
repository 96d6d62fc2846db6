"""The demo: an invented co-op in two time zones, with a deliberate clash in its wishes, and a small second one.

Every name of a person, ranch or herd is made up. Places are spread over open range so that driving times are real.
"""

from dataclasses import dataclass, field
from datetime import date, time
from decimal import Decimal

PASSWORD = "herd-plan-demo"
MOUNTAIN, CENTRAL, SYDNEY = "America/Denver", "America/Chicago", "Australia/Sydney"
# The Saturday that everybody wants: more head than the technicians who are free can inseminate that day.
WANTED_SATURDAY = date(2027, 5, 22)


@dataclass(frozen=True)
class DemoPerson:
    """Somebody who can sign in to the demo."""

    email: str
    name: str
    roles: tuple[str, ...]
    ranches: tuple[str, ...] = ()


@dataclass(frozen=True)
class DemoRanch:
    """A ranch and what is special about its facilities."""

    slug: str
    name: str
    lat: float
    lon: float
    zone: str = MOUNTAIN
    opens: time = time(6)
    closes: time = time(20)
    treat_rate: float = 60
    ai_stalls: int = 1
    closed: tuple[date, ...] = ()
    directions: str = ""


@dataclass(frozen=True)
class DemoTechnician:
    """A technician of the demo."""

    name: str
    lat: float
    lon: float
    ai_rate: float = 25
    max_head: int = 110
    skills: tuple[str, ...] = ()
    days_off: tuple[tuple[date, date], ...] = ()
    email: str = ""


@dataclass(frozen=True)
class DemoGroup:
    """A group with its wishes. `spread` is how many days either side of the wish are acceptable."""

    ranch: str
    name: str
    animal_class: str
    head: int
    protocol: str
    wanted: date
    spread: int = 5
    order: str = "kept"
    ai_by: str = "technician"
    steps_by: str = "ranch"
    skills: tuple[str, ...] = ()
    barn: bool = False
    females: bool = False


@dataclass(frozen=True)
class DemoCoop:
    """A whole demo co-op."""

    slug: str
    name: str
    zone: str
    season: str
    first_day: date
    last_day: date
    people: tuple[DemoPerson, ...]
    ranches: tuple[DemoRanch, ...]
    technicians: tuple[DemoTechnician, ...]
    groups: tuple[DemoGroup, ...]
    barns: tuple[tuple[str, int, float], ...] = field(default=())
    normals: tuple[tuple[int, dict[str, float]], ...] = field(default=())


def _month(low_c: float, high_c: float, morning: float, afternoon: float) -> dict[str, float]:
    return {"low_c": low_c, "high_c": high_c, "morning_humidity": morning, "afternoon_humidity": afternoon}


# Made-up normals of an open range in a warm year, and what the demo's ranches share: made up as well.
_WARM_SPRING = (
    (4, _month(1, 15, 75, 40)),
    (5, _month(8, 24, 75, 38)),
    (6, _month(14, 33, 70, 32)),
    (7, _month(18, 36, 65, 28)),
)
SHARED_PRICES = {"technician_day": Decimal(300), "km": Decimal("0.45"), "barn_day": Decimal(60)}

_HEIFER7, _HEIFER14, _MGA = "heifer_7d_cosynch_insert", "heifer_14d_insert_pg_ftai", "heifer_mga_pg_ftai"
_COW7, _COW5, _COW77 = "cow_7d_cosynch_insert", "cow_5d_cosynch_insert", "cow_7_7_synch"

HIGH_FORK = DemoCoop(
    slug="high-fork",
    name="High Fork Breeders",
    zone=MOUNTAIN,
    season="Spring 2027",
    first_day=date(2027, 4, 12),
    last_day=date(2027, 6, 19),
    people=(
        DemoPerson("coordinator@demo.example", "Maren Holt", ("coordinator",)),
        DemoPerson("rancher@demo.example", "Tomas Vell", ("rancher",), ("willow-draw",)),
        DemoPerson("technician@demo.example", "Ida Strand", ("technician",)),
        DemoPerson("adviser@demo.example", "Dr. Nell Abara", ("adviser",)),
    ),
    ranches=(
        DemoRanch(
            "willow-draw",
            "Willow Draw",
            44.92,
            -103.85,
            ai_stalls=1,
            directions="Second cattle guard, pens on the left",
        ),
        DemoRanch("stone-corral", "Stone Corral", 45.08, -103.42, ai_stalls=2),
        DemoRanch("antelope-bench", "Antelope Bench", 45.31, -103.96, treat_rate=50),
        DemoRanch("cedar-gap", "Cedar Gap", 44.71, -103.30, closed=(date(2027, 5, 16), date(2027, 5, 23))),
        DemoRanch("north-table", "North Table", 45.62, -103.10, opens=time(5, 30)),
        DemoRanch("sweet-fork", "Sweet Fork", 45.35, -102.64, treat_rate=70, ai_stalls=2),
        DemoRanch("dry-lake", "Dry Lake", 45.02, -102.35),
        DemoRanch("windrow", "Windrow", 44.63, -102.55, closes=time(19)),
        DemoRanch("long-grass", "Long Grass", 45.72, -102.20, treat_rate=45),
        DemoRanch("east-bluff", "East Bluff", 45.41, -101.60, treat_rate=55),
        DemoRanch("river-bend", "River Bend", 44.98, -100.28, zone=CENTRAL),
        DemoRanch("oak-coulee", "Oak Coulee", 45.36, -100.12, zone=CENTRAL, ai_stalls=2),
    ),
    technicians=(
        DemoTechnician(
            "Ida Strand",
            45.02,
            -103.62,
            ai_rate=28,
            max_head=120,
            skills=("sexed semen",),
            email="technician@demo.example",
        ),
        DemoTechnician(
            "Oren Pike", 44.85, -102.90, ai_rate=25, max_head=100, days_off=((date(2027, 5, 21), date(2027, 5, 23)),)
        ),
        DemoTechnician("Lucia Marr", 45.45, -102.30, ai_rate=25, max_head=110),
        DemoTechnician("Bram Osei", 45.15, -100.45, ai_rate=22, max_head=90, skills=("sexed semen",)),
    ),
    barns=(("The blue barn", 2, 2.0),),
    normals=_WARM_SPRING,
    groups=(
        DemoGroup("willow-draw", "Home cows", "cow", 92, _COW7, WANTED_SATURDAY, females=True),
        DemoGroup("willow-draw", "Replacement heifers", "heifer", 48, _HEIFER7, date(2027, 5, 12), females=True),
        DemoGroup("stone-corral", "Spring cows", "cow", 108, _COW7, WANTED_SATURDAY),
        DemoGroup("stone-corral", "Yearling heifers", "heifer", 60, _MGA, date(2027, 5, 20)),
        DemoGroup("antelope-bench", "Main herd", "cow", 85, _COW7, WANTED_SATURDAY),
        DemoGroup("antelope-bench", "Two-year-olds", "cow", 40, _COW5, date(2027, 5, 27)),
        DemoGroup("cedar-gap", "Cows", "cow", 74, _COW7, date(2027, 5, 22)),
        DemoGroup("cedar-gap", "Heifers", "heifer", 36, _HEIFER7, date(2027, 5, 11)),
        DemoGroup("north-table", "Early calvers", "cow", 66, _COW77, date(2027, 5, 18)),
        DemoGroup("north-table", "Late calvers", "cow", 38, _COW7, date(2027, 6, 3)),
        DemoGroup("sweet-fork", "River pasture cows", "cow", 110, _COW7, WANTED_SATURDAY, barn=True),
        DemoGroup("sweet-fork", "Heifers", "heifer", 55, _HEIFER14, date(2027, 5, 26), skills=("sexed semen",)),
        DemoGroup("dry-lake", "Cows", "cow", 58, _COW7, date(2027, 5, 21)),
        DemoGroup("dry-lake", "Heifers", "heifer", 30, _HEIFER7, date(2027, 5, 13), ai_by="ranch"),
        DemoGroup("windrow", "Cows", "cow", 64, _COW5, date(2027, 5, 25)),
        DemoGroup("windrow", "First-calf heifers", "cow", 28, _COW7, date(2027, 6, 1), order="any"),
        DemoGroup("long-grass", "Cows", "cow", 96, _COW7, date(2027, 5, 24)),
        DemoGroup("long-grass", "Heifers", "heifer", 44, "heifer_14d_insert_pg_split", date(2027, 5, 29)),
        DemoGroup("east-bluff", "Cows", "cow", 70, _COW7, date(2027, 5, 22)),
        DemoGroup("east-bluff", "Heifers", "heifer", 33, "heifer_7d_insert_pg", date(2027, 5, 14), ai_by="ranch"),
        DemoGroup("river-bend", "Cows", "cow", 88, _COW7, date(2027, 5, 19)),
        DemoGroup("river-bend", "Heifers", "heifer", 50, _HEIFER7, date(2027, 5, 15)),
        DemoGroup("oak-coulee", "Upper cows", "cow", 72, _COW7, date(2027, 5, 20)),
        DemoGroup("oak-coulee", "Lower cows", "cow", 68, _COW7, date(2027, 5, 28), steps_by="technician"),
        DemoGroup("oak-coulee", "Heifers", "heifer", 42, _MGA, date(2027, 6, 2), barn=True),
    ),
)

SALT_REACH = DemoCoop(
    slug="salt-reach",
    name="Salt Reach Beef",
    zone=SYDNEY,
    season="Joining 2027",
    first_day=date(2027, 9, 6),
    last_day=date(2027, 11, 6),
    people=(DemoPerson("neighbour@demo.example", "Peta Lorne", ("coordinator",)),),
    ranches=(
        DemoRanch("box-gum", "Box Gum", -30.52, 151.20, zone=SYDNEY),
        DemoRanch("granite-run", "Granite Run", -30.81, 151.44, zone=SYDNEY),
    ),
    technicians=(DemoTechnician("Col Varga", -30.60, 151.60),),
    groups=(
        DemoGroup("box-gum", "Heifers", "heifer", 40, _HEIFER7, date(2027, 10, 6)),
        DemoGroup("granite-run", "Cows", "cow", 65, _COW7, date(2027, 10, 6)),
    ),
)

COOPS = (HIGH_FORK, SALT_REACH)
