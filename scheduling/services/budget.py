"""Does AI pay: a partial budget against bulls alone and between programmes, and which assumption decides."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from accounts.tenancy import Member
from scheduling.kernel.advice import figures as by
from scheduling.kernel.advice.after_ai import bulls_needed, open_after_ai
from scheduling.kernel.advice.comparison import Option
from scheduling.kernel.advice.figures import Cited, Ground
from scheduling.kernel.advice.money import (
    LB_A_DAY,
    Assumptions,
    Bull,
    PartialBudget,
    Programme,
    Side,
    Swing,
    ai_against_bulls,
    between_programmes,
    cents,
    earlier_calves_value,
    sensitivity,
)
from scheduling.kernel.reader import ReadError
from scheduling.models import CoopPrices
from scheduling.services.choice_cards import rate_words
from scheduling.services.choice_room import Subject
from scheduling.services.choosing import Wishes, options_for

LB_PER_KG = 1 / Decimal("0.45359237")  # exact: "International yard and pound agreement", 1959
D = Decimal


@dataclass(frozen=True, slots=True)
class Default:
    """What an assumption starts from, and who printed it. Shares are per cent, weights lb, prices a lb."""

    value: Decimal
    source: Cited


_EQUAL = Cited(Ground.DEFAULT)
DEFAULTS: Mapping[str, Default] = {
    # The same in both, so that AI gains nothing by it unless the ranch has figures of its own. A Kentucky trial of 1998 counted
    # 9 more calves from 100 cows with AI ("Cost vs benefits of synchronization", University of Kentucky).
    "season_rate_ai": Default(D(90), _EQUAL),
    "season_rate_bulls": Default(D(90), _EQUAL),
    "bull_price": Default(D(5000), by.WYOMING_COSTS_2013),
    "bull_salvage": Default(D(1000), by.WYOMING_COSTS_2013),
    "bull_years": Default(D(3), by.WYOMING_COSTS_2013),
    "bull_yearly": Default(D(400), by.WYOMING_COSTS_2013),
    "bull_interest": Default(D(8), by.TEXAS_BULL_COST),
    "bull_death": Default(D(0), by.DEFAULT),
    # Mature bulls 25 to 35 females: the careful end.
    "females_a_bull": Default(D(25), by.OKLAHOMA_RATIOS_2022),
    "open_a_bull": Default(D(25), by.OKLAHOMA_RATIOS_2022),
    "weaning": Default(D(500), by.KENTUCKY_BENEFITS_1998),
    "calf_price": Default(D("1.43"), by.SDSU_BULLS_2020),
    "days_older": Default(D(10), by.CANADA_COSTS),
    "weaned": Default(D(95), by.DEFAULT),
    "premium": Default(D(0), by.DEFAULT),
}


@dataclass(frozen=True, slots=True)
class Typed:
    """The form's figures: per cent as typed, weaning weight in lb, price a lb."""

    season_rate_ai: Decimal
    season_rate_bulls: Decimal
    bull_price: Decimal
    bull_salvage: Decimal
    bull_years: Decimal
    bull_yearly: Decimal
    bull_interest: Decimal
    bull_death: Decimal
    females_a_bull: Decimal
    open_a_bull: Decimal
    weaning: Decimal
    calf_price: Decimal
    days_older: Decimal
    weaned: Decimal
    premium: Decimal

    @property
    def bull(self) -> Bull:
        """The bull, with shares from per cent."""
        return Bull(
            price=self.bull_price,
            salvage=self.bull_salvage,
            years=int(self.bull_years),
            yearly=self.bull_yearly,
            interest=self.bull_interest / 100,
            death_loss=self.bull_death / 100,
        )


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """A line with its side in words."""

    side: str
    words: str
    amount: Decimal
    good: bool


@dataclass(frozen=True, slots=True)
class Bar:
    """An assumption moved alone, as a bar in per mille of the chart's width, and in words."""

    name: str
    low_words: str
    high_words: str
    net_low: Decimal
    net_high: Decimal
    left: int
    width: int
    turns: str

    @property
    def decides(self) -> bool:
        """Whether AI pays or not depends on it within its range."""
        return bool(self.turns)


@dataclass(frozen=True, slots=True)
class Rival:
    """A programme against the one that is looked at."""

    id: str
    name: str
    cost_a_head: Decimal
    rate: float
    net: Decimal


@dataclass(frozen=True)
class Budget:
    """Everything that the page shows. `zero` and `now` are places on the chart in per mille."""

    programme: str
    head: int
    rate: float
    rate_words: str
    cost_a_head: Decimal
    lines: tuple[BudgetLine, ...]
    net: Decimal
    bull_a_year: Decimal
    bulls_before: int
    bulls_after: int
    open_head: int
    calf_worth: Decimal
    older_value: Decimal
    bars: tuple[Bar, ...]
    zero: int
    now: int
    rivals: tuple[Rival, ...]
    prices: CoopPrices


class BudgetError(ValueError):
    """A budget that cannot be worked out: the form's field and what is allowed."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(f"{field}: {text}")
        self.field, self.text = field, text


def programmes_with_ai(*, member: Member, subject: Subject, wishes: Wishes) -> tuple[list[Option], CoopPrices]:
    """Programmes of the class that end in AI, and the co-op's prices. Fitting ones come first, in the chooser's order."""
    choice, row = options_for(member=member, subject=subject, wishes=wishes)
    left = [item for item in choice.left_out if item.protocol.ai_steps or item.protocol.heat_watches]
    return [item.option for item in choice.ranked] + left, row


def work_out(
    options: list[Option], prices: CoopPrices, subject: Subject, protocol: str, typed: Typed, own_rate: float | None
) -> Budget:
    """The budget of a programme with the typed figures; raises BudgetError."""
    option = next((item for item in options if item.protocol.id == protocol), None)
    if option is None:
        raise BudgetError("protocol", "Choose a programme that ends in AI.")
    rate = own_rate if own_rate is not None else option.rate
    if rate is None:
        raise BudgetError("own_rate", "No pregnancy rate of this programme is in print: type the one that you expect.")
    try:
        given = _assumptions(option, subject, typed, rate)
        return _budget(options, option, given, typed, prices, rate, own_rate is not None)
    except ReadError as fault:
        raise BudgetError(_FORM_FIELDS.get(fault.field, fault.field), f"Allowed is: {fault.allowed}.") from None


_FORM_FIELDS = {
    "salvage": "bull_salvage",
    "years": "bull_years",
    "interest": "bull_interest",
    "ai_rate": "own_rate",
    "weaning_lb": "weaning",
    "price_a_lb": "calf_price",
    "weaned_share": "weaned",
    "premium_a_calf": "premium",
}


def _assumptions(option: Option, subject: Subject, typed: Typed, rate: float) -> Assumptions:
    return Assumptions(
        head=subject.head,
        ai_cost_a_head=option.cost_a_head,
        ai_rate=D(str(round(rate, 4))),
        season_rate_ai=typed.season_rate_ai / 100,
        season_rate_bulls=typed.season_rate_bulls / 100,
        bull_a_year=typed.bull.a_year,
        females_a_bull=typed.females_a_bull,
        open_a_bull=typed.open_a_bull,
        weaning_lb=typed.weaning,
        price_a_lb=typed.calf_price,
        days_older=typed.days_older,
        weaned_share=typed.weaned / 100,
        premium_a_calf=typed.premium,
    )


def _budget(
    options: list[Option],
    option: Option,
    given: Assumptions,
    typed: Typed,
    prices: CoopPrices,
    rate: float,
    own: bool,
) -> Budget:
    found = ai_against_bulls(given)
    swings = sensitivity(given, _ranges(given, option, own))
    bars, zero, now = _chart(swings, found.net, prices.currency)
    open_head = open_after_ai(given.head, float(given.ai_rate))
    worth = earlier_calves_value(D(1), typed.days_older, typed.calf_price) * given.weaned_share
    worth += typed.premium * given.weaned_share
    calves = given.head * given.ai_rate * given.weaned_share
    return Budget(
        programme=option.protocol.name,
        head=given.head,
        rate=rate * 100,
        rate_words=f"{rate * 100:.0f} % (typed by you)" if own else rate_words(option),
        cost_a_head=option.cost_a_head,
        lines=tuple(_lines(found)),
        net=found.net,
        bull_a_year=cents(given.bull_a_year),
        bulls_before=bulls_needed(given.head, float(given.females_a_bull)),
        bulls_after=bulls_needed(open_head, float(given.open_a_bull)),
        open_head=open_head,
        calf_worth=cents(worth),
        older_value=cents(earlier_calves_value(calves, typed.days_older, typed.calf_price)),
        bars=bars,
        zero=zero,
        now=now,
        rivals=tuple(_rivals(options, option, rate, given.head, worth)),
        prices=prices,
    )


_SIDES = {
    Side.ADDED_RETURN: ("More income", True),
    Side.REDUCED_COST: ("Cost saved", True),
    Side.REDUCED_RETURN: ("Less income", False),
    Side.ADDED_COST: ("Added cost", False),
}


def _lines(found: PartialBudget) -> Iterator[BudgetLine]:
    for line in found.lines:
        if not line.amount:
            continue
        words, good = _SIDES[line.side]
        yield BudgetLine(words, line.words, cents(line.amount), good)


# How far each assumption is moved. The pregnancy rate runs over what is in print and over chance; the rest are defaults of this
# program: a quarter up and down for prices, five points for shares of the season. Females to a bull: 25 to 35, and 15 to 50
# after AI, since sheets (15 to 25) and field data (50 and more) disagree ("Bull to Female Ratios", Oklahoma State University
# Extension, 2022; "Bull:cow ratio after FTAI (14,868 females)", Virginia Tech thesis, undated). Days older: none to 17 ("Costs
# of siring calves: artificial insemination compared to natural service", Beef Cattle Research Council, Canada, undated).
_QUARTER = (D("0.75"), D("1.25"))


def _ranges(given: Assumptions, option: Option, own: bool) -> dict[str, tuple[Decimal, Decimal]]:
    low, high = option.by_chance or (float(given.ai_rate), float(given.ai_rate))
    if own or option.expected is None:
        low, high = float(given.ai_rate) - 0.1, float(given.ai_rate) + 0.1
    else:
        low, high = min(low, option.expected.low), max(high, option.expected.high)
    points = D("0.05")
    return {
        "ai_rate": (max(D("0.01"), D(str(round(low, 3)))), min(D(1), D(str(round(high, 3))))),
        "season_rate_ai": (max(given.ai_rate, given.season_rate_ai - points), min(D(1), given.season_rate_ai + points)),
        "season_rate_bulls": (max(D(0), given.season_rate_bulls - points), min(D(1), given.season_rate_bulls + points)),
        "ai_cost_a_head": (given.ai_cost_a_head * _QUARTER[0], given.ai_cost_a_head * _QUARTER[1]),
        "bull_a_year": (given.bull_a_year * _QUARTER[0], given.bull_a_year * _QUARTER[1]),
        "price_a_lb": (given.price_a_lb * _QUARTER[0], given.price_a_lb * _QUARTER[1]),
        "days_older": (D(0), max(D(17), given.days_older)),
        "females_a_bull": (min(D(25), given.females_a_bull), max(D(35), given.females_a_bull)),
        "open_a_bull": (min(D(15), given.open_a_bull), max(D(50), given.open_a_bull)),
    }


_NAMES = {
    "ai_rate": "Share pregnant to AI",
    "season_rate_ai": "Share pregnant at the season's end, with AI",
    "season_rate_bulls": "Share pregnant at the season's end, bulls alone",
    "ai_cost_a_head": "Cost of AI a head",
    "bull_a_year": "Cost of a bull a year",
    "price_a_lb": "Price of calves a lb",
    "days_older": "Days that AI calves are older",
    "females_a_bull": "Females to a bull, bulls alone",
    "open_a_bull": "Open females to a clean-up bull",
}


def _said(field: str, value: Decimal, currency: str) -> str:
    if field in ("ai_rate", "season_rate_ai", "season_rate_bulls"):
        return f"{value * 100:.0f} %"
    if field in ("ai_cost_a_head", "bull_a_year", "price_a_lb"):
        return f"{currency}{value:,.2f}"
    return f"{value:.0f}"


def _chart(swings: tuple[Swing, ...], net: Decimal, currency: str) -> tuple[tuple[Bar, ...], int, int]:
    """Bars on one scale that holds every net and nothing (zero); places in per mille."""
    nets = [net, D(0), *(value for row in swings for value in (row.net_low, row.net_high))]
    least, span = min(nets), (max(nets) - min(nets)) or D(1)

    def place(value: Decimal) -> int:
        return int((value - least) / span * 1000)

    bars = []
    for row in swings:
        left, right = sorted((place(row.net_low), place(row.net_high)))
        turns = _said(row.field, row.turns_at, currency) if row.turns_at is not None else ""
        bars.append(
            Bar(
                _NAMES[row.field],
                _said(row.field, row.low, currency),
                _said(row.field, row.high, currency),
                cents(row.net_low),
                cents(row.net_high),
                left,
                max(4, right - left),
                turns,
            )
        )
    return tuple(bars), place(D(0)), place(net)


def _rivals(options: list[Option], now: Option, rate: float, head: int, worth: Decimal) -> Iterator[Rival]:
    """Other programmes that fit and have a rate, best first."""
    mine = Programme(now.protocol.name, now.cost_a_head, D(str(round(rate, 4))))
    rows = []
    for option in options:
        if option is now or not option.fits or option.rate is None:
            continue
        other = Programme(option.protocol.name, option.cost_a_head, D(str(round(option.rate, 4))))
        net = between_programmes(head, mine, other, worth).net
        rows.append(Rival(option.protocol.id, other.name, other.cost_a_head, option.rate * 100, net))
    yield from sorted(rows, key=lambda row: (-row.net, row.name))


LB_A_DAY_WORDS = f"{LB_A_DAY} lb a day: {by.RANGE_SYMPOSIUM_2009.words}"
