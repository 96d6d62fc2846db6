"""A synchronization protocol as a value: its steps, its hour rules, its chute trips and its sources.

Units: `day` is a whole calendar day counted from the protocol's first step (day 0); hours are elapsed hours.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property


class AnimalClass(StrEnum):
    """The classes of female that a group can hold."""

    HEIFER = "heifer"
    COW = "cow"
    BOS_INDICUS_COW = "bos_indicus_influenced_cow"


class Category(StrEnum):
    """How AI is timed under a protocol."""

    HEAT_DETECTION = "heat_detection"
    HEAT_DETECTION_TAI = "heat_detection_plus_cleanup_TAI"
    FIXED_TIME = "FTAI"
    SPLIT_TIME = "split_time_AI"
    SEXED = "sexed_semen"
    NATURAL_SERVICE = "natural_service"
    LABEL = "label"


class Action(StrEnum):
    """What is done to the animal (or the herd) at a step."""

    GIVE = "give"
    REMOVE = "remove"
    INSEMINATE = "inseminate"
    TURN_OUT = "turn_out"
    OBSERVE = "observe"


class Substance(StrEnum):
    """Classes of substance; never a product."""

    PG = "PGF2a"
    GNRH = "GnRH"
    INSERT = "progesterone insert"
    MGA = "MGA"
    SEMEN = "AI"


# A protocol that prints only a target hour is kept within this many hours of it (the season contract, rule 2).
UNSTATED_TOLERANCE_H = 2.0


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure was printed. `seen` says how much of it was read."""

    id: str
    title: str
    publisher: str
    year: str
    address: str
    seen: str


@dataclass(frozen=True, slots=True)
class HourRule:
    """Elapsed hours that a step must keep after another; `min_h`/`max_h` are None where no tolerance is printed."""

    step: str
    target_h: float
    min_h: float | None
    max_h: float | None
    stated: bool

    @property
    def window(self) -> tuple[float, float]:
        """Lowest and highest elapsed hours that are allowed, the unstated tolerance included."""
        low = self.target_h - UNSTATED_TOLERANCE_H if self.min_h is None else self.min_h
        high = self.target_h + UNSTATED_TOLERANCE_H if self.max_h is None else self.max_h
        return low, high


@dataclass(frozen=True, slots=True)
class Step:
    """One dated act of a protocol. `trip` numbers the pass through the chute (None: no pass)."""

    key: str
    label: str
    action: Action
    substance: Substance | None
    dose: str | None
    day: int
    printed_day: str | None
    nominal_day: float
    after: HourRule | None
    applies_to: str
    trip: int | None
    evidence: tuple[str, ...]
    from_memory: bool
    note: str | None = None

    @property
    def is_ai(self) -> bool:
        """True where semen is placed."""
        return self.action is Action.INSEMINATE


@dataclass(frozen=True, slots=True)
class HeatWatch:
    """Heat detection, in elapsed hours after an anchor step; AI follows `ai_after_onset_h` hours after first heat."""

    anchor: str
    start_h: float
    end_h: float
    ai_after_onset_h: float
    rule: str
    applies_to: str
    evidence: tuple[str, ...]
    from_memory: bool
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Variant:
    """Another printed form of the same protocol, kept because sources disagree."""

    what: str
    source: str | None
    year: str | None


@dataclass(frozen=True)
class Protocol:
    """One synchronization protocol of the catalogue."""

    id: str
    name: str
    animal_class: str
    category: Category
    family: str
    status: str
    status_from_memory: bool
    confidence: str
    day_count: str
    steps: tuple[Step, ...]
    heat_watches: tuple[HeatWatch, ...]
    contraindications: tuple[str, ...]
    notes: tuple[str, ...]
    variants: tuple[Variant, ...]
    sources: tuple[Source, ...]
    edition: str
    adjustments: tuple[str, ...] = ()

    @cached_property
    def by_key(self) -> dict[str, Step]:
        """Steps by their key."""
        return {step.key: step for step in self.steps}

    @cached_property
    def trips(self) -> tuple[tuple[Step, ...], ...]:
        """Passes through the chute in order; the steps of one pass are one handling event."""
        numbers = sorted({step.trip for step in self.steps if step.trip is not None})
        return tuple(tuple(step for step in self.steps if step.trip == number) for number in numbers)

    @cached_property
    def ai_steps(self) -> tuple[Step, ...]:
        """The AI sessions at set hours (none for heat detection alone, two for split-time AI)."""
        return tuple(step for step in self.steps if step.is_ai)

    def fits(self, animal_class: AnimalClass) -> bool:
        """Whether the protocol is for females of this class. Cow protocols also serve Bos indicus-influenced cows."""
        if self.animal_class == "heifer_or_cow":
            return True
        if animal_class is AnimalClass.BOS_INDICUS_COW:
            return self.animal_class in (AnimalClass.COW, AnimalClass.BOS_INDICUS_COW)
        return self.animal_class == animal_class

    @cached_property
    def reference_day(self) -> int:
        """The day that a season calls the group's AI day.

        The first AI session where one is set; with heat detection alone the day after which most heats are
        expected, two days after the last PG (peak 48-72 h after PG: "2020 Beef Heifer Synchronization Protocol",
        South Dakota State University Extension, 2020); with natural service the day the bulls go in, else the
        last step's day.
        """
        if self.ai_steps:
            return self.ai_steps[0].day
        if self.heat_watches:
            return max(step.day for step in self.steps if step.substance is Substance.PG) + 2
        turned_out = [step.day for step in self.steps if step.action is Action.TURN_OUT]
        return turned_out[0] if turned_out else max(step.day for step in self.steps)
