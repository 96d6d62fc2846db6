"""The limits that readiness is judged by: defaults with their sources, each a setting that an adviser may change."""

from dataclasses import dataclass

from scheduling.kernel.advice.gain import PELVIS_RATIO
from scheduling.kernel.advice.units import WeightUnit, to_kg
from scheduling.kernel.reader import ReadError

_LB = WeightUnit.LB


@dataclass(frozen=True, slots=True)
class Rules:
    """Limits in kg, cm2, days and shares. Where sources disagree the other figures stand in the rule's why."""

    # 65 % is traditional ("Understanding Reproductive Evaluations of Replacement Heifers", Virginia Cooperative Extension,
    # 2001); 55 % is acceptable in low-cost systems ("Do heifers need to be developed to 65 percent?", University of
    # Nebraska, undated); 55 to 65 % is common practice.
    target_share: float = 0.65
    least_share: float = 0.55
    # Heifers gain at most 2.0 lb a day in the target-weight method ("Heifer Development: Target Weight Concept", Ohio State
    # University Extension, undated).
    heifer_gain_max_kg: float = to_kg(2.0, _LB)
    # 42 to 63 days before breeding in the same source, a month in another ("Head start for heifers", farm press, undated);
    # 0 counts to AI day itself.
    ready_before_ai_days: int = 0
    # A weight or an open check older than this is asked for again: a default of this program.
    stale_days: int = 60
    # A year old at AI: from memory.
    heifer_age_days: int = 365
    # Scores 1 and 2 are least likely to breed ("Use heifer pre-breeding exams as a culling tool", a Midwestern state
    # university extension, undated); a heifer of 14 months needs 4 or 5 ("Reproductive Tract Scoring Replacement Heifers",
    # Virginia Cooperative Extension, 1998).
    tract_least: int = 3
    tract_least_old: int = 4
    tract_old_days: int = 425
    # Exam 28 to 42 days before breeding ("Control of Estrus in Heifers, symposium summary", 2012); up to 60 days is printed
    # ("Heifer breeding soundness exams", Mississippi State University, 2018).
    tract_window_days: tuple[int, int] = (28, 60)
    tract_needed: bool = False
    # Least pelvic area at the pre-breeding exam and at the pregnancy exam (the same Midwestern exam sheet; "Pelvic
    # measurements", farm press, 2009). Growth at 10 to 16 months: 0.27 cm2 a day ("Pelvic Growth and Dystocia in Holstein X
    # Hereford Heifers", AABP, undated).
    pelvis_cm2: float = 150.0
    pelvis_at_check_cm2: float = 180.0
    pelvis_growth_cm2: float = 0.27
    pelvis_needed: bool = False
    pelvis_ratio: float = PELVIS_RATIO
    # Condition 5 at breeding ("2015 Beef Cow Synchronization Protocols", South Dakota State University text, 2015; common
    # practice). A point is 80 lb on a moderate frame ("Various Body Condition Scoring System Charts", Texas A&M AgriLife,
    # undated).
    condition: float = 5.0
    condition_kg: float = to_kg(80.0, _LB)
    # What a cow can gain with a calf at her side: a default of this program, no source.
    cow_gain_max_kg: float = to_kg(2.0, _LB)
    # Never before 20 days ("21 CFR 529.1940", US Food and Drug Administration); common practice waits until 21.
    insert_label_days: int = 20
    insert_days: int = 21
    # 50 days ("Artificial Insemination in Beef Cattle", Beef Cattle Research Council, undated); the uterus needs 40
    # ("Body Condition Scoring, Beef Cow Nutrition and Reproduction", Ohio State University Extension, 2020).
    ai_days: int = 50
    uterus_days: int = 40
    # Group average: common practice.
    average_days: float = 45.0
    # Half the heifers at score 4 or 5 (symposium summary, 2012, read with common practice).
    tract_share: float = 0.5
    # Boosters 30 days before breeding: common practice, and 30 to 60 in "Heifer breeding soundness exams", 2018. Yearly:
    # "Beef Cattle Herd Health Vaccination Guide", University of Maine Extension, undated. The first dose of an animal that
    # never had one at least two months before breeding: "Pre-breeding heifer immunology", Bovine Veterinarian, South Dakota
    # State University author, undated.
    booster_days: int = 30
    booster_valid_days: int = 365
    first_live_days: int = 60
    # Between the two doses of a killed vaccine that an animal has for the first time: usually at least three to four weeks
    # ("Types of vaccines", Meat & Livestock Australia, undated). Labels differ; from memory, none asks for less than two
    # weeks, so a second dose on record from then on counts.
    second_dose_days: tuple[int, int] = (21, 28)
    second_dose_least_days: int = 14
    vaccination_needed: bool = True
    # A second group may start at most this much later (two cycles): a default of this program.
    second_group_days: int = 42

    def __post_init__(self) -> None:
        """Refuse settings that contradict each other; the field is named."""
        if not 0.4 <= self.least_share <= self.target_share <= 0.8:
            raise ReadError("target_share", "a share from 0.4 to 0.8, not below least_share")
        if not 0 < self.insert_label_days <= self.insert_days <= self.ai_days:
            raise ReadError("insert_days", f"from {self.insert_label_days} (the label) to {self.ai_days}")
        if not self.uterus_days <= self.ai_days:
            raise ReadError("uterus_days", f"at most {self.ai_days}")
        if min(self.heifer_gain_max_kg, self.cow_gain_max_kg, self.condition_kg, self.pelvis_ratio) <= 0:
            raise ReadError("gain_max", "more than nothing")


DEFAULT_RULES = Rules()
