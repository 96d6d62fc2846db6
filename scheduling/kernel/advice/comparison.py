"""One protocol for one group: trips, heat detection, labour, days, rates in print, costs, and what fits the AI window."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from math import ceil

from scheduling.kernel.advice.money import Spread, cents, likely_range, pregnancy_cost_spread
from scheduling.kernel.advice.prices import DEFAULT_PRICES, CostLine, Prices, material_lines
from scheduling.kernel.advice.results import Expected, Semen, expected
from scheduling.kernel.protocol import AnimalClass, Category, Protocol
from scheduling.kernel.reader import ReadError
from scheduling.kernel.sessions import share_in_heat
from scheduling.kernel.throughput import Pace, fewest_lots, largest_lot

# Watch three times a day: an hour each for heifers ("2020 Beef Heifer Synchronization Protocol", South Dakota State University
# Extension, 2020), half an hour each for cows ("Getting Cows in Synch", the same, about 2016-17).
WATCHES_A_DAY = 3
WATCH_HOURS = {True: 1.0, False: 0.5}
# Share seen in heat and inseminated under heat detection alone: 80 to 85 % is attainable ("Heat detection efficiency", Oklahoma
# State University Extension, 2009); the middle is used.
SEEN_IN_HEAT = 0.825
# People at the chute: a default of this program (gate, alley, chute, records); two for single AIs after a heat.
CREW, CREW_SINGLE = 4, 2


@dataclass(frozen=True, slots=True)
class Situation:
    """A group and its ranch: head, paces (head an hour), crew, semen, prices, and the days on which a technician could come.

    `own_rates`: the ranch's own pregnancy rate by protocol, which then stands in place of the printed range.
    `ai_from` to `ai_to`: the AI days that are wanted; None: not asked.
    """

    animal_class: AnimalClass
    head: int
    pace: Pace
    semen: Semen = Semen.CONVENTIONAL
    crew: int = CREW
    prices: Prices = DEFAULT_PRICES
    own_rates: Mapping[str, float] = field(default_factory=dict)
    technician_days: frozenset[date] | None = None
    ai_from: date | None = None
    ai_to: date | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be, by field."""
        if self.head < 1:
            raise ReadError("head", "at least 1")
        if min(self.pace.treat_rate, self.pace.ai_rate) <= 0:
            raise ReadError("pace", "head an hour above nothing")
        if self.crew < 1:
            raise ReadError("crew", "at least 1")
        if any(not 0 < rate <= 1 for rate in self.own_rates.values()):
            raise ReadError("own_rates", "shares above 0, at most 1")
        if (self.ai_from is None) != (self.ai_to is None) or (
            self.ai_from and self.ai_to and self.ai_from > self.ai_to
        ):
            raise ReadError("ai_to", "both days or neither, the first not after the last")


@dataclass(frozen=True, slots=True)
class Option:
    """One protocol for this group, with everything that is compared. Hours are for the whole group."""

    protocol: Protocol
    trips: int
    heat_days: int
    labour_hours: float
    calendar_days: int
    ai_days: int
    expected: Expected | None
    own_rate: float | None
    by_chance: tuple[float, float] | None
    costs: tuple[CostLine, ...]
    cost_a_head: Decimal
    cost_a_pregnancy: Spread | None
    largest_lot: int | None
    lots: int
    session_hours: float
    bookable_days: tuple[date, ...] | None
    objections: tuple[str, ...]

    @property
    def rate(self) -> float | None:
        """The rate that costs are worked out from: the ranch's own, else the middle of the printed ones."""
        return self.own_rate if self.own_rate is not None else self.expected.middle if self.expected else None

    @property
    def rate_words(self) -> str:
        """The expected pregnancy rate as shown."""
        if self.own_rate is not None:
            return f"{self.own_rate * 100:.0f} % (your own figure)"
        if self.expected is None:
            return "no figure in print"
        low, high = f"{self.expected.low * 100:.0f}", f"{self.expected.high * 100:.0f}"
        heads = [f"{row.head:,}" for row in self.expected.rows if row.head]
        among = f", n = {', '.join(dict.fromkeys(heads))}" if heads else ", head not printed"
        return (f"{low} %" if low == high else f"{low} to {high} %") + among

    @property
    def fits(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.objections


def compare(protocol: Protocol, situation: Situation) -> Option:
    """One protocol for one situation; nothing is held against it yet (`objections` is empty)."""
    own = situation.own_rates.get(protocol.id)
    bos_indicus = situation.animal_class is AnimalClass.BOS_INDICUS_COW
    printed = expected(protocol.id, situation.semen, bos_indicus=bos_indicus)
    rate = own if own is not None else printed.middle if printed else None
    inseminated = _inseminated(protocol)
    hours = labour_hours(protocol, situation)
    costs = tuple(_costs(protocol, situation, inseminated, hours))
    a_head = sum((line.amount for line in costs), Decimal(0))
    chance = likely_range(rate, situation.head) if rate is not None else None
    lot, lots, session = _window(protocol, situation)
    return Option(
        protocol=protocol,
        trips=chute_trips(protocol),
        heat_days=heat_days(protocol),
        labour_hours=hours,
        calendar_days=calendar_days(protocol),
        ai_days=_ai_days(protocol),
        expected=printed,
        own_rate=own,
        by_chance=chance,
        costs=costs,
        cost_a_head=cents(a_head),
        cost_a_pregnancy=_spread(a_head, own, printed, chance),
        largest_lot=lot,
        lots=lots,
        session_hours=session,
        bookable_days=_bookable(protocol, situation),
        objections=(),
    )


def chute_trips(protocol: Protocol) -> int:
    """Times that an animal goes through the chute, AI included: after a seen heat she comes once more, alone."""
    return len(protocol.trips) + int(bool(protocol.heat_watches) and not protocol.ai_steps)


def heat_days(protocol: Protocol) -> int:
    """Days of heat detection, overlapping watches counted once."""
    days: set[int] = set()
    for watch in protocol.heat_watches:
        anchor = protocol.by_key[watch.anchor].day
        days.update(range(anchor + int(watch.start_h // 24), anchor + ceil(watch.end_h / 24)))
    return len(days)


def calendar_days(protocol: Protocol) -> int:
    """Days from the first step to the last AI, or to the end of heat detection."""
    last = max(step.day for step in protocol.steps)
    ends = [protocol.by_key[watch.anchor].day + ceil(watch.end_h / 24) for watch in protocol.heat_watches]
    starts = [protocol.by_key[watch.anchor].day + int(watch.start_h // 24) for watch in protocol.heat_watches]
    return max([last, *ends]) - min([0, *starts])


def labour_hours(protocol: Protocol, situation: Situation) -> float:
    """Hours of work for the whole group: people at the chute, single AIs after heats, and watching."""
    hours = 0.0
    for trip in protocol.trips:
        rate = situation.pace.ai_rate if any(step.is_ai for step in trip) else situation.pace.treat_rate
        hours += _trip_head(protocol, trip[0].applies_to, situation.head) / rate * situation.crew
    if protocol.heat_watches:
        hours += situation.head * _seen(protocol) / situation.pace.ai_rate * CREW_SINGLE
        heifers = situation.animal_class is AnimalClass.HEIFER
        hours += heat_days(protocol) * WATCHES_A_DAY * WATCH_HOURS[heifers]
    return hours


def _trip_head(protocol: Protocol, applies_to: str, head: int) -> float:
    """Head in a trip, as expected: split-time AI and timed AI after heat detection do not see every animal."""
    if protocol.category is Category.HEAT_DETECTION_TAI and applies_to != "all":
        return head * (1 - _seen(protocol))
    if len(protocol.ai_steps) > 1 and applies_to != "all":
        return head / 2
    return float(head)


def _seen(protocol: Protocol) -> float:
    """Share inseminated after a seen heat: before timed AI at 72 h those in heat by then, else what watching finds."""
    return share_in_heat(72) if protocol.ai_steps else SEEN_IN_HEAT


def _inseminated(protocol: Protocol) -> Decimal:
    """Share of the group that gets a straw."""
    if protocol.ai_steps:
        return Decimal(1)
    return Decimal(str(SEEN_IN_HEAT)) if protocol.heat_watches else Decimal(0)


def _ai_days(protocol: Protocol) -> int:
    """Days on which AI is done: sessions, and days of heat detection (AI half a day after a heat)."""
    days = {step.day for step in protocol.ai_steps}
    for watch in protocol.heat_watches:
        anchor = protocol.by_key[watch.anchor].day
        days.update(range(anchor + int(watch.start_h // 24), anchor + ceil(watch.end_h / 24) + 1))
    return len(days)


def _costs(protocol: Protocol, situation: Situation, inseminated: Decimal, hours: float) -> Iterator[CostLine]:
    prices, head = situation.prices, Decimal(situation.head)
    yield from material_lines(protocol, prices, situation.semen, inseminated)
    yield CostLine("labour", "Work, hours a head", Decimal(str(round(hours, 2))) / head, prices.hour)
    if prices.technician_head:
        yield CostLine("technician", "Technician, a head", inseminated, prices.technician_head)
    if prices.technician_visit:
        visits = Decimal(max(1, _ai_days(protocol)))
        yield CostLine("visits", "Technician's visits, a head", visits / head, prices.technician_visit)


def _spread(
    a_head: Decimal, own: float | None, printed: Expected | None, chance: tuple[float, float] | None
) -> Spread | None:
    """Cost per pregnancy from the lowest to the highest rate, printed range and chance in a group of this size together."""
    if chance is None:
        return None
    if own is not None:
        low, middle, high = chance[0], own, chance[1]
    else:
        assert printed is not None
        low, middle, high = min(printed.low, chance[0]), printed.middle, max(printed.high, chance[1])
    return pregnancy_cost_spread(a_head, max(low, 0.01), max(middle, 0.01), max(high, 0.01))


def _window(protocol: Protocol, situation: Situation) -> tuple[int | None, int, float]:
    """Largest lot that fits the AI window, lots that the group needs, and hours of the longest AI session."""
    steps = protocol.ai_steps
    if not steps or steps[0].after is None:
        return None, 1, 0.0
    window = steps[0].after.window
    lots = fewest_lots(situation.head, window, situation.pace)
    return largest_lot(window, situation.pace, situation.head), len(lots), lots[0] / situation.pace.ai_rate


def _bookable(protocol: Protocol, situation: Situation) -> tuple[date, ...] | None:
    """First AI days in the wanted span on which a technician could come for every session; None where it was not asked."""
    if situation.technician_days is None or situation.ai_from is None or situation.ai_to is None:
        return None
    sessions = [step.day - protocol.ai_steps[0].day for step in protocol.ai_steps] or list(range(_ai_days(protocol)))
    span = (situation.ai_to - situation.ai_from).days + 1
    days = [situation.ai_from + timedelta(days=i) for i in range(span)]
    free = situation.technician_days
    return tuple(day for day in days if all(day + timedelta(days=later) in free for later in sessions))
