"""What is on record about one female. Weights are kg, lengths cm, days calendar days.

Whether a record can be is judged where it is typed (`herdplan/herds/plausible.py`).
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from scheduling.kernel.protocol import AnimalClass


class Pregnancy(StrEnum):
    """What is known about a pregnancy."""

    OPEN = "open"
    PREGNANT = "pregnant"
    UNKNOWN = "unknown"


class VaccineKind(StrEnum):
    """The two kinds of vaccine that the lead time differs for."""

    KILLED = "killed"
    MODIFIED_LIVE = "modified live"


@dataclass(frozen=True, slots=True)
class Weighing:
    """A weight (kg) on a day."""

    day: date
    kg: float


@dataclass(frozen=True, slots=True)
class ConditionScore:
    """Body condition, 1 (thin) to 9 (fat), on a day; half scores are allowed."""

    day: date
    score: float


@dataclass(frozen=True, slots=True)
class TractScore:
    """Reproductive tract score, 1 to 5, on a day."""

    day: date
    score: int


@dataclass(frozen=True, slots=True)
class Pelvis:
    """Pelvic height and width (cm) on a day."""

    day: date
    height_cm: float
    width_cm: float

    @property
    def area_cm2(self) -> float:
        """Height times width: "Pelvic Area Measurements in the Management of Replacement Heifers", Univ. of Arkansas."""
        return self.height_cm * self.width_cm


@dataclass(frozen=True, slots=True)
class Vaccination:
    """A dose given on a day. `first_time`: she had never had this vaccine before. `vaccine` tells vaccines apart."""

    day: date
    kind: VaccineKind
    first_time: bool = False
    vaccine: str = ""


@dataclass(frozen=True, slots=True)
class Hold:
    """A health hold from a day; `until` None while it lasts."""

    since: date
    until: date | None
    why: str


@dataclass(frozen=True, slots=True)
class FemaleRecord:
    """One female's records. `due`: when a cow that has not calved yet is expected to; `due_guessed` where nobody typed it.

    `kept_from_bulls`: she has not been with a bull since she last calved or was weaned.
    """

    tag: str
    animal_class: AnimalClass
    born: date | None = None
    calved: date | None = None
    due: date | None = None
    due_guessed: bool = False
    weights: tuple[Weighing, ...] = ()
    conditions: tuple[ConditionScore, ...] = ()
    tract: TractScore | None = None
    pelvis: Pelvis | None = None
    vaccinations: tuple[Vaccination, ...] = ()
    pregnancy: Pregnancy = Pregnancy.UNKNOWN
    pregnancy_checked: date | None = None
    kept_from_bulls: bool = False
    holds: tuple[Hold, ...] = ()

    @property
    def is_heifer(self) -> bool:
        """Whether the heifer rules are for her."""
        return self.animal_class is AnimalClass.HEIFER

    @property
    def latest_weight(self) -> Weighing | None:
        """The last weighing by day (of two on one day the later in the list)."""
        return max(self.weights, key=lambda item: item.day, default=None)

    @property
    def latest_condition(self) -> ConditionScore | None:
        """The last condition score by day."""
        return max(self.conditions, key=lambda item: item.day, default=None)

    def calving(self, today: date) -> tuple[date | None, bool]:
        """Her calving that counts, and whether it is still expected (a day typed ahead counts as expected)."""
        if self.due is not None and self.pregnancy is Pregnancy.PREGNANT:
            return max(self.due, today), True
        if self.calved is not None:
            return self.calved, self.calved > today
        return (max(self.due, today), True) if self.due is not None else (None, False)
