"""What an AI pregnancy costs, what a bull costs, and whether AI pays: exact to the cent, with which assumption decides.

All money is `Decimal` in one currency, whichever the person types; rates are shares from 0 to 1. Nothing is rounded
before it is shown (`cents`).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from math import sqrt

from scheduling.kernel.advice.after_ai import bulls_needed, open_after_ai
from scheduling.kernel.reader import ReadError

CENT = Decimal("0.01")
_NOTHING = Decimal(0)


def cents(amount: Decimal) -> Decimal:
    """Rounded to the full cent, half up."""
    return amount.quantize(CENT, ROUND_HALF_UP)


def cost_per_pregnancy(cost_a_head: Decimal, rate: Decimal) -> Decimal:
    """Cost of a pregnancy: cost of one treated female over the share that becomes pregnant; `ReadError` at rate 0.

    "How does the cost of AI compare to natural service?", extension, reprint, 2012.
    """
    if not 0 < rate <= 1:
        raise ReadError("rate", "a share above 0, at most 1")
    if cost_a_head < 0:
        raise ReadError("cost_a_head", "nothing or more")
    return cost_a_head / rate


# The 90 % point of the normal distribution (standard tables): eight groups in ten fall inside.
_EIGHT_IN_TEN = 1.2816


def likely_range(rate: float, head: int) -> tuple[float, float]:
    """Pregnancy rates that eight in ten groups of this size would show by chance alone, when `rate` is the true one.

    Wilson's interval (E. B. Wilson, Journal of the American Statistical Association, 1927; from memory), which stays in 0 to 1.
    """
    if head < 1 or not 0 <= rate <= 1:
        raise ReadError("head", "at least one, with a rate from 0 to 1")
    z2 = _EIGHT_IN_TEN**2
    middle = (rate + z2 / (2 * head)) / (1 + z2 / head)
    half = _EIGHT_IN_TEN * sqrt(rate * (1 - rate) / head + z2 / (4 * head * head)) / (1 + z2 / head)
    return max(0.0, min(middle - half, rate)), min(1.0, max(middle + half, rate))


@dataclass(frozen=True, slots=True)
class Spread:
    """Cost per AI pregnancy: at the middle rate, and where the rate is high (cheapest) and low (dearest)."""

    cheapest: Decimal
    middle: Decimal
    dearest: Decimal


def pregnancy_cost_spread(cost_a_head: Decimal, low: float, middle: float, high: float) -> Spread:
    """The cost per pregnancy over a range of rates (low <= middle <= high)."""
    if not 0 < low <= middle <= high <= 1:
        raise ReadError("low", "above 0 and in order: low, middle, high, at most 1")
    costs = [cents(cost_per_pregnancy(cost_a_head, Decimal(str(rate)))) for rate in (high, middle, low)]
    return Spread(*costs)


@dataclass(frozen=True, slots=True)
class Bull:
    """A bull: price, what he sells for after `years`, interest as a share a year, yearly keep (feed, veterinarian, work)."""

    price: Decimal
    salvage: Decimal
    years: int
    yearly: Decimal
    interest: Decimal = _NOTHING
    death_loss: Decimal = _NOTHING

    def __post_init__(self) -> None:
        """Refuse what cannot be, by field."""
        if self.years < 1:
            raise ReadError("years", "at least 1")
        if not 0 <= self.salvage <= self.price:
            raise ReadError("salvage", "from nothing to his price")
        if min(self.yearly, self.interest, self.death_loss) < 0 or max(self.interest, self.death_loss) >= 1:
            raise ReadError("interest", "shares from 0 to below 1, and no negative keep")

    @property
    def a_year(self) -> Decimal:
        """Depreciation, interest on the mean value, death loss on the price, and keep.

        "Bulls vs AI: the Cost Side", University of Wyoming Extension, about 2013; interest as in "Bull cost per hundredweight",
        Texas A&M author, undated.
        """
        depreciation = (self.price - self.salvage) / self.years
        interest = (self.price + self.salvage) / 2 * self.interest
        return depreciation + interest + self.price * self.death_loss + self.yearly

    def per_female(self, females: int) -> Decimal:
        """Cost for each female that he is with."""
        if females < 1:
            raise ReadError("females", "at least 1")
        return self.a_year / females

    def per_pregnancy(self, females: int, rate: Decimal) -> Decimal:
        """Cost for each pregnancy of the females that he is with."""
        return cost_per_pregnancy(self.per_female(females), rate)


class Side(StrEnum):
    """The four sides of a partial budget."""

    ADDED_RETURN = "added return"
    REDUCED_COST = "reduced cost"
    REDUCED_RETURN = "reduced return"
    ADDED_COST = "added cost"


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a partial budget; amounts are never negative, the side says the sign."""

    side: Side
    words: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class PartialBudget:
    """What changes, and nothing else: added returns + reduced costs - reduced returns - added costs."""

    lines: tuple[Line, ...]

    def total(self, side: Side) -> Decimal:
        """Sum of one side, to the cent."""
        return sum((cents(line.amount) for line in self.lines if line.side is side), _NOTHING)

    @property
    def net(self) -> Decimal:
        """What the change earns (or loses, below nothing)."""
        good = self.total(Side.ADDED_RETURN) + self.total(Side.REDUCED_COST)
        return good - self.total(Side.REDUCED_RETURN) - self.total(Side.ADDED_COST)


# Weaning weight for each day that a calf is older: 2.4 lb, "Heifer development and post-AI management", Range Beef Cow
# Symposium XXI, South Dakota State University and University of Nebraska, 2009 (3,700 calves).
LB_A_DAY = Decimal("2.4")


def earlier_calves_value(calves: Decimal, days: Decimal, price_a_lb: Decimal, lb_a_day: Decimal = LB_A_DAY) -> Decimal:
    """Value of calves that are so many days older at weaning (price per lb)."""
    return calves * days * lb_a_day * price_a_lb


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What a comparison of AI with bulls alone rests on. Shares are of all females; amounts in the person's currency."""

    head: int
    ai_cost_a_head: Decimal
    ai_rate: Decimal
    season_rate_ai: Decimal
    season_rate_bulls: Decimal
    bull_a_year: Decimal
    females_a_bull: Decimal
    open_a_bull: Decimal
    weaning_lb: Decimal
    price_a_lb: Decimal
    days_older: Decimal
    weaned_share: Decimal = Decimal(1)
    premium_a_calf: Decimal = _NOTHING

    def __post_init__(self) -> None:
        """Refuse what cannot be, by field."""
        for name in ("ai_rate", "season_rate_ai", "season_rate_bulls", "weaned_share"):
            if not 0 <= getattr(self, name) <= 1:
                raise ReadError(name, "a share from 0 to 1")
        for item in fields(self):
            if getattr(self, item.name) < 0:
                raise ReadError(item.name, "nothing or more")
        if self.ai_rate > self.season_rate_ai:
            raise ReadError("season_rate_ai", "at least the share pregnant to AI")
        if self.head < 1 or min(self.females_a_bull, self.open_a_bull) <= 0:
            raise ReadError("head", "at least one female, and females to a bull above nothing")


def ai_against_bulls(given: Assumptions) -> PartialBudget:
    """Partial budget of AI with clean-up bulls, in place of bulls alone."""
    lb = given.weaning_lb * given.price_a_lb
    more = given.head * (given.season_rate_ai - given.season_rate_bulls) * given.weaned_share
    ai_calves = given.head * given.ai_rate * given.weaned_share
    before = bulls_needed(given.head, float(given.females_a_bull))
    after = bulls_needed(open_after_ai(given.head, float(given.ai_rate)), float(given.open_a_bull))
    lines = [
        Line(Side.ADDED_COST, f"AI of {given.head} females", given.head * given.ai_cost_a_head),
        _signed(before - after, given.bull_a_year, f"Bulls: {before} without AI, {after} with AI"),
        Line(Side.ADDED_RETURN if more >= 0 else Side.REDUCED_RETURN, "Calves more or fewer", abs(more) * lb),
        Line(
            Side.ADDED_RETURN,
            "AI calves older at weaning",
            earlier_calves_value(ai_calves, given.days_older, given.price_a_lb),
        ),
    ]
    if given.premium_a_calf:
        lines.append(Line(Side.ADDED_RETURN, "Premium for AI calves", ai_calves * given.premium_a_calf))
    return PartialBudget(tuple(lines))


def _signed(fewer: int, each: Decimal, words: str) -> Line:
    return Line(Side.REDUCED_COST if fewer >= 0 else Side.ADDED_COST, words, abs(fewer) * each)


@dataclass(frozen=True, slots=True)
class Programme:
    """A programme for a comparison: what it costs a head, and the share pregnant to AI."""

    name: str
    cost_a_head: Decimal
    rate: Decimal


def between_programmes(head: int, now: Programme, instead: Programme, value_of_ai_calf: Decimal) -> PartialBudget:
    """Partial budget of one programme in place of another. `value_of_ai_calf`: what an AI pregnancy is worth above a bull's."""
    cost = head * (instead.cost_a_head - now.cost_a_head)
    calves = head * (instead.rate - now.rate)
    return PartialBudget(
        (
            Line(
                Side.ADDED_COST if cost >= 0 else Side.REDUCED_COST,
                f"{instead.name} in place of {now.name}",
                abs(cost),
            ),
            Line(
                Side.ADDED_RETURN if calves >= 0 else Side.REDUCED_RETURN,
                "AI pregnancies more or fewer",
                abs(calves) * value_of_ai_calf,
            ),
        )
    )


@dataclass(frozen=True, slots=True)
class Swing:
    """One assumption from low to high, all else as assumed: the net at each end, and where it turns (None: nowhere between)."""

    field: str
    low: Decimal
    high: Decimal
    net_low: Decimal
    net_high: Decimal
    turns_at: Decimal | None

    @property
    def width(self) -> Decimal:
        """How much the net moves."""
        return abs(self.net_high - self.net_low)


def sensitivity(
    given: Assumptions,
    ranges: Mapping[str, tuple[Decimal, Decimal]],
    net: Callable[[Assumptions], Decimal] = lambda given: ai_against_bulls(given).net,
) -> tuple[Swing, ...]:
    """Each assumption moved alone over its range, the one that moves the net most first: that one decides.

    `ReadError` names a field that is no assumption.
    """
    known = {item.name for item in fields(Assumptions)} - {"head"}
    rows = []
    for name, (low, high) in ranges.items():
        if name not in known:
            raise ReadError(name, "one of " + ", ".join(sorted(known)))

        def at(value: Decimal, name: str = name) -> Decimal:
            return net(_with(given, name, value))

        rows.append(Swing(name, low, high, at(low), at(high), _turn(at, low, high)))
    return tuple(sorted(rows, key=lambda row: (-row.width, row.field)))


def _with(given: Assumptions, name: str, value: Decimal) -> Assumptions:
    """The assumptions with one changed; the season's rate is never let fall below the AI rate."""
    changes = {name: value}
    if name == "ai_rate":
        changes["season_rate_ai"] = max(given.season_rate_ai, value)
    return replace(given, **changes)  # type: ignore[arg-type]


def _turn(at: Callable[[Decimal], Decimal], low: Decimal, high: Decimal) -> Decimal | None:
    """The value at which the net changes sign, by halving; None where both ends have the same sign."""
    first, last = at(low), at(high)
    if (first < 0) == (last < 0):
        return None
    left, right = low, high
    for _ in range(40):
        middle = (left + right) / 2
        if (at(middle) < 0) == (first < 0):
            left = middle
        else:
            right = middle
    return right
