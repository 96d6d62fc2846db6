"""What to do before the programme starts: a calendar counted back from AI day, or from a wanted calving start."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from scheduling.kernel.advice import figures as by
from scheduling.kernel.advice.after_ai import BULLS_IN
from scheduling.kernel.advice.figures import Cited
from scheduling.kernel.advice.moves import FEED_ADAPTED
from scheduling.kernel.advice.rules import DEFAULT_RULES, Rules
from scheduling.kernel.advice.units import day_words
from scheduling.kernel.advice.verdicts import PlanDates
from scheduling.kernel.calving import GESTATION_DAYS
from scheduling.kernel.protocol import AnimalClass
from scheduling.kernel.reader import ReadError

# Heifers are bred 14 days (two to four weeks) ahead of the cows: "Postpartum recovery", Texas A&M-Kingsville author, 2022.
HEIFERS_AHEAD_DAYS = 14
# Two doses three to four weeks apart: "Types of vaccines", Meat & Livestock Australia, undated. The wider gap is counted back,
# so that either fits; with the last dose 30 days before AI the first comes two months before it ("Pre-breeding heifer
# immunology", Bovine Veterinarian, South Dakota State University author, undated).
DOSES_APART_DAYS = 28
# Before the first day of the programme. Semen 4 to 6 weeks, drugs 2 to 3 weeks, nitrogen within two weeks of the first thaw:
# from memory. Facility and crew: defaults of this program.
SEMEN_DAYS, DRUGS_DAYS, NITROGEN_DAYS = (42, 28), (21, 14), (14, 7)
FACILITY_DAYS, CREW_DAYS, COUNT_DAYS = (42, 28), (7, 3), (3, 2)
# Bulls are examined 30 to 60 days before they go in: "Breeding soundness exams", University of Arkansas, undated.
BULL_EXAM_DAYS = (60, 30)
# First weighing of heifers and first scoring of cows before AI: defaults of this program, early enough to feed for it.
FIRST_WEIGHING_DAYS, FIRST_SCORING_DAYS = (150, 120), (120, 90)
# Last scoring: in time to change the ration four weeks before AI.
LAST_LOOK_DAYS = (42, 35)


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to do: from `first` to `last`, its rule's code, why, and who says so. `late`: its last day is past."""

    key: str
    code: str
    first: date
    last: date
    title: str
    text: str
    source: Cited
    late: bool


@dataclass(frozen=True, slots=True)
class Preparing:
    """What the calendar is for: are some vaccinated for the first time; days from AI to bulls in (None: no bulls).

    `inseminates`: somebody thaws semen; without it bulls alone do the work, and AI day is when they go in.
    """

    animal_class: AnimalClass
    first_time_vaccine: bool = True
    bulls_in_days: int | None = BULLS_IN
    needs_gain: bool = True
    needs_insert_or_drugs: bool = True
    inseminates: bool = True


def ai_day_for_calving(first_calves: date, gestation_days: int = GESTATION_DAYS, *, ahead_days: int = 0) -> date:
    """The AI day that gives a wanted start of calving; `ahead_days` earlier for heifers that calve before the cows.

    `ReadError` for a gestation outside 270 to 300 days.
    """
    if not 270 <= gestation_days <= 300:
        raise ReadError("gestation_days", "from 270 to 300")
    return first_calves - timedelta(days=gestation_days + ahead_days)


def preparation(plan: PlanDates, wish: Preparing, rules: Rules = DEFAULT_RULES) -> tuple[Item, ...]:
    """The calendar before AI in the order of its last days; what is past is in it too, marked late."""
    rows = [*_animals(plan, wish, rules), *_health(plan, wish, rules), *_supplies(plan, wish), *_bulls(plan, wish)]
    return tuple(sorted(rows, key=lambda row: (row.last, row.first, row.key)))


def _item(plan: PlanDates, key: str, code: str, days: tuple[date, date], title: str, text: str, source: Cited) -> Item:
    first, last = days
    return Item(key, code, first, last, title, text, source, last < plan.today)


def _before(day: date, span: tuple[int, int]) -> tuple[date, date]:
    return day - timedelta(days=span[0]), day - timedelta(days=span[1])


def _animals(plan: PlanDates, wish: Preparing, rules: Rules) -> Iterator[Item]:
    heifers = wish.animal_class is AnimalClass.HEIFER
    if heifers:
        text = "Weigh all heifers; the gain to target is worked out from it while there is time to feed."
        days = _before(plan.ai, FIRST_WEIGHING_DAYS)
        yield _item(plan, "weigh_first", "target_weight", days, "Weigh heifers", text, by.DEFAULT)
        window = (max(rules.tract_window_days[0] + 14, 42), rules.tract_window_days[0])
        text = "The veterinarian scores tracts and measures pelvises; fewer than half at 4 or 5 means change something first."
        exam = _before(plan.ai, window)
        yield _item(plan, "exam", "tract_when", exam, "Pre-breeding exam", text, by.SYMPOSIUM_2012)
        text = "Weigh again: who is still short needs more feed, another group or another year."
        yield _item(plan, "weigh_again", "weigh", exam, "Weigh heifers again", text, by.PRACTICE)
    else:
        text = "Score condition while there is time to feed thin and young cows."
        days = _before(plan.ai, FIRST_SCORING_DAYS)
        yield _item(plan, "score_first", "condition", days, "Score condition", text, by.DEFAULT)
        text = "Score again: they should be at 5 or better and gaining."
        days = _before(plan.ai, LAST_LOOK_DAYS)
        yield _item(plan, "score_again", "condition_trend", days, "Score condition again", text, by.PRACTICE)
    if wish.needs_gain:
        start = FIRST_WEIGHING_DAYS[1] if heifers else FIRST_SCORING_DAYS[1]
        text = (
            f"Change the ration for who must gain; the last change of feed or pasture is {FEED_ADAPTED} days before AI."
        )
        days = (plan.ai - timedelta(days=start), plan.ai - timedelta(days=FEED_ADAPTED))
        yield _item(plan, "ration", "ration", days, "Ration changes", text, by.SDSU_POST_AI)
    by_day = plan.pg or plan.start
    text = "Be sure that every female is open: PG ends a pregnancy."
    days = (min(by_day - timedelta(days=14), by_day), by_day - timedelta(days=1))
    yield _item(plan, "open", "unknown_pregnancy", days, "Check who may be pregnant", text, by.PG_LABEL)


def _health(plan: PlanDates, wish: Preparing, rules: Rules) -> Iterator[Item]:
    last = plan.ai - timedelta(days=rules.booster_days)
    early = plan.ai - timedelta(days=60)
    text = f"Boosters by {day_words(last)}; the veterinarian decides which. No modified-live vaccine after that day."
    yield _item(plan, "boosters", "boosters", (early, last), "Boosters", text, by.MISSISSIPPI_EXAM_2018)
    if wish.first_time_vaccine:
        first = last - timedelta(days=DOSES_APART_DAYS)
        second = f"three to four weeks before the second by {day_words(last)}"
        text = f"First dose for animals that never had it, {second}; the label decides."
        days = (first - timedelta(days=14), first)
        yield _item(plan, "first_dose", "boosters", days, "First vaccine dose", text, by.MLA_VACCINES)


def _supplies(plan: PlanDates, wish: Preparing) -> Iterator[Item]:
    rows = [
        (
            "facility",
            "facility",
            FACILITY_DAYS,
            "Check chute, alley and cover",
            "Walk it with the crew: footing, gates, light, water and power for the thaw bath, shade or a roof.",
            by.PRACTICE,
        ),
        (
            "semen",
            "order_semen",
            SEMEN_DAYS,
            "Order semen",
            "Choose bulls and order straws with a few spare.",
            by.MEMORY,
        ),
        (
            "nitrogen",
            "order_semen",
            NITROGEN_DAYS,
            "Fill the semen tank",
            "Fill it, and measure the level weekly. Liquid nitrogen burns and takes the air in a closed cab.",
            by.MEMORY,
        ),
        ("crew", "facility", CREW_DAYS, "Confirm the crew", "Everybody knows day, hour and place.", by.DEFAULT),
    ]
    if wish.needs_insert_or_drugs:
        rows.append(
            (
                "drugs",
                "order_semen",
                DRUGS_DAYS,
                "Order drugs and supplies",
                "Prescriptions go through the veterinarian; store by the label.",
                by.MEMORY,
            )
        )
        rows.append(
            (
                "count",
                "safety",
                COUNT_DAYS,
                "Count doses, lay out gloves",
                "Everything for every step is on the place. Pregnant women and people with asthma keep away from PG.",
                by.PG_LABEL,
            )
        )
    semen = () if wish.inseminates else ("semen", "nitrogen")
    for key, code, span, title, text, source in (row for row in rows if row[0] not in semen):
        yield _item(plan, key, code, _before(plan.start, span), title, text, source)


def _bulls(plan: PlanDates, wish: Preparing) -> Iterator[Item]:
    if wish.bulls_in_days is None:
        return
    bulls_in = plan.ai + timedelta(days=wish.bulls_in_days)
    text = f"Bulls go in {day_words(bulls_in)}; one in five fails the exam, so leave time to replace it."
    days = _before(bulls_in, BULL_EXAM_DAYS)
    yield _item(plan, "bull_exam", "bull_exam", days, "Bulls' breeding soundness exam", text, by.ARKANSAS_BULLS)
