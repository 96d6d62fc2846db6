"""What things cost, as typed by a co-op, and what one female costs under a protocol. US dollars where a price is printed."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from types import MappingProxyType

from scheduling.kernel.advice import figures as by
from scheduling.kernel.advice.figures import Cited, Ground
from scheduling.kernel.advice.results import Semen
from scheduling.kernel.protocol import Action, Category, Protocol, Substance
from scheduling.kernel.reader import ReadError


@dataclass(frozen=True, slots=True)
class Prices:
    """Prices in one currency. The defaults are printed ones where there are any: replace them with your own."""

    # Insert 14, patch 60 for 50, sheath 5 for 50, glove 14 for 100, semen 25 and up, sexed 50 and up: "Natural Service vs
    # Artificial Insemination", Ohio State University Extension, 2020.
    insert: Decimal = Decimal("14.00")
    patch: Decimal = Decimal("1.20")
    sheath: Decimal = Decimal("0.10")
    glove: Decimal = Decimal("0.14")
    semen: Decimal = Decimal("25.00")
    semen_sexed: Decimal = Decimal("50.00")
    # PG 3.00: "How many bulls when synchronizing with natural service?", South Dakota State University, 2020.
    pg: Decimal = Decimal("3.00")
    # No GnRH price was found in print. 20 for the drugs of a 7-day insert programme ("Bulls vs AI: the Cost Side",
    # University of Wyoming Extension, about 2013) less an insert at 11 ("Utilizing natural service synchronization", about
    # 2015) and PG at 3 leaves 6 for two doses.
    gnrh: Decimal = Decimal("3.00")
    # MGA 0.02 a head and day: "Utilizing natural service synchronization", extension summary, about 2015.
    mga_day: Decimal = Decimal("0.02")
    # An hour of work: a default of this program. A technician's fee a head and a visit: none in print for beef; type yours.
    hour: Decimal = Decimal("20.00")
    technician_head: Decimal = Decimal("0.00")
    technician_visit: Decimal = Decimal("0.00")

    def __post_init__(self) -> None:
        """Refuse negative prices, by field."""
        for item in fields(self):
            if getattr(self, item.name) < 0:
                raise ReadError(item.name, "nothing or more")


DEFAULT_PRICES = Prices()
_WORKED = Cited(Ground.WORKED_OUT, "Bulls vs AI: the Cost Side", "University of Wyoming Extension", "about 2013")
PRICE_SOURCES: Mapping[str, Cited] = MappingProxyType(
    {
        **dict.fromkeys(("insert", "patch", "sheath", "glove", "semen", "semen_sexed"), by.OHIO_PRICES_2020),
        "pg": by.SDSU_BULLS_2020,
        "gnrh": _WORKED,
        "mga_day": by.USING_MGA_2015,
        **dict.fromkeys(("hour", "technician_head", "technician_visit"), by.DEFAULT),
    }
)


@dataclass(frozen=True, slots=True)
class CostLine:
    """A part of the cost of one treated female: what, how many of it a head, price, and cost a head."""

    key: str
    words: str
    quantity: Decimal
    price: Decimal

    @property
    def amount(self) -> Decimal:
        """Cost a head, unrounded."""
        return self.quantity * self.price


def doses(protocol: Protocol) -> dict[Substance, int]:
    """Doses a head of each substance that is given (an insert counts once; a double dose counts as two; MGA by the day)."""
    counted: dict[Substance, int] = {}
    for step in protocol.steps:
        if step.action is Action.GIVE and step.substance not in (None, Substance.MGA):
            dose = 2 if step.dose and step.dose.startswith("two doses") else 1
            counted[step.substance] = counted.get(step.substance, 0) + dose
    days = [step.day for step in protocol.steps if step.substance is Substance.MGA]
    if days:
        counted[Substance.MGA] = max(days) - min(days) + 1
    return counted


def wants_patch(protocol: Protocol) -> bool:
    """Whether a heat-detection patch is worth its price: heat is watched for, or AI is split by heat."""
    return bool(protocol.heat_watches) or protocol.category is Category.SPLIT_TIME


def material_lines(protocol: Protocol, prices: Prices, semen: Semen, inseminated: Decimal) -> Iterator[CostLine]:
    """Drugs, patch, semen and supplies of one treated female; `inseminated` is the share that gets a straw (0 to 1)."""
    given = doses(protocol)
    rows = (
        ("insert", "Progesterone insert", Decimal(given.get(Substance.INSERT, 0)), prices.insert),
        ("gnrh", "GnRH", Decimal(given.get(Substance.GNRH, 0)), prices.gnrh),
        ("pg", "PG", Decimal(given.get(Substance.PG, 0)), prices.pg),
        ("mga", "MGA, days", Decimal(given.get(Substance.MGA, 0)), prices.mga_day),
        ("patch", "Heat-detection patch", Decimal(int(wants_patch(protocol))), prices.patch),
        ("semen", f"Semen, {semen}", inseminated, prices.semen_sexed if semen is Semen.SEXED else prices.semen),
        ("supplies", "Sheath and glove", inseminated, prices.sheath + prices.glove),
    )
    for key, words, quantity, price in rows:
        if quantity:
            yield CostLine(key, words, quantity, price)
