"""Which limits of readiness a co-op may set for itself, between which bounds, and who printed the default.

Values are kept as the rules keep them: kg, cm2, days, shares. The label's day for inserts is not among them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import StrEnum

from scheduling.kernel.advice import figures as by
from scheduling.kernel.advice.figures import Cited
from scheduling.kernel.advice.rules import DEFAULT_RULES, Rules
from scheduling.kernel.reader import ReadError


class Measure(StrEnum):
    """What a limit is measured in."""

    SHARE = "per cent"
    GAIN = "gain a day"
    DAYS = "days"
    SCORE = "score"
    AREA = "square centimetres"
    EITHER = "yes or no"


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit that may be set: `low` and `high` are the bounds, both allowed; `why` opens its explanation."""

    field: str
    words: str
    measure: Measure
    low: float
    high: float
    why: str
    sources: tuple[Cited, ...]

    @property
    def default(self) -> float:
        """What is printed, or the program's own."""
        return float(getattr(DEFAULT_RULES, self.field))

    @property
    def whole(self) -> bool:
        """Whether only whole numbers are allowed."""
        return isinstance(getattr(DEFAULT_RULES, self.field), int)


_S, _G, _D, _C, _A, _E = Measure
LIMITS = (
    Limit(
        "target_share",
        "Heifers: share of mature weight at breeding",
        _S,
        0.5,
        0.75,
        "target_weight",
        (by.VIRGINIA_HEIFERS_2001, by.PRACTICE),
    ),
    Limit(
        "least_share",
        "Heifers: least share of mature weight to try",
        _S,
        0.45,
        0.7,
        "target_weight",
        (by.NEBRASKA_65, by.PRACTICE),
    ),
    Limit("heifer_gain_max_kg", "Heifers: most gain to count on", _G, 0.2, 1.6, "target_weight", (by.OHIO_TARGET,)),
    Limit(
        "ready_before_ai_days",
        "Heifers: reach the target so many days before AI",
        _D,
        0,
        63,
        "target_weight",
        (by.OHIO_TARGET, by.HEAD_START),
    ),
    Limit("heifer_age_days", "Heifers: age at AI", _D, 300, 540, "age", (by.MEMORY,)),
    Limit("tract_needed", "Heifers: tract scores are asked for", _E, 0, 1, "tract", (by.DEFAULT,)),
    Limit("tract_least", "Heifers: least tract score", _C, 1, 5, "tract", (by.MIDWEST_EXAM,)),
    Limit("tract_least_old", "Heifers past 14 months: least tract score", _C, 1, 5, "tract", (by.VIRGINIA_TRACT_1998,)),
    Limit(
        "tract_share",
        "Heifers: share of the group at tract score 4 or 5",
        _S,
        0.2,
        0.9,
        "tract_share",
        (by.SYMPOSIUM_2012, by.PRACTICE),
    ),
    Limit("pelvis_needed", "Heifers: pelvic measures are asked for", _E, 0, 1, "pelvis", (by.DEFAULT,)),
    Limit("pelvis_cm2", "Heifers: least pelvic area", _A, 120, 200, "pelvis", (by.MIDWEST_EXAM, by.PELVIS_2009)),
    Limit("ai_days", "Cows: days since calving at AI", _D, 30, 90, "days_ai", (by.CANADA_AI,)),
    Limit("uterus_days", "Cows: days that the uterus needs", _D, 30, 60, "uterus", (by.OHIO_CONDITION_2020,)),
    Limit(
        "insert_days",
        "Cows: days since calving at the insert",
        _D,
        20,
        60,
        "days_insert",
        (by.PRACTICE, by.INSERT_LABEL),
    ),
    Limit("average_days", "Cows: the group's average days since calving", _D, 30, 90, "average_days", (by.PRACTICE,)),
    Limit(
        "second_group_days",
        "Cows: latest start of a second group, days later",
        _D,
        7,
        63,
        "second_group",
        (by.DEFAULT,),
    ),
    Limit("condition", "Body condition at breeding", _C, 3, 7, "condition", (by.SDSU_COWS_2015, by.PRACTICE)),
    Limit("cow_gain_max_kg", "Cows: most gain to count on", _G, 0.2, 1.6, "condition", (by.DEFAULT,)),
    Limit("vaccination_needed", "Boosters before breeding are asked for", _E, 0, 1, "boosters", (by.PRACTICE,)),
    Limit("booster_days", "Boosters: days before AI", _D, 14, 90, "boosters", (by.PRACTICE, by.MISSISSIPPI_EXAM_2018)),
    Limit("booster_valid_days", "Boosters: days that they last", _D, 150, 400, "boosters", (by.MAINE_VACCINE,)),
    Limit(
        "first_live_days",
        "First modified-live dose: days before AI",
        _D,
        30,
        120,
        "live_vaccine",
        (by.HEIFER_IMMUNITY,),
    ),
    Limit("stale_days", "Weights and open checks count for so many days", _D, 14, 180, "weigh", (by.DEFAULT,)),
)
LIMIT_OF: Mapping[str, Limit] = {limit.field: limit for limit in LIMITS}


def with_limits(values: Mapping[str, float]) -> Rules:
    """The rules with a co-op's own limits; `ReadError` names the field and what is allowed, also where two contradict."""
    for name, value in values.items():
        _check(name, value)
    changed = {name: _typed(name, value) for name, value in values.items()}
    kept = {item.name: getattr(DEFAULT_RULES, item.name) for item in fields(Rules)}
    return Rules(**{**kept, **changed})


def _check(name: str, value: float) -> None:
    limit = LIMIT_OF.get(name)
    if limit is None:
        raise ReadError(name, "a limit that may be set")
    if not limit.low <= value <= limit.high:
        raise ReadError(name, f"{limit.measure.value} from {limit.low:g} to {limit.high:g}")
    if limit.whole and value != int(value):
        raise ReadError(name, "a whole number")


def _typed(name: str, value: float) -> float | int | bool:
    default = getattr(DEFAULT_RULES, name)
    if isinstance(default, bool):
        return bool(value)
    return int(value) if isinstance(default, int) else value
