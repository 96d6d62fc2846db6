"""A programme as the chooser's page shows it: figures in words, each with where it comes from."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from scheduling.kernel.advice.chooser import Ranked
from scheduling.kernel.advice.comparison import WATCHES_A_DAY, Option, Situation
from scheduling.kernel.advice.money import cents
from scheduling.kernel.advice.prices import PRICE_SOURCES, CostLine
from scheduling.kernel.advice.results import Published, Semen
from scheduling.kernel.protocol import AnimalClass
from scheduling.models import CoopPrices
from scheduling.services.choice_room import Room, Subject
from scheduling.services.prices import trimmed


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a card: what, how much, where it comes from (lines), and the code of its why."""

    label: str
    value: str
    lines: tuple[str, ...]
    why: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """A programme as the page shows it."""

    id: str
    name: str
    place: int
    now: bool
    listed: bool
    status: str
    unseen: bool
    pregnancy: str
    cost: str
    figures: tuple[Figure, ...]
    reasons: tuple[str, ...]
    objections: tuple[str, ...]


class Teller:
    """Puts options into words for one page."""

    def __init__(self, subject: Subject, situation: Situation, prices: CoopPrices, room: Room | None) -> None:
        self.subject, self.situation, self.prices, self.room = subject, situation, prices, room

    def card(self, item: Ranked) -> Card:
        """A ranked option."""
        return self._card(item.option, item.place, item.reasons)

    def left_out(self, option: Option) -> Card:
        """An option that something speaks against."""
        return self._card(option, 0, ())

    def money(self, amount: object) -> str:
        """An amount with the co-op's sign."""
        return f"{self.prices.currency}{amount:,.2f}"

    def _card(self, option: Option, place: int, reasons: tuple[str, ...]) -> Card:
        protocol, entry = option.protocol, self.subject.entry
        spread = option.cost_a_pregnancy
        return Card(
            id=protocol.id,
            name=protocol.name,
            place=place,
            now=entry is not None and entry.protocol == protocol.id,
            listed=protocol.status.startswith("recommended"),
            status=protocol.status,
            unseen=protocol.status_from_memory or protocol.confidence == "memory",
            pregnancy=rate_words(option),
            cost=self.money(spread.middle) if spread else "",
            figures=tuple(self._figures(option)) if place else (),
            reasons=tuple(reasons),
            objections=option.objections,
        )

    def _figures(self, option: Option) -> Iterator[Figure]:
        sheet = "From its sheet: see Steps and sheet."
        yield self._pregnancy(option)
        yield from self._cost(option)
        yield Figure("Trips through the chute", str(option.trips), (sheet, "AI counts as a trip."))
        yield self._heat(option)
        yield self._labour(option)
        yield Figure("First step to last AI", f"{option.calendar_days} days", (sheet,))
        spread = "in one day" if option.ai_days == 1 else f"spread over {option.ai_days} days"
        yield Figure("AI", spread, (sheet,))
        yield from self._window(option)
        yield from self._technician(option)

    def _pregnancy(self, option: Option) -> Figure:
        lines = [_published(row) for row in option.expected.rows] if option.expected else []
        if option.by_chance:
            low, high = (round(share * 100) for share in option.by_chance)
            lines.append(
                f"Of ten groups of {self.subject.head} head, eight would come out at {low} to {high} % by chance."
            )
        if not lines:
            lines = [
                "No trial of this programme with this semen is in print, so no cost per pregnancy is given either."
            ]
        return Figure("Pregnant to AI, of all treated", rate_words(option), tuple(lines), "expected_rate")

    def _cost(self, option: Option) -> Iterator[Figure]:
        lines = [self._cost_line(line) for line in option.costs]
        yield Figure(
            "Cost of one female treated",
            self.money(option.cost_a_head),
            (*lines, *self._price_sources(option)),
            "prices",
        )
        spread = option.cost_a_pregnancy
        if spread:
            value = f"{self.money(spread.middle)} ({self.money(spread.cheapest)} to {self.money(spread.dearest)})"
            said = (
                f"{self.money(option.cost_a_head)} a female over {(option.rate or 0) * 100:.0f} % pregnant. "
                "The range runs from the highest to the lowest rate, in print and by chance.",
            )
            yield Figure("Cost of one AI pregnancy", value, said, "cost_per_pregnancy")

    def _cost_line(self, line: CostLine) -> str:
        said = f"{line.words}: " + f"{line.quantity:.3f}".rstrip("0").rstrip(".")
        return f"{said} × {trimmed(line.price)} = {self.money(cents(line.amount))}"

    def _price_sources(self, option: Option) -> Iterator[str]:
        """Who printed which prices: one line a source."""
        lines: dict[str, list[str]] = defaultdict(list)
        for line in option.costs:
            lines[self._price_source(line.key)].append(line.words.split(",")[0])
        for source, words in lines.items():
            yield f"Price of {', '.join(_inside(word) for word in words)}: {source}."

    def _price_source(self, key: str) -> str:
        names = {
            "mga": "mga_day",
            "labour": "hour",
            "technician": "technician_head",
            "visits": "technician_visit",
            "supplies": "sheath",
        }
        name = names.get(key, key)
        if name == "semen" and self.situation.semen is Semen.SEXED:
            name = "semen_sexed"
        if getattr(self.prices, name) is not None:
            return "typed by your co-op"
        return f"default, {PRICE_SOURCES[name].words}"

    def _heat(self, option: Option) -> Figure:
        if not option.heat_days:
            return Figure("Watching for heat", "none", ("AI is at set hours for every animal.",))
        each = "an hour" if self.situation.animal_class is AnimalClass.HEIFER else "half an hour"
        said = f"{WATCHES_A_DAY} times a day, {each} each time; AI about 12 hours after the first standing heat."
        return Figure("Watching for heat", f"{option.heat_days} days", (said,), "heat_detection")

    def _labour(self, option: Option) -> Figure:
        pace, crew = self.situation.pace, self.situation.crew
        lines = (
            f"{crew} people at the chute, {pace.treat_rate:g} head treated and {pace.ai_rate:g} inseminated an hour, "
            "and the hours of watching for heat.",
            "The crew is what you typed above; the pace is the ranch's and the technician's.",
        )
        return Figure("Work, all people together", f"{option.labour_hours:.0f} hours", lines)

    def _window(self, option: Option) -> Iterator[Figure]:
        if option.largest_lot is None:
            return
        lots = "one lot" if option.lots == 1 else f"{option.lots} lots"
        kept = "animals stay in order" if self.subject.order_kept else "animals come in any order"
        lines = (
            f"Every animal must be inseminated inside the programme's hours; {kept}, and at your pace a lot of "
            f"{option.largest_lot} head still fits.",
        )
        yield Figure("Fits the AI hours", f"{self.subject.head} head in {lots}", lines, "lots")
        said = ("A session should take no more than three to four hours.",)
        yield Figure("Longest AI session", f"{option.session_hours:.1f} hours", said, "lots")

    def _technician(self, option: Option) -> Iterator[Figure]:
        if option.bookable_days is None or self.room is None:
            return
        room = self.room
        lines = [
            f"Days from {_day(self.situation.ai_from)} to {_day(self.situation.ai_to)} on which technicians have room for "
            + ("the whole group" if room.for_all else "some of the group, which is larger than one day's work")
            + ", by the bookings published so far.",
            "Driving is not looked at here; planning the season settles it.",
        ]
        if option.bookable_days:
            shown = ", ".join(_day(day) for day in option.bookable_days[:8])
            more = len(option.bookable_days) - 8
            lines.append(f"They are: {shown}" + (f" and {more} more." if more > 0 else "."))
        yield Figure("Technician could come", f"{len(option.bookable_days)} of {room.wanted} days", tuple(lines))


def _day(day: date | None) -> str:
    return f"{day:%a} {day.day} {day:%b}" if day else ""


def _inside(words: str) -> str:
    """Words in the middle of a sentence; GnRH, PG and MGA keep their letters."""
    return words[0].lower() + words[1:] if words[1:2].islower() and words != "GnRH" else words


def rate_words(option: Option) -> str:
    """The expected rate with the head of its trials."""
    if option.own_rate is not None or option.expected is None:
        return option.rate_words
    low, high = f"{option.expected.low * 100:.0f}", f"{option.expected.high * 100:.0f}"
    heads = list(dict.fromkeys(f"{row.head:,}" for row in option.expected.rows if row.head))
    rate = f"{low} %" if low == high else f"{low} to {high} %"
    return f"{rate} of {' and '.join(heads)} head" if heads else f"{rate}, head not printed"


def _published(row: Published) -> str:
    head = "head not printed"
    if row.head:
        head = f"{row.head:,} head" + (" in the whole trial" if row.whole_trial else "")
    note = f" {row.note[0].upper()}{row.note[1:]}." if row.note else ""
    return f"{row.rate * 100:.0f} %, {head}: {row.source.words}.{note}"
