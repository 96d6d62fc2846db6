"""After AI: bulls, heat watch, a second round, pregnancy checks, and everything on its days. AI day is day 0."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import ceil

from scheduling.kernel.advice.moves import (
    FEED_ADAPTED,
    FEED_SAME_AFTER,
    FEED_SAME_BEFORE,
    FEED_SUPPLEMENT,
    HAUL_AGAIN,
    HAUL_BANDS,
    HAUL_FREELY,
    NO_HAUL,
    PRINTED_CLOSED,
    SAFE_TO_HAUL,
)
from scheduling.kernel.advice.units import day_words
from scheduling.kernel.calving import due_date
from scheduling.kernel.protocol import Protocol
from scheduling.kernel.reader import ReadError

# Bulls in 10 days after AI (trial practice: "Does AI cost or pay?", University of Kentucky, 2011; Kansas State University
# column, undated); 14 days where AI and bull calves must be told apart: from memory.
BULLS_IN, BULLS_IN_APART = 10, 14
# Females to a bull by age in months, low and high: "Bull to Female Ratios", Oklahoma State University Extension, 2022.
FEMALES_A_BULL = ((12, 10, 12), (15, 12, 18), (18, 18, 25), (24, 25, 35))
# A yearling stays in 60 days at most: "Yearling bulls need special attention", University of Nebraska, 2013.
YEARLING_STAYS = 60
# Returns after one timed AI are spread over 10 to 12 days: "How many natural service sires are needed after
# synchronization?", Kansas State University, undated.
RETURN_SPREAD = (10, 12)
# Cycle 21 (17-24) days: "Standing estrus (heat) and heat detection aids", LSU AgCenter, undated. Watch on days 18-23: memory.
HEAT_WATCH = (18, 23)
# Insert from day 14 to day 21, heats 36 to 96 h after: "Resynchronization: an option for the small cow-calf rancher",
# University of Kentucky, 2012.
RESYNC_IN, RESYNC_OUT, RESYNC_HEAT_H = 14, 21, (36, 96)


def females_a_bull(age_months: int) -> tuple[int, int]:
    """Fewest and most females for a bull of this age; `ReadError` under a year."""
    fits = [(low, high) for months, low, high in FEMALES_A_BULL if age_months >= months]
    if not fits:
        raise ReadError("age_months", "at least 12; younger bulls are not turned out")
    return fits[-1]


def bulls_needed(females: int, females_each: float) -> int:
    """Bulls for that many females (for clean-up: those expected open), rounded up; no bull for no females."""
    if females < 0 or females_each <= 0:
        raise ReadError("females_each", "more than nothing")
    return ceil(females / females_each - 1e-9)


def open_after_ai(head: int, pregnancy_rate: float) -> int:
    """Females expected open after AI, rounded up to whole animals."""
    if not 0 <= pregnancy_rate <= 1:
        raise ReadError("pregnancy_rate", "a share from 0 to 1")
    return ceil(head * (1 - pregnancy_rate) - 1e-9)


class CheckMethod(StrEnum):
    """How pregnancy is told."""

    SCAN = "ultrasound scan"
    PALPATION = "palpation"
    BLOOD = "blood test"


@dataclass(frozen=True, slots=True)
class CheckDay:
    """From when a method tells (`earliest`), when it is routine, and what to know."""

    method: CheckMethod
    earliest: date
    routine: date
    text: str


# Days after breeding, earliest and routine. Scan 28-32, practical 35: "Pregnancy Determination in Cattle", Merck Veterinary
# Manual, undated; "Avoid transportation, heat issues during early pregnancy", Texas A&M, 2021. Palpation 35, routine 42:
# "Pregnancy Diagnosis Options for Beef Cattle Producers", University of Florida IFAS, 2015. Blood 28: "3 tools for early
# pregnancy checks", North Dakota State University, 2020.
_METHODS = {
    CheckMethod.SCAN: (28, 35, "A scan before day 40 to 50 carries a small risk of loss."),
    CheckMethod.PALPATION: (35, 42, "Skilled hands only; before day 53 losses were 3.5 %, against 1.3 % after it."),
    CheckMethod.BLOOD: (
        28,
        30,
        "Not within 60 to 90 days of her last calving (by product): old pregnancy shows still.",
    ),
}
# "Pregnancy diagnosis in your cow calf herd", SDSU, undated, prints 60 to 90 by product; the longer is used.
BLOOD_AFTER_CALVING = 90
# AI and bull pregnancies are told apart by a scan while the bull's is 28 days or more and the AI's at most 90: rule worked
# out from "Tally time: get more value from pregnancy diagnosis", Kansas State University, undated (90 % within 10 days).
TELL_APART_BULL, TELL_APART_AI = 28, 90


def check_days(ai_day: date, last_calving: date | None = None) -> tuple[CheckDay, ...]:
    """From when each method tells an AI pregnancy. `last_calving`: the latest calver's day, for the blood test."""
    days = []
    for method, (first, routine, text) in _METHODS.items():
        earliest, usual = ai_day + timedelta(days=first), ai_day + timedelta(days=routine)
        if method is CheckMethod.BLOOD and last_calving is not None:
            clear = last_calving + timedelta(days=BLOOD_AFTER_CALVING)
            earliest, usual = max(earliest, clear), max(usual, clear)
        days.append(CheckDay(method, earliest, usual, text))
    return tuple(days)


def tell_apart_days(ai_day: date, bulls_in: date) -> tuple[date, date] | None:
    """First and last day of a scan that tells AI from bull pregnancies; None where no day does."""
    first, last = bulls_in + timedelta(days=TELL_APART_BULL), ai_day + timedelta(days=TELL_APART_AI)
    return (first, last) if bulls_in > ai_day and first <= last else None


def looks_like_ai(estimated_age: int, scan_day: date, ai_day: date, bulls_in: date) -> bool:
    """Whether an estimated fetal age (days) is nearer to AI than to the bulls' first possible day."""
    gap = (bulls_in - ai_day).days
    return estimated_age > (scan_day - ai_day).days - gap / 2


# A check of the whole group where no method was chosen: common practice at 60 days. Before day 53 exams lost 3.5 %, after it
# 1.3 % ("Avoid transportation, heat issues during early pregnancy", Texas A&M Extension, 2021).
PREGNANCY_CHECK = 60
# "Avoid heat stress during breeding", University of Nebraska, undated: 10 days before to about 20 days after.
HEAT_HURTS = (-10, 20)
# The months in which cattle suffer from heat, north of the equator (June to August) and south of it: common practice.
_HOT_NORTH, _HOT_SOUTH = (6, 7, 8), (12, 1, 2)
# A first full-term calf came 13 days before the projected day: "May calving, bull turnout Aug. 1", NDSU column, 2014.
WATCH_BEFORE_DUE = 14


def anchor(protocol: Protocol) -> tuple[str, int] | None:
    """The step from whose day the AI day follows, and the whole days from it to the AI day."""
    step = protocol.ai_steps[0] if protocol.ai_steps else (protocol.steps[-1] if protocol.steps else None)
    return (step.key, protocol.reference_day - step.day) if step else None


@dataclass(frozen=True, slots=True)
class DatedAdvice:
    """A dated line of advice after AI: its key, the rule's code, first and last day, words.

    `band`: it says what not to do in those days; the others are things to do.
    """

    key: str
    code: str
    first: date
    last: date
    title: str
    text: str
    band: bool = False


@dataclass(frozen=True, slots=True)
class AfterPlan:
    """What a group wants after AI: calves told apart or not, bulls at all, a second round, how long bulls stay in.

    `bulls_day`: the day that somebody chose for them. `check`: the method of the pregnancy check, None for the usual day.
    `natural`: bulls alone, `ai_day` is when they go in. `south`: of the equator.
    """

    tell_apart: bool = False
    bulls: bool = True
    resynchronize: bool = False
    bull_days: int = 60
    last_calving: date | None = None
    bulls_day: date | None = None
    check: CheckMethod | None = None
    natural: bool = False
    south: bool = False


def bulls_wait(wish: AfterPlan) -> int:
    """Days from AI until bulls go in."""
    if wish.resynchronize:
        return RESYNC_OUT + BULLS_IN
    return BULLS_IN_APART if wish.tell_apart else BULLS_IN


def after_ai(ai_day: date, wish: AfterPlan | None = None) -> tuple[DatedAdvice, ...]:
    """The calendar after AI in the order of its days: bands, bulls, watch, second round, check, calving.

    With natural service only calving follows.
    """
    wish = wish or AfterPlan()
    rows = [_calving(ai_day, wish)]
    if not wish.natural:
        rows += [*_bands(ai_day, wish), *_work(ai_day, wish)]
    return tuple(sorted(rows, key=lambda row: (row.first, row.code, row.key)))


def _bands(ai_day: date, wish: AfterPlan) -> Iterator[DatedAdvice]:
    def on(day: int) -> date:
        return ai_day + timedelta(days=day)

    safe, closed, care = HAUL_BANDS[1:4]
    yield DatedAdvice(
        "haul_now", "haul", on(SAFE_TO_HAUL[0]), on(SAFE_TO_HAUL[1]), "Haul now if you must", safe.text, True
    )
    printed, again = f"Days {PRINTED_CLOSED[0]} to {PRINTED_CLOSED[1]} are in print", day_words(on(HAUL_AGAIN))
    text = (
        f"{closed.text} {printed}; the days until {day_words(on(NO_HAUL[1]))} are in no sheet and count as closed. "
        f"Haul on days {SAFE_TO_HAUL[0]} to {SAFE_TO_HAUL[1]}, or from day {HAUL_AGAIN} ({again}) on, "
        f"and then only what must go until day {HAUL_FREELY - 1}."
    )
    yield DatedAdvice("haul", "haul", on(NO_HAUL[0]), on(NO_HAUL[1]), "Do not haul", text, True)
    yield DatedAdvice(
        "haul_care", "haul", on(HAUL_AGAIN), on(HAUL_FREELY - 1), "Haul only what must go", care.text, True
    )
    text = (
        "No change of feed and no turning out, for heifers above all. "
        f"Change by {day_words(on(-FEED_ADAPTED))}, or wait; otherwise feed a supplement for {FEED_SUPPLEMENT} days."
    )
    yield DatedAdvice(
        "feed", "feed", on(-FEED_SAME_BEFORE), on(FEED_SAME_AFTER), "Keep feed and place as they are", text, True
    )
    hot, first, last = _HOT_SOUTH if wish.south else _HOT_NORTH, on(HEAT_HURTS[0]), on(HEAT_HURTS[1])
    if any((first + timedelta(days=i)).month in hot for i in range((last - first).days + 1)):
        text = (
            "Shade, water, air. In hot weather work cattle at dawn and in small lots; the evening is not cool for them. "
            "Watch the people too."
        )
        yield DatedAdvice("heat", "cattle_heat", first, last, "Heat costs pregnancies now", text, True)


def _work(ai_day: date, wish: AfterPlan) -> Iterator[DatedAdvice]:
    first, last = (ai_day + timedelta(days=day) for day in HEAT_WATCH)
    watch = "Watch morning and evening; who comes in heat did not settle."
    yield DatedAdvice("heat_watch", "heat_watch", first, last, "Watch for returns", watch)
    if wish.resynchronize:
        yield from _second_round(ai_day)
    if wish.bulls:
        yield from _bulls(ai_day, wish)
    yield _check(ai_day, wish)


def _check(ai_day: date, wish: AfterPlan) -> DatedAdvice:
    """One check, on the routine day of the chosen method; its text has the days of every method."""
    rows = check_days(ai_day, wish.last_calving)
    day = ai_day + timedelta(days=PREGNANCY_CHECK)
    if wish.check is not None:
        day = next(row.routine for row in rows if row.method is wish.check)
    lines = [
        f"By {row.method} from {day_words(row.earliest)}, as a routine from {day_words(row.routine)}." for row in rows
    ]
    before = "Exams before day 40 to 50 carry some risk."
    text = " ".join(["The veterinarian chooses the way and the day.", *lines, before])
    title = f"Pregnancy check by {wish.check}" if wish.check else "Pregnancy check due"
    return DatedAdvice("check", "preg_check", day, day, title, text)


def _calving(ai_day: date, wish: AfterPlan) -> DatedAdvice:
    due = due_date(ai_day)
    watch = due - timedelta(days=WATCH_BEFORE_DUE)
    text = (
        f"283 days after breeding; most calves come within 7 to 14 days either side. Begin to watch on {day_words(watch)}; "
        "heifers are checked more often."
    )
    title = "First calves expected" if wish.natural else "First AI calves expected"
    return DatedAdvice("calving", "gestation", due, due, title, text)


def _second_round(ai_day: date) -> Iterator[DatedAdvice]:
    first, out = ai_day + timedelta(days=RESYNC_IN), ai_day + timedelta(days=RESYNC_OUT)
    text = f"Out on {day_words(out)}; returns come in heat {RESYNC_HEAT_H[0]} to {RESYNC_HEAT_H[1]} hours after."
    yield DatedAdvice(
        "resync_in", "resync", first, out, "Insert in for a second round", f"{text} No PG: most are pregnant."
    )
    text = "Inseminate who comes in heat, 12 hours after it is seen."
    last = out + timedelta(hours=RESYNC_HEAT_H[1])
    yield DatedAdvice(
        "resync_heat", "resync", out + timedelta(days=1), last, "Heat detection of the second round", text
    )


def _bulls(ai_day: date, wish: AfterPlan) -> Iterator[DatedAdvice]:
    day = ai_day + timedelta(days=bulls_wait(wish))
    text = f"Turn in bulls that passed a breeding soundness exam. A yearling stays in {YEARLING_STAYS} days at most."
    if not wish.tell_apart and not wish.resynchronize:
        text += f" Wait until day {BULLS_IN_APART} where calves of AI and of bulls must be told apart."
    yield DatedAdvice("bulls", "bulls_in", day, day, "Bulls in", text)
    bulls_in = wish.bulls_day or day
    out = bulls_in + timedelta(days=wish.bull_days)
    yield DatedAdvice("bulls_out", "bulls_in", out, out, "Bulls out", f"After {wish.bull_days} days with the group.")
    scan = tell_apart_days(ai_day, bulls_in)
    if wish.tell_apart and scan is not None:
        title = "Scan to tell AI calves from bulls'"
        yield DatedAdvice("ai_or_bull", "ai_or_bull", *scan, title, "Write down the estimated age.")
