"""When the calves come: a distribution over days, from the days of conception and how long she carries."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import erf, sqrt

from scheduling.kernel.advice.after_ai import WATCH_BEFORE_DUE
from scheduling.kernel.calving import GESTATION_DAYS, PERIOD_DAYS, calving_period
from scheduling.kernel.reader import ReadError

# Spread of one pregnancy around its mean: 5.52 days in Simmental, "Gestation Length (guideline)", Beef Improvement
# Federation, undated; the same guideline gives 283 days over all breeds, cows 1.9 days more than heifers, males 1.5 more.
SPREAD_DAYS = 5.52
COW_OVER_HEIFER_DAYS = 1.9
# The spread is cut at this many days either side: 12, "Gestation length of the beef cow versus dystocia", Nevada Extension,
# undated, is the printed range; four spreads leave nothing out that could be seen.
_CUT = 4.0


class Breed(StrEnum):
    """Breeds that a mean is printed for."""

    ALL = "all breeds"
    ANGUS = "Angus"
    SHORTHORN = "Shorthorn"
    HEREFORD = "Hereford"
    CONTINENTAL = "Charolais, Simmental, Limousin"
    BRAHMAN = "Brahman"
    JERSEY = "Jersey"


# Days. All breeds: Beef Improvement Federation guideline; the others: "Gestation length of the beef cow versus dystocia",
# Nevada Extension, undated. Measured means of the 1950s (J. Anim. Sci.): Angus 281.7, Shorthorn 284.3, Hereford 286.1.
GESTATION_BY_BREED = {
    Breed.ALL: float(GESTATION_DAYS),
    Breed.ANGUS: 281.0,
    Breed.SHORTHORN: 282.0,
    Breed.HEREFORD: 285.0,
    Breed.CONTINENTAL: 289.0,
    Breed.BRAHMAN: 292.0,
    Breed.JERSEY: 279.0,
}


@dataclass(frozen=True, slots=True)
class DayShare:
    """Calves expected on a day (a fraction of a head is a chance), and of all until then."""

    day: date
    calves: float
    until_then: float


@dataclass(frozen=True, slots=True)
class CalvingForecast:
    """Expected calves a day; when to begin checking; calves in each 21-day period from the first due day."""

    days: tuple[DayShare, ...]
    calves: float
    first_due: date
    watch_from: date
    periods: tuple[float, ...]

    def busiest(self) -> DayShare:
        """The day with the most calves."""
        return max(self.days, key=lambda row: row.calves)

    def day_by(self, share: float) -> date:
        """The day by which a share (0 to 1) of the calves is born."""
        return next(row.day for row in self.days if row.until_then >= self.calves * share - 1e-9)


def forecast(
    conceived: Mapping[date, float], mean_days: float = float(GESTATION_DAYS), spread_days: float = SPREAD_DAYS
) -> CalvingForecast:
    """Expected calves a day from expected pregnancies by the day of conception (AI day, or a day with bulls).

    `ReadError` for no pregnancies, a negative number, or a gestation outside 250 to 320 days.
    """
    if not conceived or min(conceived.values()) < 0 or sum(conceived.values()) <= 0:
        raise ReadError("conceived", "at least one day with pregnancies, none below nothing")
    if not 250 <= mean_days <= 320 or not 0.5 <= spread_days <= 20:
        raise ReadError("mean_days", "250 to 320 days, with a spread of 0.5 to 20")
    shares = _shares(mean_days, spread_days)
    born: dict[date, float] = {}
    for day, head in conceived.items():
        for after, share in shares.items():
            when = day + timedelta(days=after)
            born[when] = born.get(when, 0.0) + head * share
    total, running, rows = sum(conceived.values()), 0.0, []
    for when in sorted(born):
        running += born[when]
        rows.append(DayShare(when, born[when], running))
    first_due = min(day for day, head in conceived.items() if head) + timedelta(days=round(mean_days))
    return CalvingForecast(
        tuple(rows), total, first_due, first_due - timedelta(days=WATCH_BEFORE_DUE), _periods(rows, first_due)
    )


def _shares(mean: float, spread: float) -> dict[int, float]:
    """Share of calves on each whole day after conception: the normal curve over that day, made to sum to one."""
    low, high = int(mean - _CUT * spread), int(mean + _CUT * spread) + 1
    raw = {day: _below(day + 0.5, mean, spread) - _below(day - 0.5, mean, spread) for day in range(low, high + 1)}
    whole = sum(raw.values())
    return {day: share / whole for day, share in raw.items()}


def _below(value: float, mean: float, spread: float) -> float:
    return 0.5 * (1 + erf((value - mean) / (spread * sqrt(2))))


def _periods(rows: list[DayShare], first_due: date) -> tuple[float, ...]:
    """Calves in each 21-day period; calves before the first due day count in the first ("Evaluate your calving distribution
    this spring", a Midwestern state university extension, 2021)."""
    sums: list[float] = []
    for row in rows:
        number = calving_period(row.day, first_due) - 1
        sums += [0.0] * (number + 1 - len(sums))
        sums[number] += row.calves
    return tuple(sums)


# Share of open, cycling females in heat a day: 5 %, "What to expect when calving timed-AI females", South Dakota State
# University Extension, 2018 (one in about 21). Share of those that settle to a bull's service: first returns of 47 % were
# measured after AI ("Bull:cow ratio after FTAI", J. Anim. Sci. supplement, undated, 6,002 cows).
SETTLE_A_SERVICE = 0.47


def with_bulls(
    ai_day: date, ai_pregnant: float, open_head: float, bulls_in: date, bull_days: int, settle: float = SETTLE_A_SERVICE
) -> dict[date, float]:
    """Expected pregnancies by day: AI, then bulls on those left open.

    Open females are taken to return evenly over a cycle of 21 days, each cycle settling a share `settle` of those left.
    """
    if not 0 <= settle <= 1 or bull_days < 0 or min(ai_pregnant, open_head) < 0:
        raise ReadError("settle", "a share from 0 to 1, with no negative head or days")
    conceived = {ai_day: float(ai_pregnant)}
    for day in range(bull_days):
        left = open_head * (1 - settle) ** (day // PERIOD_DAYS)
        when = bulls_in + timedelta(days=day)
        conceived[when] = conceived.get(when, 0.0) + left * settle / PERIOD_DAYS
    return conceived
