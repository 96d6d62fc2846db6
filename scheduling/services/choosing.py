"""The chooser: a group's situation from the rows, every programme compared, and cards in plain words."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from accounts.tenancy import Member
from herdplan.herds.models import AnimalClass as Class
from herdplan.technicians.models import Technician
from scheduling.kernel.advice.chooser import DEFAULT_ORDER, Answers, Choice, Criterion, choose
from scheduling.kernel.advice.comparison import CREW, Situation
from scheduling.kernel.advice.results import Semen
from scheduling.kernel.protocol import AnimalClass
from scheduling.kernel.throughput import Pace
from scheduling.models import CoopPrices, SeasonEntry
from scheduling.services.catalogue import protocol_name
from scheduling.services.choice_cards import Card, Teller
from scheduling.services.choice_room import Room, Subject, technician_room
from scheduling.services.editions import protocols_of
from scheduling.services.entries import change_entry
from scheduling.services.prices import prices_of, prices_row


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
    teller = Teller(subject, situation, row, room)
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


def programme_now(subject: Subject) -> str:
    """The name of the entry's programme, empty without an entry."""
    return protocol_name(subject.entry.protocol) if subject.entry else ""


def is_heifers(subject: Subject) -> bool:
    """Whether the group is heifers, who may be fed MGA."""
    return subject.group.animal_class == Class.HEIFER
