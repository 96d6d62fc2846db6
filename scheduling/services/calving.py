"""The calving forecast of a group as bars with their words."""

from dataclasses import dataclass
from datetime import date, timedelta

from scheduling.kernel.advice.calving_forecast import SETTLE_A_SERVICE, CalvingForecast, forecast, with_bulls
from scheduling.kernel.advice.results import Expected
from scheduling.kernel.calving import PERIOD_DAYS
from scheduling.services.catalogue import protocol_of
from scheduling.services.season_basis import Basis, printed_rate
from scheduling.services.season_items import SeasonItem, is_natural


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days of calving: calves expected, of all until then in per cent, the bar's length in per mille of the longest."""

    first: date
    last: date
    calves: float
    until: int
    length: int

    @property
    def words(self) -> str:
        """Whole calves, or a chance where it is less than one."""
        return f"{self.calves:.0f}" if self.calves >= 0.95 else "less than 1"


@dataclass(frozen=True, slots=True)
class Calving:
    """A group's calving in words and bars. Days by which a half and nine tenths of the calves are born.

    `rate`: per cent pregnant to AI; `settle`: per cent of open females that a cycle with bulls settles.
    """

    weeks: tuple[Week, ...]
    periods: tuple[tuple[date, date, float, int], ...]
    calves: float
    first_due: date
    watch_from: date
    busiest: date
    half_by: date
    most_by: date
    rate: int
    rate_words: str
    settle: int


def calving_of(basis: Basis, items: list[SeasonItem]) -> Calving:
    """What is expected from AI and, where they follow, from bulls on the females left open."""
    by_key = {row.key: row for row in items}
    pregnant = basis.head * basis.rate
    bulls = by_key.get("bulls")
    protocol = protocol_of(basis.protocol)
    conceived = {basis.ai_day: pregnant}
    if protocol is not None and is_natural(protocol):
        conceived = with_bulls(basis.ai_day, 0, basis.head, basis.ai_day, basis.care.bull_days)
    elif bulls is not None and bulls.standing.dropped is None:
        conceived = with_bulls(basis.ai_day, pregnant, basis.head - pregnant, bulls.first, basis.care.bull_days)
    found = forecast(conceived)
    return Calving(
        weeks=_weeks(found),
        periods=_periods(found),
        calves=found.calves,
        first_due=found.first_due,
        watch_from=found.watch_from,
        busiest=found.busiest().day,
        half_by=found.day_by(0.5),
        most_by=found.day_by(0.9),
        rate=round(basis.rate * 100),
        rate_words=_rate_words(basis),
        settle=round(SETTLE_A_SERVICE * 100),
    )


def _weeks(found: CalvingForecast) -> tuple[Week, ...]:
    """Weeks counted from the first due day; those in which less than a twentieth of a calf is expected are left out."""
    sums: dict[int, float] = {}
    for row in found.days:
        number = (row.day - found.first_due).days // 7
        sums[number] = sums.get(number, 0.0) + row.calves
    kept = {number: calves for number, calves in sums.items() if calves >= 0.05}
    most, running, weeks = max(kept.values()), 0.0, []
    for number in sorted(sums):
        running += sums[number]
        if number in kept:
            first = found.first_due + timedelta(days=7 * number)
            until = round(100 * running / found.calves)
            length = max(6, round(1000 * kept[number] / most))
            weeks.append(Week(first, first + timedelta(days=6), kept[number], until, length))
    return tuple(weeks)


def _periods(found: CalvingForecast) -> tuple[tuple[date, date, float, int], ...]:
    """Calving periods of 21 days: first and last day, calves, per cent of all."""
    rows = []
    for number, calves in enumerate(found.periods):
        if calves >= 0.05:
            first = found.first_due + timedelta(days=PERIOD_DAYS * number)
            rows.append((first, first + timedelta(days=PERIOD_DAYS - 1), calves, round(100 * calves / found.calves)))
    return tuple(rows)


def _rate_words(basis: Basis) -> str:
    if basis.care.expected_rate:
        return "typed for this group"
    found: Expected | None = printed_rate(basis.protocol, basis.animal_class)
    if found is None:
        return "a default of this program: no rate of this programme is in print"
    low, high = f"{found.low * 100:.0f}", f"{found.high * 100:.0f}"
    return f"in print for this programme: {low if low == high else f'{low} to {high}'} %"
