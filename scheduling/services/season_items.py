"""Everything dated around a group's AI but the steps themselves: what to prepare, what to keep, what to do after it.

Nothing of it is stored. The items follow from the AI day, the programme, the group's wishes (`GroupCare`) and what people
ticked, moved or dropped (`ItemAct`): pages, calendar feeds and reminders ask here, so that all of them say the same.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from scheduling.kernel.advice.after_ai import (
    AfterPlan,
    CheckMethod,
    after_ai,
    bulls_needed,
    bulls_wait,
    females_a_bull,
    open_after_ai,
)
from scheduling.kernel.advice.preparation import Preparing, preparation
from scheduling.kernel.advice.verdicts import plan_dates
from scheduling.kernel.advice.whys import WHYS
from scheduling.kernel.protocol import AnimalClass, Category, Protocol
from scheduling.services.catalogue import protocol_of
from scheduling.services.season_basis import Basis, Standing

# Days on which cattle are safe to haul, and those of care, are said in the band between them; pages show them, calendars not.
QUIET = frozenset({"haul_now", "haul_care"})


_WHO = {
    "exam": "the veterinarian, with the ranch's crew",
    "first_dose": "the veterinarian decides, the ranch's crew does it",
    "boosters": "the veterinarian decides, the ranch's crew does it",
    "bull_exam": "the veterinarian",
    "check": "the veterinarian",
    "ai_or_bull": "the veterinarian",
    "open": "the veterinarian, or whoever may scan",
    "semen": "the rancher, with whoever inseminates",
    "drugs": "the rancher, through the veterinarian",
    "nitrogen": "whoever keeps the tank",
}


@dataclass(frozen=True, slots=True)
class SeasonItem:
    """A dated item of a group, both days included. `counted` are its days by the rules where somebody moved it.

    `before`: it prepares AI. `band`: it forbids rather than asks. `settled`: nobody ticks or moves it. `sequence` rises with
    every change of the plan, of the wishes and of the item.
    """

    basis: Basis
    key: str
    code: str
    before: bool
    band: bool
    title: str
    text: str
    source: str
    first: date
    last: date
    counted: tuple[date, date]
    standing: Standing

    @property
    def settled(self) -> bool:
        """Whether it follows from the rules alone."""
        return self.band or self.key == "calving"

    @property
    def who(self) -> str:
        """Who does it."""
        return _WHO.get(self.key, "the ranch's crew")

    @property
    def open(self) -> bool:
        """Whether it is still to be done."""
        return self.standing.done is None and self.standing.dropped is None

    @property
    def sequence(self) -> int:
        """Rises with every change of what is said."""
        return self.basis.sequence + self.basis.care.sequence + self.standing.count

    @property
    def changed_at(self) -> datetime | None:
        """The latest of those changes."""
        moments = [self.basis.changed_at, self.standing.last_at]
        if self.basis.care.sequence:
            moments.append(self.basis.care.changed_at)
        return max((moment for moment in moments if moment is not None), default=None)

    def late(self, today: date) -> bool:
        """Whether its last day is over and nobody has ticked it."""
        return self.open and not self.settled and self.last < today


def items_of(basis: Basis) -> list[SeasonItem]:
    """Every dated item of a group in the order of its days; none for a programme that this edition does not know."""
    protocol = protocol_of(basis.protocol)
    if protocol is None:
        return []
    after = _after_plan(basis, protocol)
    rows = [*_before(basis, protocol, after), *_after(basis, after)]
    return sorted((_placed(row) for row in rows), key=lambda row: (row.first, row.last, row.key))


def _before(basis: Basis, protocol: Protocol, after: AfterPlan) -> Iterator[SeasonItem]:
    # What is past is told by `late`, which asks for the day when it is shown: an item itself knows no today.
    plan = plan_dates(protocol, basis.ai_day, date.min)
    bulls_in = after.bulls_day or basis.ai_day + timedelta(days=bulls_wait(after))
    days: int | None = (bulls_in - basis.ai_day).days if after.bulls else None
    wish = Preparing(
        AnimalClass(basis.animal_class),
        first_time_vaccine=basis.care.first_time_vaccine,
        bulls_in_days=0 if after.natural else days,
        needs_gain=basis.care.needs_gain,
        inseminates=not after.natural,
    )
    for row in preparation(plan, wish):
        span = (row.first, row.last)
        yield SeasonItem(
            basis, row.key, row.code, True, False, row.title, row.text, row.source.words, *span, span, Standing()
        )


def _after(basis: Basis, wish: AfterPlan) -> Iterator[SeasonItem]:
    for row in after_ai(basis.ai_day, wish):
        text = f"{row.text} {bull_words(basis)}" if row.key == "bulls" else row.text
        source = "; ".join(cited.words for cited in WHYS[row.code].sources)
        span = (row.first, row.last)
        yield SeasonItem(basis, row.key, row.code, False, row.band, row.title, text, source, *span, span, Standing())


def _placed(row: SeasonItem) -> SeasonItem:
    """The item where somebody put it, with the tick that it carries."""
    if row.settled:
        return row
    stands = row.basis.acts_on(row.key)
    if stands.moved is None or stands.moved.day is None:
        return replace(row, standing=stands)
    return replace(row, standing=stands, first=stands.moved.day, last=stands.moved.day)


def _after_plan(basis: Basis, protocol: Protocol) -> AfterPlan:
    care, moved = basis.care, basis.acts_on("bulls").moved
    return AfterPlan(
        tell_apart=care.tell_apart,
        bulls=care.bulls,
        resynchronize=care.resynchronize,
        bull_days=care.bull_days,
        bulls_day=moved.day if moved else None,
        check=CheckMethod(care.check_way) if care.check_way else None,
        natural=is_natural(protocol),
        south=basis.south,
    )


def is_natural(protocol: Protocol) -> bool:
    """Whether bulls alone do the work."""
    return protocol.category is Category.NATURAL_SERVICE


@dataclass(frozen=True, slots=True)
class BullsNeeded:
    """Bulls for the females that are expected open: `fewest` at `most_each` females a bull, `most` at `fewest_each`."""

    open_head: int
    fewest: int
    most: int
    fewest_each: int
    most_each: int


def bulls_for(basis: Basis) -> BullsNeeded:
    """How many bulls the group needs after AI, by the age of the youngest."""
    head = open_after_ai(basis.head, basis.rate)
    fewest_each, most_each = females_a_bull(basis.care.bull_months)
    return BullsNeeded(head, bulls_needed(head, most_each), bulls_needed(head, fewest_each), fewest_each, most_each)


def bull_words(basis: Basis) -> str:
    """The same in a sentence."""
    need = bulls_for(basis)
    bulls = str(need.fewest) if need.fewest == need.most else f"{need.fewest} to {need.most}"
    noun = "bull" if need.most == 1 else "bulls"
    return (
        f"About {need.open_head} of {basis.head} are expected open: {bulls} {noun} "
        f"at {need.fewest_each} to {need.most_each} females each."
    )


@dataclass(frozen=True, slots=True)
class ByTime:
    """Items as a page lists them: late, of these days, coming, and those that ask nothing more."""

    late: tuple[SeasonItem, ...]
    now: tuple[SeasonItem, ...]
    coming: tuple[SeasonItem, ...]
    closed: tuple[SeasonItem, ...]


def by_time(items: Iterable[SeasonItem], today: date) -> ByTime:
    """Items by what they ask of somebody today."""
    rows = sorted(items, key=lambda row: (row.first, row.last, row.basis.group, row.key))
    live = [row for row in rows if row.open]
    return ByTime(
        late=tuple(row for row in live if row.late(today)),
        now=tuple(row for row in live if row.first <= today <= row.last),
        coming=tuple(row for row in live if row.first > today),
        closed=tuple(row for row in rows if not row.open),
    )
