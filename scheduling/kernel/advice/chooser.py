"""Every protocol of a class compared for one group, filtered by plain questions, ranked with its reasons listed.

Nothing is weighed in secret: the rank is the sum of places in the criteria that the person chose, and each place is shown.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from scheduling.kernel.advice.comparison import Option, Situation, compare
from scheduling.kernel.advice.results import Semen, expected
from scheduling.kernel.protocol import Category, Protocol, Substance
from scheduling.kernel.reader import ReadError
from scheduling.kernel.throughput import SESSION_ADVICE_H


@dataclass(frozen=True, slots=True)
class Answers:
    """Answers to the plain questions; None: not asked."""

    watch_days: int | None = None
    most_trips: int | None = None
    one_day: bool | None = None
    feeds_mga: bool | None = None
    inserts: bool | None = None
    longest_days: int | None = None
    only_listed: bool | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """A plain question: the answer's field, the words, and what it leaves out."""

    field: str
    words: str
    effect: str


QUESTIONS = (
    Question(
        "watch_days",
        "For how many days can somebody watch for heat three times a day?",
        "Nobody can: type 0, and only AI at set hours is left.",
    ),
    Question(
        "most_trips", "How many trips through the chute can your crew and facility stand?", "AI counts as a trip."
    ),
    Question(
        "one_day", "Must all be inseminated in one day?", "Yes leaves out AI that is spread over days or sessions."
    ),
    Question("feeds_mga", "Can every heifer eat her MGA every day for 14 days?", "No leaves out MGA programmes."),
    Question("inserts", "Will you use progesterone inserts?", "No leaves out programmes with inserts."),
    Question("longest_days", "How many days before AI can you start?", "Leaves out longer programmes."),
    Question("only_listed", "Only programmes on the recommended lists?", "Yes leaves out trials and older programmes."),
)


class Criterion(StrEnum):
    """What programmes are ranked by."""

    COST = "cost per AI pregnancy"
    PREGNANCY = "expected pregnancy rate"
    LABOUR = "labour hours"
    TRIPS = "trips through the chute"
    LENGTH = "days from start to AI"


@dataclass(frozen=True, slots=True)
class Ranked:
    """An option with its place, and why: one line for each criterion."""

    place: int
    points: int
    option: Option
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """The options that fit, ranked, and those left out with the reason for each."""

    ranked: tuple[Ranked, ...]
    left_out: tuple[Option, ...]


DEFAULT_ORDER = (Criterion.COST, Criterion.TRIPS, Criterion.LABOUR)


def choose(
    protocols: Sequence[Protocol],
    situation: Situation,
    answers: Answers | None = None,
    order: Sequence[Criterion] = DEFAULT_ORDER,
) -> Choice:
    """Compare every protocol for the class, leave out what the answers exclude, rank the rest by the chosen criteria.

    Places in the criteria are added up, the first criterion counting as many times as there are criteria, the last once; equal
    figures share a place, and without a figure an option comes last. Ties keep the order of the names.
    """
    if not order or len(set(order)) != len(order):
        raise ReadError("order", "one to five criteria, each once")
    options = [
        _judged(compare(item, situation), situation, answers or Answers())
        for item in protocols
        if item.fits(situation.animal_class)
    ]
    fit = sorted((item for item in options if item.fits), key=lambda item: (item.protocol.name, item.protocol.id))
    return Choice(tuple(_rank(fit, order)), tuple(item for item in options if not item.fits))


def _judged(option: Option, situation: Situation, answers: Answers) -> Option:
    return replace(option, objections=tuple(_objections(option, situation, answers)))


def _objections(option: Option, situation: Situation, answers: Answers) -> Iterator[str]:
    protocol = option.protocol
    if protocol.category is Category.NATURAL_SERVICE:
        yield "It ends with bulls, not with AI."
    elif protocol.category is Category.LABEL:
        yield "It is a label's wording without an AI hour; the sheets' programmes are built on it."
    yield from _semen_objections(protocol, situation)
    yield from _answer_objections(option, answers)
    if option.bookable_days == ():
        yield "No technician is free for all its AI days in the span that you want."


def _semen_objections(protocol: Protocol, situation: Situation) -> Iterator[str]:
    sexed = protocol.category is Category.SEXED
    if sexed and situation.semen is Semen.CONVENTIONAL:
        yield "It is meant for sex-sorted semen."
    tried = expected(protocol.id, Semen.SEXED, bos_indicus=False) is not None
    if situation.semen is Semen.SEXED and not sexed and not tried:
        yield "No form of it for sex-sorted semen is in print."


def _answer_objections(option: Option, answers: Answers) -> Iterator[str]:
    protocol = option.protocol
    substances = {step.substance for step in protocol.steps}
    if answers.watch_days is not None and option.heat_days > answers.watch_days:
        yield f"It needs {option.heat_days} days of heat detection; you can watch for {answers.watch_days}."
    if answers.most_trips is not None and option.trips > answers.most_trips:
        yield f"It takes {option.trips} trips through the chute; you can stand {answers.most_trips}."
    if answers.one_day and option.ai_days > 1:
        yield f"AI is spread over {option.ai_days} days; you want one."
    if answers.feeds_mga is False and Substance.MGA in substances:
        yield "MGA must be eaten every day by every heifer."
    if answers.inserts is False and Substance.INSERT in substances:
        yield "It uses progesterone inserts."
    if answers.longest_days is not None and option.calendar_days > answers.longest_days:
        yield f"It takes {option.calendar_days} days; you can start {answers.longest_days} days before."
    if answers.only_listed and not protocol.status.startswith("recommended"):
        yield f"It is not on a recommended list: {protocol.status}."


def _figure(option: Option, criterion: Criterion) -> float | None:
    """The figure that is ranked, the smaller the better; None where there is none."""
    if criterion is Criterion.COST:
        return float(option.cost_a_pregnancy.middle) if option.cost_a_pregnancy else None
    if criterion is Criterion.PREGNANCY:
        return -option.rate if option.rate is not None else None
    if criterion is Criterion.LABOUR:
        return round(option.labour_hours, 1)
    return float(option.trips if criterion is Criterion.TRIPS else option.calendar_days)


def _said(option: Option, criterion: Criterion) -> str:
    if criterion is Criterion.COST:
        spread = option.cost_a_pregnancy
        return f"{spread.middle} ({spread.cheapest} to {spread.dearest})" if spread else "no figure in print"
    if criterion is Criterion.PREGNANCY:
        return option.rate_words
    if criterion is Criterion.LABOUR:
        return f"{option.labour_hours:.0f} h"
    return str(option.trips if criterion is Criterion.TRIPS else option.calendar_days)


def _rank(options: Sequence[Option], order: Sequence[Criterion]) -> Iterator[Ranked]:
    points = [0] * len(options)
    reasons: list[list[str]] = [[] for _ in options]
    for weight, criterion in zip(range(len(order), 0, -1), order, strict=True):
        figures = [_figure(option, criterion) for option in options]
        known = sorted(value for value in figures if value is not None)
        for i, value in enumerate(figures):
            place = known.index(value) + 1 if value is not None else len(options)
            points[i] += weight * place
            share = f"place {place} of {len(options)}, weight {weight}" if value is not None else "counted as last"
            reasons[i].append(f"{criterion[0].upper()}{criterion[1:]}: {_said(options[i], criterion)}; {share}.")
    ranked = sorted(range(len(options)), key=lambda i: points[i])
    for place, i in enumerate(ranked, start=1):
        yield Ranked(place, points[i], options[i], (*reasons[i], *_remarks(options[i])))


def _remarks(option: Option) -> Iterator[str]:
    """What to know besides the rank."""
    if option.lots > 1:
        yield f"The group must be cut into {option.lots} lots: at most {option.largest_lot} head fit the AI window."
    if option.session_hours > SESSION_ADVICE_H:
        yield f"The longest AI session takes {option.session_hours:.1f} h; 3 to 4 h are advised."
    if option.bookable_days:
        yield f"A technician could come on {len(option.bookable_days)} of the days that you want."
    if option.protocol.status_from_memory or option.protocol.confidence == "memory":
        yield "Its sheet was not seen in print; check it against the sheet in force."
