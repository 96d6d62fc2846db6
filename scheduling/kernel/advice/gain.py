"""Arithmetic of gain, condition and pelvis. Weights in kg, gains in kg a day, areas in cm2."""

# Pelvic area to calf weight, cm2 per kg: "Relationships of pelvic structure, body measurements, pelvic area and calving
# difficulty", journal abstract of 186 heifers, undated.
PELVIS_RATIO = 4.7


def gain_needed(kg: float, target_kg: float, days: int) -> float:
    """Gain (kg a day) from `kg` to `target_kg` in `days` days; `ValueError` when no day is left.

    "Heifer Development: Target Weight Concept", Ohio State University Extension, undated.
    """
    if days <= 0:
        raise ValueError("days: at least 1")
    return (target_kg - kg) / days


def condition_gain_needed(score: float, wanted: float, days: int, kg_a_point: float, extra_kg: float = 0.0) -> float:
    """Gain (kg a day) from one condition score to another; `extra_kg` for what a pregnant cow puts on besides.

    "Various Body Condition Scoring System Charts", Texas A&M AgriLife Extension, undated.
    """
    return gain_needed(0.0, (wanted - score) * kg_a_point + extra_kg, days)


def deliverable_calf_kg(area_cm2: float, ratio: float = PELVIS_RATIO) -> float:
    """Weight of the calf (kg) that a pelvic area measured before breeding is said to deliver; `ratio` in cm2 per kg."""
    return area_cm2 / ratio


# Share of heifers pregnant in the season by share of mature weight at breeding: "Effect of heifer percent mature body weight
# at breeding", Oklahoma State University Extension, 2024 (1,434 heifers of Nebraska, 2005-2019).
PREGNANT_BY_SHARE = ((0.50, 0.74), (0.55, 0.80), (0.60, 0.83), (0.65, 0.85), (0.70, 0.85))
# Share pregnant to synchronized AI and in the season by tract score: "Reproductive Tract Scoring Replacement Heifers",
# Virginia Cooperative Extension, 1998.
PREGNANT_BY_TRACT = {1: (0.026, 0.262), 2: (0.226, 0.742), 3: (0.395, 0.762), 4: (0.546, 0.941), 5: (0.550, 0.850)}
