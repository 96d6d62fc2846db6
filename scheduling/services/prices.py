"""A co-op's prices: what was typed, and the printed defaults with their year where nothing was."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError

from accounts import units
from accounts.models import Cooperative, User
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.kernel.advice.prices import DEFAULT_PRICES, PRICE_SOURCES, Prices
from scheduling.models import CoopPrices

# What one female costs: the kernel's prices. What ranches share: none is charged before the co-op has typed it.
OWN = tuple(item.name for item in fields(Prices))
SHARED = ("technician_day", "km", "barn_day")
RULES = ("technician_day_by", "km_by", "barn_by")
KM_PER_MILE = Decimal(str(units.KM_PER_MILE))


class PricesError(ValueError):
    """Prices that cannot be saved: texts by field."""

    def __init__(self, faults: dict[str, list[str]]) -> None:
        super().__init__("; ".join(f"{name}: {' '.join(texts)}" for name, texts in faults.items()))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class PriceLine:
    """A price as it is shown: `typed` by the co-op, or the default with who printed it. Road is per mile or km by person."""

    field: str
    words: str
    price: Decimal | None
    typed: bool
    source: str


def prices_row(cooperative: Cooperative) -> CoopPrices:
    """The co-op's row, or an unsaved empty one. One query."""
    return CoopPrices.objects.filter(cooperative=cooperative).first() or CoopPrices(cooperative=cooperative)


def prices_of(row: CoopPrices) -> Prices:
    """The prices in force: typed ones, defaults where nothing is typed."""
    typed = {name: getattr(row, name) for name in OWN}
    return Prices(**{name: DEFAULT_PRICES_BY_NAME[name] if value is None else value for name, value in typed.items()})


DEFAULT_PRICES_BY_NAME: Mapping[str, Decimal] = {name: getattr(DEFAULT_PRICES, name) for name in OWN}


def default_words(name: str) -> str:
    """What stands in for an empty price, with who printed it: 'in print 14.00: "Natural Service ...", Ohio ..., 2020'."""
    if name in SHARED:
        return "nothing is charged"
    return f"{trimmed(DEFAULT_PRICES_BY_NAME[name])}: {PRICE_SOURCES[name].words}"


def trimmed(value: Decimal) -> str:
    """A price with two decimals, or as many as it has."""
    exact = value.normalize()
    places = max(2, -int(exact.as_tuple().exponent))
    return f"{value:,.{places}f}"


def price_lines(row: CoopPrices, user: User) -> list[PriceLine]:
    """Every price in the order of the form."""
    return [_line(row, name, user) for name in (*OWN, *SHARED)]


def _line(row: CoopPrices, name: str, user: User) -> PriceLine:
    value = getattr(row, name)
    typed = value is not None
    if name in OWN:
        value = value if typed else DEFAULT_PRICES_BY_NAME[name]
    elif name == "km" and typed:
        value = shown_road(value, user)
    return PriceLine(name, label_of(name, user), value, typed, "typed by the co-op" if typed else default_words(name))


def label_of(name: str, user: User) -> str:
    """A price's name; the road's by the person's unit of distance."""
    if name == "km":
        return f"A {'mile' if user.distance_unit == 'mi' else 'km'} of a technician's road"
    words = str(CoopPrices._meta.get_field(name).verbose_name)  # type: ignore[union-attr]
    return words[0].upper() + words[1:]


def shown_road(a_km: Decimal, user: User) -> Decimal:
    """The price of the road in the person's unit, to a hundredth of a cent."""
    value = a_km * KM_PER_MILE if user.distance_unit == "mi" else a_km
    return value.quantize(Decimal("0.0001"))


def kept_road(typed: Decimal, user: User) -> Decimal:
    """A typed price of the road, by the km."""
    return (typed / KM_PER_MILE if user.distance_unit == "mi" else typed).quantize(Decimal("0.00000001"))


def save_prices(*, member: Member, values: Mapping[str, Any], now: datetime) -> CoopPrices:
    """Save the co-op's prices and rules, the road's in the person's unit; raises PricesError, saving nothing."""
    member.require(Permission.PRICES_EDIT, Reach.COOP)
    row = prices_row(member.cooperative)
    for name in ("currency", *OWN, *SHARED, *RULES):
        if name in values:
            setattr(row, name, values[name])
    if values.get("km") is not None:
        row.km = kept_road(values["km"], member.user)
    row.changed_at, row.by = now, member.user
    try:
        row.full_clean(validate_unique=False)
    except ValidationError as fault:
        raise PricesError(fault.message_dict) from None
    row.save()
    return row
