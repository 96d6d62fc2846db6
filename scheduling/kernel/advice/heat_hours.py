"""What hours of weather mean: cool hours of each day, bands for cattle and people, warnings on steps and on hauling."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from enum import StrEnum
from itertools import groupby
from zoneinfo import ZoneInfo

from scheduling.kernel.advice.figures import Cited
from scheduling.kernel.advice.units import TemperatureUnit, Units, day_words, from_celsius
from scheduling.kernel.advice.weather import WeatherHour, WeatherSource
from scheduling.kernel.advice.whys import WHYS
from scheduling.kernel.heat import Band, cattle_band
from scheduling.kernel.reader import ReadError
from scheduling.kernel.sun import sun_times

# Livestock Safety Index, alert from 75: "Heat Stress and Beef Production", Clemson University, copy of 2009.
COOL_BELOW = 75.0
# Never after 10 in summer; body heat needs four to six hours to fall after the hot hours: "Handling cattle through high heat
# humidity indexes", Nebraska Beef Quality Assurance, undated. The longer is used.
WORK_ENDS, RECOVERY_H = time(10), 6
# A night below 70 F for at least four hours: "Heat preparation", University of Nebraska-Lincoln, association magazine, 2023.
NIGHT_BELOW_C, NIGHT_HOURS = (70 - 32) / 1.8, 4


@dataclass(frozen=True, slots=True)
class HeatDay:
    """A day's heat: highest THI and heat index, their bands, spans that are cool enough for cattle, sun, and the night before.

    `cool` are (start, end) pairs; `night_cooled` is None where the night is not known, `sun` where the place is not.
    """

    day: date
    highest_thi: float
    hottest_at: datetime
    cattle: Band
    people: Band
    highest_heat_index_f: float
    cool: tuple[tuple[datetime, datetime], ...]
    night_cooled: bool | None
    sun: tuple[datetime, datetime] | None
    hours: int


# Worksite bands of "Using the Heat Index: a guide for employers", US OSHA, undated.
PEOPLE_BANDS = (
    Band(-100, "lower", "Water within reach."),
    Band(91, "moderate", "About four cups of water an hour, breaks in the shade, nobody alone."),
    Band(103, "high", "Move the work to a cooler hour where you can; watch each other."),
    Band(115, "very high", "Put off all work that can wait."),
)
# The public bands of the weather service (US Geological Survey manual, appendix 45-B, undated), for comparison.
PUBLIC_BANDS = (
    Band(-100, "none", ""),
    Band(80, "caution", ""),
    Band(90, "extreme caution", ""),
    Band(105, "danger", ""),
    Band(130, "extreme danger", ""),
)
# Full sun adds up to 15 F: the same guide.
FULL_SUN_F = 15.0


def people_band(heat_index_f: float, bands: Sequence[Band] = PEOPLE_BANDS) -> Band:
    """The band that a heat index (F) falls in."""
    return [band for band in bands if band.low <= heat_index_f][-1]


def heat_days(
    source: WeatherSource, first: date, last: date, zone: ZoneInfo, place: tuple[float, float] | None = None
) -> tuple[HeatDay, ...]:
    """The heat of every day of which hours are known, from `first` to `last`."""
    rows = source.hours(first - timedelta(days=1), last, zone)
    return tuple(
        _heat_day(day, of_day, rows, zone, place) for day, of_day in _by_day(rows, zone) if first <= day <= last
    )


def _by_day(rows: Sequence[WeatherHour], zone: ZoneInfo) -> Iterator[tuple[date, tuple[WeatherHour, ...]]]:
    for day, group in groupby(rows, key=lambda row: row.at.astimezone(zone).date()):
        yield day, tuple(group)


def _heat_day(
    day: date,
    of_day: tuple[WeatherHour, ...],
    rows: Sequence[WeatherHour],
    zone: ZoneInfo,
    place: tuple[float, float] | None,
) -> HeatDay:
    hottest = max(of_day, key=lambda row: row.thi)
    index = max(row.heat_index_f for row in of_day)
    sun = sun_times(day, *place) if place is not None else None
    return HeatDay(
        day=day,
        highest_thi=hottest.thi,
        hottest_at=hottest.at.astimezone(zone),
        cattle=cattle_band(hottest.thi),
        people=people_band(index),
        highest_heat_index_f=index,
        cool=cool_spans(rows, day, zone),
        night_cooled=_night_cooled(rows, day, zone),
        sun=(sun[0].astimezone(zone), sun[1].astimezone(zone)) if sun else None,
        hours=len(of_day),
    )


def is_hot(row: WeatherHour) -> bool:
    """Whether an hour reaches the alert band for cattle, rounded as the bands are."""
    return cattle_band(row.thi).low >= COOL_BELOW


def cool_spans(rows: Sequence[WeatherHour], day: date, zone: ZoneInfo) -> tuple[tuple[datetime, datetime], ...]:
    """Spans of a day in which cattle may be worked: below the alert band, and six hours after the last hot hour.

    On a day that reaches the alert band work ends at 10:00 even where the hour is still below it.
    """
    hot = [row.at for row in rows if is_hot(row)]
    of_day = [row for row in rows if row.at.astimezone(zone).date() == day]
    hot_day = any(is_hot(row) for row in of_day)
    spans: list[tuple[datetime, datetime]] = []
    for row in of_day:
        local = row.at.astimezone(zone)
        recovering = any(timedelta(0) <= row.at - at < timedelta(hours=RECOVERY_H + 1) for at in hot)
        if recovering or (hot_day and local.time() >= WORK_ENDS):
            continue
        ends = (row.at.astimezone(timezone.utc) + timedelta(hours=1)).astimezone(zone)
        if spans and spans[-1][1] == local:
            spans[-1] = (spans[-1][0], ends)
        else:
            spans.append((local, ends))
    return tuple(spans)


def _night_cooled(rows: Sequence[WeatherHour], day: date, zone: ZoneInfo) -> bool | None:
    """Whether the night before a day (20:00 to 8:00) had four hours below 70 F; None where not all its hours are known."""
    begin = datetime.combine(day - timedelta(days=1), time(20), zone).astimezone(timezone.utc)
    night = [row for row in rows if timedelta(0) <= row.at - begin < timedelta(hours=12)]
    if len(night) < 12:
        return None
    return sum(row.celsius < NIGHT_BELOW_C for row in night) >= NIGHT_HOURS


class Work(StrEnum):
    """What a warning is about."""

    STEP = "step"
    HAUL = "haul"


@dataclass(frozen=True, slots=True)
class HeatWarning:
    """A warning on a step or a haul: the rule's code, words, and the cooler span of that day where there is one."""

    code: str
    sentence: str
    cooler: tuple[datetime, datetime] | None

    @property
    def sources(self) -> tuple[Cited, ...]:
        """Who printed the bands."""
        return WHYS[self.code].sources


def warn(
    rows: Sequence[WeatherHour],
    start: datetime,
    end: datetime,
    zone: ZoneInfo,
    what: str,
    units: Units,
    work: Work = Work.STEP,
) -> tuple[HeatWarning, ...]:
    """Warnings for work from `start` to `end`: cattle in the alert band or worse, people's heat, a night that did not cool.

    `what` names the work ("Timed AI"). No warning where no hour is known.
    """
    if end <= start:
        raise ReadError("end", "after the start")
    during = [row for row in rows if row.at < end and row.at + timedelta(hours=1) > start]
    if not during:
        return ()
    day = start.astimezone(zone).date()
    spans = cool_spans(rows, day, zone)
    best = max(spans, key=lambda span: span[1] - span[0], default=None)
    return tuple(_warnings(rows, during, day, zone, what, units, work, best))


def _warnings(
    rows: Sequence[WeatherHour],
    during: Sequence[WeatherHour],
    day: date,
    zone: ZoneInfo,
    what: str,
    units: Units,
    work: Work,
    best: tuple[datetime, datetime] | None,
) -> Iterator[HeatWarning]:
    hottest = max(during, key=lambda row: row.thi)
    band = cattle_band(hottest.thi)
    when = f"{what} on {day_words(day)}"
    if band.low >= COOL_BELOW:
        air = f"{from_celsius(hottest.celsius, units.temperature):.0f} {units.temperature}, {hottest.humidity:.0f} %"
        said = f"{when} meets a heat index for cattle of {hottest.thi:.0f} ({band.name}; {air}). {band.advice}"
        if work is Work.HAUL and band.name == "danger":
            said += " Haul at dawn, or put it off."
        yield HeatWarning("cattle_heat", said, best)
    elif any(timedelta(0) <= during[0].at - row.at < timedelta(hours=RECOVERY_H + 1) for row in rows if is_hot(row)):
        said = f"{when} comes within {RECOVERY_H} hours after hot hours: cattle have not cooled yet. Mornings are safe."
        yield HeatWarning("morning", said, best)
    if _night_cooled(rows, day, zone) is False and band.low >= COOL_BELOW:
        limit = f"{from_celsius(NIGHT_BELOW_C, units.temperature):.0f} {units.temperature}"
        said = f"The night before had less than {NIGHT_HOURS} hours below {limit}: cattle start the day hot."
        yield HeatWarning("night_recovery", said, best)
    index = max(row.heat_index_f for row in during)
    people = people_band(index)
    if people.low >= PEOPLE_BANDS[1].low:
        felt = _felt(index, units)
        fahrenheit = units.temperature is TemperatureUnit.F
        sun = f"{FULL_SUN_F if fahrenheit else FULL_SUN_F / 1.8:.0f} {units.temperature}"
        said = f"It feels like {felt} to people ({people.name}), up to {sun} more in full sun. {people.advice}"
        yield HeatWarning("people_heat", said, best)


def _felt(index_f: float, units: Units) -> str:
    value = index_f if units.temperature is TemperatureUnit.F else (index_f - 32) / 1.8
    return f"{value:.0f} {units.temperature}"


# Pregnancy falls by 1.6 points for each unit of mean THI above 65 over the first 30 days of breeding: "Temperature and
# pregnancy in beef cows", University of Nebraska research, press, 2017.
BREEDING_FROM, POINTS_A_UNIT, BREEDING_DAYS = 65.0, 1.6, 30


def breeding_loss_points(mean_thi: float) -> float:
    """Points of pregnancy rate lost in the first 30 days of breeding at a mean THI."""
    return max(0.0, mean_thi - BREEDING_FROM) * POINTS_A_UNIT
