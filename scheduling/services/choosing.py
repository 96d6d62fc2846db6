"""The chooser: a group's situation from the rows, every programme compared, and cards in plain words."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from accounts.tenancy import Member
from herdplan.herds.models import AnimalClass as Class
from herdplan.herds.models import BreedingGroup, Ranch
from herdplan.technicians.models import Technician
from scheduling.kernel.advice.chooser import DEFAULT_ORDER, Answers, Choice, Criterion, Ranked, choose
from scheduling.kernel.advice.comparison import CREW, WATCHES_A_DAY, Option, Situation
from scheduling.kernel.advice.money import cents
from scheduling.kernel.advice.prices import PRICE_SOURCES, CostLine
from scheduling.kernel.advice.results import Published, Semen
from scheduling.kernel.protocol import AnimalClass
from scheduling.kernel.throughput import Pace
from scheduling.models import Booking, CoopPrices, Hands, Order, SeasonEntry
from scheduling.services.catalogue import protocol_name, step_words
from scheduling.services.editions import protocols_of
from scheduling.services.entries import change_entry
from scheduling.services.prices import prices_of, prices_row, trimmed


@dataclass(frozen=True)
class Subject:
    """What a programme is chosen for: a group with the wishes of its entry, where it has one."""

    group: BreedingGroup
    head: int
    entry: SeasonEntry | None = None

    @property
    def ranch(self) -> Ranch:
        """Where the chute stands."""
        return self.group.herd.ranch

    @property
    def by_technician(self) -> bool:
        """Whether a technician of the co-op inseminates."""
        return self.entry is None or self.entry.ai_by == Hands.TECHNICIAN

    @property
    def order_kept(self) -> bool:
        """Whether animals come to AI in the order of treatment."""
        return self.entry is None or self.entry.order == Order.KEPT


def subject_of(entry: SeasonEntry) -> Subject:
    """An entry as what a programme is chosen for."""
    return Subject(entry.group, entry.head, entry)


@dataclass(frozen=True)
class Wishes:
    """The answers of the page: kernel's questions, semen, crew, own rate with today's programme, and what matters.

    Unasked, only programmes on the recommended lists are ranked: older ones may be cheap for a reason.
    """

    answers: Answers = field(default_factory=lambda: Answers(only_listed=True))
    semen: Semen = Semen.CONVENTIONAL
    crew: int = CREW
    own_rate: float | None = None
    order: tuple[Criterion, ...] = DEFAULT_ORDER


@dataclass(frozen=True, slots=True)
class Room:
    """Days of the wanted span on which technicians have head left, for the whole group or for some.

    `all_day`: days on which they have room for every animal; `any_day`: days on which they have room for at least one.
    `wanted`: days in the span. `most`: head that they could do on a day without any booking.
    """

    wanted: int
    all_day: frozenset[date]
    any_day: frozenset[date]
    most: int

    @property
    def for_all(self) -> bool:
        """Whether `bookable` are days with room for the whole group."""
        return bool(self.all_day) or not self.any_day

    @property
    def bookable(self) -> frozenset[date]:
        """Days that count: room for the whole group, or for some where it is larger than one day's work."""
        return self.all_day if self.for_all else self.any_day


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


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that the page shows: ranked cards, those left out, and what it all rests on."""

    cards: tuple[Card, ...]
    left_out: tuple[Card, ...]
    room: Room | None
    treat_rate: float
    ai_rate: float
    ai_rate_words: str
    prices: CoopPrices


def compare_programmes(*, member: Member, subject: Subject, wishes: Wishes) -> Comparison:
    """Every programme of the class for a group, ranked with reasons. Four queries at most, whatever the size."""
    situation, room, words = _situation(subject, wishes)
    row = prices_row(member.cooperative)
    situation = replace(situation, prices=prices_of(row))
    protocols = tuple(protocols_of(member.cooperative).values())
    found = choose(protocols, situation, wishes.answers, wishes.order)
    teller = _Teller(subject, situation, row, room)
    return Comparison(
        cards=tuple(teller.card(item) for item in found.ranked),
        left_out=tuple(teller.left_out(option) for option in found.left_out),
        room=room,
        treat_rate=situation.pace.treat_rate,
        ai_rate=situation.pace.ai_rate,
        ai_rate_words=words,
        prices=row,
    )


def options_for(*, member: Member, subject: Subject, wishes: Wishes) -> tuple[Choice, CoopPrices]:
    """The plain options, for the pages of money."""
    situation, _, _ = _situation(subject, wishes)
    row = prices_row(member.cooperative)
    protocols = tuple(protocols_of(member.cooperative).values())
    return choose(protocols, replace(situation, prices=prices_of(row)), wishes.answers, wishes.order), row


def use_programme(*, member: Member, entry: SeasonEntry, protocol: str) -> SeasonEntry:
    """Make a programme that of the entry: the entry's own service with its permissions; raises EntryError, saving nothing."""
    return change_entry(member=member, entry=entry, values={"protocol": protocol})


def _situation(subject: Subject, wishes: Wishes) -> tuple[Situation, Room | None, str]:
    people = _people(subject) if subject.by_technician else []
    rate, words = _ai_rate(subject, people)
    room = technician_room(subject, people) if subject.entry and people else None
    own = {}
    if subject.entry and wishes.own_rate is not None:
        own[subject.entry.protocol] = wishes.own_rate
    situation = Situation(
        animal_class=AnimalClass(subject.group.animal_class),
        head=subject.head,
        pace=Pace(subject.ranch.treat_rate, rate, subject.order_kept),
        semen=wishes.semen,
        crew=wishes.crew,
        own_rates=own,
        technician_days=room.bookable if room else None,
        ai_from=subject.entry.ai_from if subject.entry and room else None,
        ai_to=subject.entry.ai_to if subject.entry and room else None,
    )
    return situation, room, words


def _people(subject: Subject) -> list[Technician]:
    """Technicians of the co-op who have every skill that the entry asks for. Two queries."""
    skills = set(subject.entry.skills) if subject.entry else set()
    rows = Technician.objects.filter(cooperative=subject.ranch.cooperative_id).prefetch_related("days_off")
    return [row for row in rows if skills <= set(row.skills)]


def _ai_rate(subject: Subject, people: Sequence[Technician]) -> tuple[float, str]:
    """Head an hour at AI: of the slowest technician who may come, so that the lot fits whoever comes."""
    if people:
        slowest = min(people, key=lambda row: row.ai_rate)
        return slowest.ai_rate, f"{slowest.ai_rate:g} head an hour, the pace of the slowest technician who may come"
    return subject.ranch.ai_rate, f"{subject.ranch.ai_rate:g} head an hour, the ranch's own pace"


def technician_room(subject: Subject, people: Sequence[Technician]) -> Room:
    """Head that the technicians have left on each day that the entry wants, by the bookings published so far. One query.

    The entry's own bookings are not counted against it. Driving is settled only when the season is planned.
    """
    entry = subject.entry
    assert entry is not None
    booked = _booked(entry, people)
    days = [entry.ai_from + timedelta(days=i) for i in range((entry.ai_to - entry.ai_from).days + 1)]
    left = {day: sum(max(0, _limit(row, day) - booked[row.pk, day]) for row in people) for day in days}
    return Room(
        wanted=len(days),
        all_day=frozenset(day for day, head in left.items() if head >= entry.head),
        any_day=frozenset(day for day, head in left.items() if head > 0),
        most=sum(row.max_head_per_day for row in people),
    )


def _limit(person: Technician, day: date) -> int:
    off = any(row.first_day <= day <= row.last_day for row in person.days_off.all())
    return 0 if off else person.max_head_per_day


def _booked(entry: SeasonEntry, people: Sequence[Technician]) -> Mapping[tuple[object, date], int]:
    """AI head that is booked, by technician and day of the season's zone."""
    zone = ZoneInfo(entry.season.zone)
    first = datetime.combine(entry.ai_from, time(), zone)
    last = datetime.combine(entry.ai_to + timedelta(days=1), time(), zone)
    rows = Booking.objects.filter(technician__in=people, starts__gte=first, starts__lt=last)
    heads: dict[tuple[object, date], int] = defaultdict(int)
    for row in rows.exclude(status="cancelled").exclude(entry=entry).select_related("entry"):
        if step_words(row.entry.protocol, row.step).kind == "ai":
            heads[row.technician_id, row.starts.astimezone(zone).date()] += row.head
    return heads


class _Teller:
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


def programme_now(subject: Subject) -> str:
    """The name of the entry's programme, empty without an entry."""
    return protocol_name(subject.entry.protocol) if subject.entry else ""


def is_heifers(subject: Subject) -> bool:
    """Whether the group is heifers, who may be fed MGA."""
    return subject.group.animal_class == Class.HEIFER
