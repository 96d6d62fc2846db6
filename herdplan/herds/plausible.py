"""What was seen of a female, and whether it can be: refused where it cannot, questioned where it is unlikely.

Everything here is in kg and cm, so a verdict never depends on the unit that somebody types in; units only word the texts.

Where no source is named, a bound is common practice, set wide on purpose: a refusal must never stop a true figure, and a
question costs one tick.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from accounts.units import Units, figure
from herdplan.herds.models import GESTATION_DAYS, AnimalClass, Record
from herdplan.herds.queries import History

Span = tuple[float, float]
Columns = tuple[str, date, dict[str, Any]]

# Refused outside (kg): 200 to 2,700 lb. Weaned heifers of 450 lb and cows of 1,400 lb are the published figures that must
# pass ("Heifer development: target weight concept", Ohio State University Extension, undated).
WEIGHT_KG: Span = (90.718474, 1224.699399)
# Questioned outside (kg): heifers 300 to 1,300 lb, cows 650 to 2,000 lb.
USUAL_WEIGHT_KG = {AnimalClass.HEIFER: (136.077711, 589.670081), AnimalClass.COW: (294.8350405, 907.18474)}
# Questioned: a change faster than 2 kg a day beyond a tenth of her weight (a full or an empty gut). Published gains lie
# between 1 and 2 lb a day ("Heifer development: target weight concept", Ohio State University Extension, undated).
DAILY_CHANGE_KG, GUT_FILL = 2.0, 0.10
# Scores 1 to 5: "Reproductive tract scoring replacement heifers", Virginia Cooperative Extension, 1998. Condition 1 to 9:
# "Body condition scoring especially important this year", Virginia Cooperative Extension, 1999. Halves are common practice.
TRACT_SCORES, CONDITION = (1, 5), (1.0, 9.0)
USUAL_CONDITION: Span = (3.0, 8.0)
USUAL_CONDITION_CHANGE, CONDITION_CHANGE_DAYS = 2.0, 90
# Vertical height and horizontal width, both in cm ("Pelvic area measurements in the management of replacement heifers",
# University of Arkansas, undated). Refused outside the first span, questioned outside the others (common practice):
PELVIS_CM: Span = (7.0, 26.0)
USUAL_HEIGHT_CM, USUAL_WIDTH_CM = (10.0, 20.0), (8.0, 19.0)
# A calf at under 500 days of age would mean service at about 7 months. Less than 300 days between calvings leaves hardly a
# day to conceive beside a gestation of 283 days ("Gestation length" guideline, Beef Improvement Federation, undated).
YOUNGEST_CALVING_DAYS, SHORTEST_INTERVAL_DAYS = 500, 300
# The earliest checks find a pregnancy 25 to 30 days after breeding
# ("3 tools for early pregnancy checks", NDSU Extension, 2020).
EARLIEST_CHECK_DAYS = 25
# Refused: later than 283 days ("Gestation Length" guideline, Beef Improvement Federation, undated) and the 10 or more that
# some go over ("Gestation length of the beef cow versus dystocia", Nevada Extension, undated), rounded up.
LONGEST_PREGNANT_DAYS = 300
OLDEST_YEARS = 25
# What a mature cow can weigh: defaults of this program, wide; their work is to catch a slipped digit or the wrong unit.
MATURE_KG: Span = (250.0, 1_200.0)
_SLACK = 1e-6  # a bound typed in the other unit must still lie inside


@dataclass(frozen=True)
class Observed:
    """What somebody typed of one female on one day, in kg and cm; None or empty where nothing was typed.

    Days pregnant without a word about the check mean that it found her pregnant.
    """

    day: date
    weight: float | None = None
    tract: int | None = None
    pelvic_height: float | None = None
    pelvic_width: float | None = None
    condition: float | None = None
    calved: date | None = None
    vaccines: tuple[str, ...] = ()
    pregnancy: str = ""
    days_pregnant: int | None = None
    hold_reason: str = ""
    hold_until: date | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing would be saved."""
        return not any(True for _ in self.columns())

    def columns(self) -> Iterator[Columns]:
        """Kind, day and filled columns of each record that this makes."""
        kind = Record.Kind
        if self.weight is not None:
            yield kind.WEIGHT, self.day, {"weight_kg": self.weight}
        if self.tract is not None:
            yield kind.TRACT, self.day, {"tract_score": self.tract}
        if self.pelvic_height is not None and self.pelvic_width is not None:
            pelvis = {"pelvic_height_cm": self.pelvic_height, "pelvic_width_cm": self.pelvic_width}
            yield kind.PELVIS, self.day, pelvis
        if self.condition is not None:
            yield kind.CONDITION, self.day, {"condition": self.condition}
        if self.calved is not None:
            yield kind.CALVING, self.calved, {}
        for vaccine in self.vaccines:
            yield kind.VACCINATION, self.day, {"vaccine": vaccine}
        if self.pregnancy or self.days_pregnant is not None:
            said = self.pregnancy or Record.Pregnancy.PREGNANT
            yield kind.PREGNANCY, self.day, {"pregnancy": said, "days_pregnant": self.days_pregnant}
        if self.hold_reason:
            yield kind.HOLD, self.day, {"reason": self.hold_reason, "until": self.hold_until}


@dataclass
class Verdict:
    """Texts by field (the names of `Observed`): `faults` are refused, `questions` want a tick."""

    faults: dict[str, str] = field(default_factory=dict)
    questions: dict[str, str] = field(default_factory=dict)


def judge(seen: Observed, history: History, units: Units, today: date) -> Verdict:
    """Whether what was typed can be true of her. `today` is the ranch's; texts are in `units`."""
    verdict = Verdict()
    _day(verdict, seen, history, today)
    if seen.weight is not None:
        _weight(verdict, seen.weight, seen.day, history, units)
    _scores(verdict, seen, history)
    _pelvis(verdict, seen, units)
    if seen.calved is not None:
        _calving(verdict, seen.calved, history, today)
    _pregnancy(verdict, seen, history)
    if seen.days_pregnant is not None:
        _days_pregnant(verdict, seen, seen.days_pregnant, history)
    _hold(verdict, seen)
    return verdict


def _said(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b %Y}"


def _day(verdict: Verdict, seen: Observed, history: History, today: date) -> None:
    born = history.female.born
    if seen.day > today:
        verdict.faults["day"] = f"{_said(seen.day)} lies in the future; today, {_said(today)}, or earlier is allowed."
    elif born and seen.day < born:
        verdict.faults["day"] = f"She was born on {_said(born)}; choose that day or later."
    elif (today - seen.day).days > OLDEST_YEARS * 365:
        verdict.faults["day"] = f"This is more than {OLDEST_YEARS} years ago; check the year."


def _outside(value: float, span: Span) -> bool:
    return not (math.isfinite(value) and span[0] - _SLACK <= value <= span[1] + _SLACK)


def _inward(span: Span, convert: Any, places: int) -> tuple[str, str]:
    """A range as it is printed: rounded so that both ends are themselves allowed."""
    scale = 10**places
    low = math.ceil(round(convert(span[0]) * scale, 4)) / scale
    high = math.floor(round(convert(span[1]) * scale, 4)) / scale
    return figure(low, places), figure(high, places)


def _weight(verdict: Verdict, kg: float, day: date, history: History, units: Units) -> None:
    usual = USUAL_WEIGHT_KG[AnimalClass.HEIFER if history.female.animal_class == "heifer" else AnimalClass.COW]
    other = Units(weight="kg" if units.weight == "lb" else "lb")
    swapped = other.to_kg(units.from_kg(kg))
    hint = f" Is it in {other.weight}?" if not _outside(swapped, usual) else ""
    if _outside(kg, WEIGHT_KG):
        low, high = _inward(WEIGHT_KG, units.from_kg, 0)
        verdict.faults["weight"] = (
            f"{units.weight_text(kg)} cannot be; {low} to {high} {units.weight} is allowed.{hint}"
        )
        return
    before = next((row for row in history.of(Record.Kind.WEIGHT) if row.day < day), None)
    if _outside(kg, usual):
        low, high = _inward(usual, units.from_kg, 0)
        word = "heifer" if history.female.animal_class == "heifer" else "cow"
        verdict.questions["weight"] = (
            f"{units.weight_text(kg)} is unusual for a {word} (most weigh {low} to {high} {units.weight}).{hint}"
        )
    elif before is not None and before.weight_kg is not None:
        change = abs(kg - before.weight_kg)
        if change > DAILY_CHANGE_KG * (day - before.day).days + GUT_FILL * before.weight_kg:
            verdict.questions["weight"] = (
                f"{units.weight_text(kg)} is {units.weight_text(change)} {'more' if kg > before.weight_kg else 'less'} "
                f"than on {_said(before.day)} ({units.weight_text(before.weight_kg)}).{hint}"
            )


def _scores(verdict: Verdict, seen: Observed, history: History) -> None:
    if seen.tract is not None and not TRACT_SCORES[0] <= seen.tract <= TRACT_SCORES[1]:
        verdict.faults["tract"] = f"{seen.tract} is no tract score; 1 to 5 is allowed."
    elif seen.tract is not None and history.female.animal_class != AnimalClass.HEIFER:
        verdict.questions["tract"] = "Tract scores are for heifers; she stands in the herd as a cow."
    score = seen.condition
    if score is None:
        return
    if _outside(score, CONDITION) or (score * 2) % 1:
        verdict.faults["condition"] = f"{figure(score, 2)} is no condition score; 1 to 9 in halves is allowed."
        return
    before = next((row for row in history.of(Record.Kind.CONDITION) if row.day < seen.day), None)
    if _outside(score, USUAL_CONDITION):
        verdict.questions["condition"] = f"{figure(score, 1)} is rare; most cattle score 3 to 8."
    elif (
        before is not None
        and before.condition is not None
        and abs(score - before.condition) > USUAL_CONDITION_CHANGE
        and (seen.day - before.day).days < CONDITION_CHANGE_DAYS
    ):
        verdict.questions["condition"] = (
            f"She scored {figure(before.condition, 1)} on {_said(before.day)}; {figure(score, 1)} is a large change."
        )


def _pelvis(verdict: Verdict, seen: Observed, units: Units) -> None:
    sides = {
        "pelvic_height": (seen.pelvic_height, USUAL_HEIGHT_CM),
        "pelvic_width": (seen.pelvic_width, USUAL_WIDTH_CM),
    }
    for name, (cm, usual) in sides.items():
        if cm is not None:
            _side(verdict, name, cm, usual, units)
    height, width = seen.pelvic_height, seen.pelvic_width
    if (height is None) != (width is None):
        missing = "pelvic_width" if width is None else "pelvic_height"
        verdict.faults.setdefault(missing, "Type both height and width, or neither.")
    elif height is not None and width is not None and width > height + 1 and not verdict.faults:
        verdict.questions.setdefault("pelvic_width", "The pelvis is wider than it is high. Were the two swapped?")


def _side(verdict: Verdict, name: str, cm: float, usual: Span, units: Units) -> None:
    other = Units(length="cm" if units.length == "in" else "in")
    swapped = other.to_cm(units.from_cm(cm))
    hint = f" Is it in {'centimetres' if other.length == 'cm' else 'inches'}?" if not _outside(swapped, usual) else ""
    word = name.replace("_", " ")
    if _outside(cm, PELVIS_CM):
        low, high = _inward(PELVIS_CM, units.from_cm, 1)
        verdict.faults[name] = (
            f"{units.length_text(cm)} cannot be a {word}; {low} to {high} {units.length} is allowed.{hint}"
        )
    elif _outside(cm, usual):
        low, high = _inward(usual, units.from_cm, 1)
        verdict.questions[name] = (
            f"{units.length_text(cm)} is an unusual {word} (most are {low} to {high} {units.length}).{hint}"
        )


def _calving(verdict: Verdict, day: date, history: History, today: date) -> None:
    female = history.female
    if day > today:
        verdict.faults["calved"] = f"{_said(day)} lies in the future; today, {_said(today)}, or earlier is allowed."
    elif female.born and (day - female.born).days < YOUNGEST_CALVING_DAYS:
        verdict.faults["calved"] = (
            f"She was born on {_said(female.born)} and would have calved at less than {YOUNGEST_CALVING_DAYS} days of age; "
            "check both dates."
        )
    elif (today - day).days > OLDEST_YEARS * 365:
        verdict.faults["calved"] = f"This is more than {OLDEST_YEARS} years ago; check the year."
    else:
        near = [other for other in history.calvings if 0 < abs((day - other).days) < SHORTEST_INTERVAL_DAYS]
        if near:
            verdict.questions["calved"] = (
                f"She also calved on {_said(near[0])}, {abs((day - near[0]).days)} days from this day."
            )
        elif female.animal_class == "heifer":
            verdict.questions["calved"] = "She stands in the herd as a heifer that has not calved."


def _pregnancy(verdict: Verdict, seen: Observed, history: History) -> None:
    if seen.pregnancy != Record.Pregnancy.PREGNANT or seen.days_pregnant is not None:
        return
    days = [*history.calvings, *([seen.calved] if seen.calved else [])]
    near = [day for day in days if 0 <= (seen.day - day).days < EARLIEST_CHECK_DAYS]
    if near:
        verdict.questions["pregnancy"] = (
            f"She calved on {_said(near[0])}; no check finds a pregnancy {(seen.day - near[0]).days} days later."
        )


def _days_pregnant(verdict: Verdict, seen: Observed, days: int, history: History) -> None:
    """How far along she is: what a check can tell, and whether she could have conceived then."""
    low, high = EARLIEST_CHECK_DAYS, LONGEST_PREGNANT_DAYS
    if seen.pregnancy in (Record.Pregnancy.OPEN, Record.Pregnancy.UNKNOWN):
        verdict.faults["days_pregnant"] = "Only a female that is pregnant has days; choose Pregnant, or empty this."
        return
    if not low <= days <= high:
        hint = " Were these months?" if 1 <= days <= 9 else ""
        verdict.faults["days_pregnant"] = f"{days} days cannot be; {low} to {high} days is allowed.{hint}"
        return
    conceived = seen.day - timedelta(days=days)
    calvings = [*history.calvings, *([seen.calved] if seen.calved else [])]
    last = max((day for day in calvings if day <= seen.day), default=None)
    if last is not None and conceived <= last:
        verdict.faults["days_pregnant"] = (
            f"{days} days before {_said(seen.day)} is {_said(conceived)}, and she calved on {_said(last)}; check both."
        )
    elif history.female.born and (conceived - history.female.born).days < YOUNGEST_CALVING_DAYS - GESTATION_DAYS:
        verdict.questions["days_pregnant"] = (
            f"She was born on {_said(history.female.born)} and would have conceived on {_said(conceived)}."
        )


def _hold(verdict: Verdict, seen: Observed) -> None:
    if seen.hold_until is None:
        return
    if not seen.hold_reason:
        verdict.faults["hold_reason"] = "Say why she is held, or leave the last day empty."
    elif seen.hold_until < seen.day:
        verdict.faults["hold_until"] = f"The hold begins on {_said(seen.day)}; choose that day or later."
