"""Records that cannot be are refused, unlikely ones questioned; always with the field named, never depending on units."""

from datetime import date
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from accounts.units import CM_PER_IN, KG_PER_LB, Units
from herdplan.herds import plausible
from herdplan.herds.models import Female, Record
from herdplan.herds.plausible import Observed, Verdict, judge
from herdplan.herds.queries import History

TODAY = date(2027, 4, 1)
LB, KG = Units("lb", "in", "F"), Units("kg", "cm", "C")


def known(animal_class: str = "cow", *records: Record, **fields: Any) -> History:
    """A female that is in no database."""
    female = Female(tag="7", animal_class=animal_class, **{"born": date(2020, 3, 15), **fields})
    kinds = {record.kind: tuple(r for r in records if r.kind == record.kind) for record in records}
    return History(female, {str(kind): rows for kind, rows in kinds.items()})


def verdict(history: History | None = None, units: Units = LB, day: date = TODAY, **seen: Any) -> Verdict:
    """What is said to it."""
    return judge(Observed(day, **seen), history or known(), units, TODAY)


@pytest.mark.parametrize(
    ("units", "seen", "name", "words"),
    [
        (LB, {"weight": 40 * KG_PER_LB}, "weight", "40 lb cannot be; 200 to 2,700 lb is allowed"),
        (KG, {"weight": 3000.0}, "weight", "3,000 kg cannot be; 91 to 1,224 kg is allowed"),
        (LB, {"calved": date(2028, 3, 1)}, "calved", "lies in the future"),
        (LB, {"calved": date(2021, 3, 1)}, "calved", "less than 500 days of age"),
        (LB, {"tract": 7}, "tract", "1 to 5 is allowed"),
        (LB, {"tract": 0}, "tract", "1 to 5 is allowed"),
        (LB, {"condition": 9.5}, "condition", "1 to 9 in halves"),
        (LB, {"condition": 5.3}, "condition", "1 to 9 in halves"),
        (KG, {"pelvic_height": 5.1, "pelvic_width": 4.7}, "pelvic_height", "7 to 26 cm is allowed. Is it in inches?"),
        (KG, {"pelvic_height": 5.1, "pelvic_width": 4.7}, "pelvic_width", "Is it in inches?"),
        (LB, {"pelvic_height": 13 * CM_PER_IN, "pelvic_width": 30.0}, "pelvic_height", "Is it in centimetres?"),
        (LB, {"pelvic_height": 13.0}, "pelvic_width", "both height and width"),
        (LB, {"day": date(2027, 4, 2), "weight": 500.0}, "day", "lies in the future"),
        (LB, {"day": date(2020, 3, 1), "weight": 500.0}, "day", "She was born on Sun 15 Mar 2020"),
        (LB, {"days_pregnant": 3}, "days_pregnant", "25 to 300 days is allowed. Were these months?"),
        (LB, {"days_pregnant": 301}, "days_pregnant", "301 days cannot be"),
        (LB, {"days_pregnant": 90, "pregnancy": "open"}, "days_pregnant", "Only a female that is pregnant"),
        (LB, {"days_pregnant": 60, "calved": date(2027, 3, 1)}, "days_pregnant", "she calved on Mon 1 Mar 2027"),
        (LB, {"hold_until": date(2027, 5, 1)}, "hold_reason", "Say why"),
        (LB, {"hold_reason": "Lame", "hold_until": date(2027, 3, 1)}, "hold_until", "that day or later"),
    ],
)
def test_what_cannot_be_is_refused_with_what_is_allowed(
    units: Units, seen: dict[str, Any], name: str, words: str
) -> None:
    said = verdict(units=units, **seen)
    assert words in said.faults[name]


@pytest.mark.parametrize(
    ("history", "units", "seen", "name", "words"),
    [
        (known("heifer", born=None), LB, {"weight": 1500 * KG_PER_LB}, "weight", "300 to 1,300 lb"),
        (known(), KG, {"weight": 1150.0}, "weight", "Is it in lb?"),
        (known(), LB, {"weight": 500 * KG_PER_LB}, "weight", "Is it in kg?"),
        (
            known("cow", Record(kind="weight", day=date(2027, 3, 25), weight_kg=400)),
            KG,
            {"weight": 480.0},
            "weight",
            "80 kg more than on Thu 25 Mar 2027 (400 kg)",
        ),
        (known(), LB, {"condition": 9.0}, "condition", "most cattle score 3 to 8"),
        (
            known("cow", Record(kind="condition", day=date(2027, 3, 1), condition=7)),
            LB,
            {"condition": 4.0},
            "condition",
            "large change",
        ),
        (known(), KG, {"pelvic_height": 9.0, "pelvic_width": 8.5}, "pelvic_height", "10 to 20 cm"),
        (known(), KG, {"pelvic_height": 12.0, "pelvic_width": 15.0}, "pelvic_width", "swapped"),
        (known(last_calved=date(2026, 8, 1)), LB, {"calved": date(2027, 3, 1)}, "calved", "also calved on Sat 1 Aug 2026"),
        (known("heifer", born=date(2025, 3, 1)), LB, {"calved": date(2027, 3, 1)}, "calved", "heifer"),
        (known(last_calved=date(2027, 3, 20)), LB, {"pregnancy": "pregnant"}, "pregnancy", "12 days later"),
        (known(born=date(2026, 3, 1)), LB, {"days_pregnant": 200}, "days_pregnant", "would have conceived on Sun 13 Sep"),
        (known(), LB, {"tract": 4}, "tract", "Tract scores are for heifers"),
    ],
)  # fmt: skip
def test_what_is_unlikely_is_questioned(
    history: History, units: Units, seen: dict[str, Any], name: str, words: str
) -> None:
    said = verdict(history, units, **seen)
    assert said.faults == {}
    assert words in said.questions[name]


def test_what_is_usual_passes() -> None:
    heifer = known(
        "heifer", Record(kind="weight", day=date(2026, 12, 1), weight_kg=500 * KG_PER_LB), born=date(2026, 2, 20)
    )
    # 500 lb on 1 December, 650 lb by mid April: "Optimize replacement heifer weight", Montana State University Extension, undated.
    said = verdict(
        heifer, weight=620 * KG_PER_LB, tract=4, pelvic_height=13.0, pelvic_width=12.0, condition=5.5, pregnancy="open"
    )
    assert (said.faults, said.questions) == ({}, {})
    cow = verdict(weight=1400 * KG_PER_LB, calved=date(2027, 2, 10), vaccines=("leptospira",), hold_reason="Lame")
    assert (cow.faults, cow.questions) == ({}, {})


@given(st.floats(10, 1500), st.sampled_from(["cow", "heifer"]))
def test_a_change_of_units_never_changes_a_verdict_on_a_weight(kg: float, animal_class: str) -> None:
    spans = (plausible.WEIGHT_KG, *plausible.USUAL_WEIGHT_KG.values())
    assume(all(abs(kg - bound) > 1e-5 for span in spans for bound in span))
    history = known(animal_class)
    one, other = (verdict(history, units, weight=units.to_kg(units.from_kg(kg))) for units in (LB, KG))
    assert (one.faults.keys(), one.questions.keys()) == (other.faults.keys(), other.questions.keys())


@given(st.floats(1, 60), st.floats(1, 60))
def test_a_change_of_units_never_changes_a_verdict_on_a_pelvis(height: float, width: float) -> None:
    spans = (plausible.PELVIS_CM, plausible.USUAL_HEIGHT_CM, plausible.USUAL_WIDTH_CM)
    assume(all(abs(cm - bound) > 1e-5 for cm in (height, width) for span in spans for bound in span))
    assume(abs(width - height - 1) > 1e-5)
    one, other = (
        verdict(
            units=u, pelvic_height=u.to_cm(u.from_cm(height)), pelvic_width=u.to_cm(u.from_cm(width))
        )
        for u in (LB, KG)
    )  # fmt: skip
    assert (one.faults.keys(), one.questions.keys()) == (other.faults.keys(), other.questions.keys())


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0, 0.0])
def test_no_weight_that_is_no_number_passes(value: float) -> None:
    assert "weight" in verdict(weight=value).faults
