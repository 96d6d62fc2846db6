"""Heat in words: warnings on planned work and on moves, and the days of a ranch with their cool hours."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from accounts.models import User
from herdplan.herds.models import Ranch
from scheduling.kernel.advice.heat_hours import (
    BREEDING_DAYS,
    FULL_SUN_F,
    PEOPLE_BANDS,
    HeatDay,
    HeatWarning,
    Work,
    breeding_loss_points,
    heat_days,
    is_hot,
    warn,
)
from scheduling.kernel.advice.units import TemperatureUnit, Units
from scheduling.kernel.advice.weather import WeatherHour
from scheduling.kernel.heat import CATTLE_BANDS, cattle_band
from scheduling.models import PlannedStep
from scheduling.services.catalogue import step_words, trip_heads
from scheduling.services.lots import lot_on_page
from scheduling.services.units import units_of
from scheduling.services.wall import wall
from scheduling.services.weather import NORMALS, RanchWeather, weather_of

_HOUR = timedelta(hours=1)
# Where only the day of a move is known, these hours are looked at: the day in which cattle are loaded by light.
HAUL_FROM, HAUL_TO = time(6), time(20)
# Hours that must be known of a day for its mean: a default of this program (a day of the clock change has 23).
_WHOLE_DAY = 20


@dataclass(frozen=True, slots=True)
class HeatNote:
    """A warning in words. `code` names its why; `usual`: told from monthly normals, so of a usual day and not a forecast.

    `cool`: the cool span of that day on the ranch's clock, which `cooler` tells in words; None where no hour is cool enough.
    """

    code: str
    text: str
    cooler: str
    usual: bool
    cool: tuple[datetime, datetime] | None = None


class HeatBook:
    """The weather of some ranches over some days, ready to be asked about any piece of work. Three queries at most."""

    def __init__(self, user: User, ranches: Iterable[Ranch], first: date, last: date) -> None:
        self.units = units_of(user)
        self.weather = weather_of(ranches, first, last)

    def knows(self, ranch: object, day: date) -> bool:
        """Whether any hour of that day is known at the ranch (by its id)."""
        place = self.weather.get(ranch)
        return place is not None and bool(place.hours(day, day, place.zone))

    def notes(self, ranch: object, starts: datetime, ends: datetime, what: str) -> tuple[HeatNote, ...]:
        """Warnings on work with cattle between two aware moments; empty where nothing is hot or nothing is known."""
        return self._notes(ranch, starts, ends, what, Work.STEP)

    def haul(
        self, ranch: object, day: date, what: str, begins: time = HAUL_FROM, ends: time = HAUL_TO
    ) -> tuple[HeatNote, ...]:
        """Warnings on a move of cattle on a day, between two hours of the ranch's clock."""
        place = self.weather.get(ranch)
        if place is None or ends <= begins:
            return ()
        first, last = (datetime.combine(day, clock, place.zone) for clock in (begins, ends))
        return self._notes(ranch, first, last, what, Work.HAUL)

    def _notes(self, ranch: object, starts: datetime, ends: datetime, what: str, work: Work) -> tuple[HeatNote, ...]:
        place = self.weather.get(ranch)
        if place is None or not place.known:
            return ()
        day = starts.astimezone(place.zone).date()
        rows = place.around(day)
        if _is_mild(rows):
            return ()
        usual = NORMALS in place.said_by(day)
        found = warn(rows, starts, ends, place.zone, what, self.units, work)
        return tuple(HeatNote(item.code, item.sentence, _span(item), usual, item.cooler) for item in found)


def _is_mild(rows: Sequence[WeatherHour]) -> bool:
    """Whether no hour reaches any band, so that there is nothing to warn of."""
    return not any(is_hot(row) or row.heat_index_f >= PEOPLE_BANDS[1].low for row in rows)


def _span(item: HeatWarning) -> str:
    if item.cooler is None:
        return "No hour of that day is cool enough; choose another day."
    return f"Cool that day: {_hours(*item.cooler)}."


@dataclass(frozen=True, slots=True)
class BreedingHeat:
    """The mean index over the first 30 days of breeding by what is known, and the points of pregnancy rate that it costs."""

    mean: float
    points: float
    usual: bool


def breeding_heat(ranch: Ranch, ai_day: date) -> BreedingHeat | None:
    """The heat of the 30 days from AI; None where any of the days is not known. Three queries at most."""
    last = ai_day + timedelta(days=BREEDING_DAYS - 1)
    place = weather_of([ranch], ai_day, last)[ranch.pk]
    days = [place.hours(day, day, place.zone) for day in (ai_day + timedelta(days=i) for i in range(BREEDING_DAYS))]
    if not place.known or min(len(rows) for rows in days) < _WHOLE_DAY:
        return None
    indices = [row.thi for rows in days for row in rows]
    mean = sum(indices) / len(indices)
    usual = any(NORMALS in place.said_by(ai_day + timedelta(days=i)) for i in range(BREEDING_DAYS))
    return BreedingHeat(mean, breeding_loss_points(mean), usual)


def step_notes(book: HeatBook, step: PlannedStep) -> tuple[HeatNote, ...]:
    """Warnings on a published trip through the chute; steps that take no trip have none."""
    words = step_words(step.entry.protocol, step.key)
    if words.trip is None or step.key not in trip_heads(step.entry.protocol):
        return ()
    return book.notes(step.ranch_id, step.starts, step.ends, words.label)


@dataclass(frozen=True, slots=True)
class HotStep:
    """A published step with its warnings, on the ranch's clock. `lot`: which of the group, in words, where it is cut."""

    label: str
    group: str
    lot: str
    starts: datetime
    notes: tuple[HeatNote, ...]


def hot_steps(book: HeatBook, steps: Iterable[PlannedStep], lots: Mapping[UUID, int]) -> list[HotStep]:
    """Steps that meet heat, in the order of their hours. `lots`: how many each entry has."""
    found = []
    for step in steps:
        notes = step_notes(book, step)
        if notes:
            label = step_words(step.entry.protocol, step.key).label
            lot = lot_on_page(step.lot + 1, lots[step.entry_id])
            found.append(HotStep(label, step.entry.group.name, lot, wall(step.starts, step.ranch.zone), notes))
    return found


@dataclass(frozen=True, slots=True)
class Cell:
    """An hour of a day's strip: clock hour, band, its sign."""

    hour: int
    band: str
    sign: str


@dataclass(frozen=True, slots=True)
class DayOfHeat:
    """A day for the page, everything in words. Moments are on the ranch's clock."""

    day: date
    cool: tuple[str, ...]
    cattle: str
    cattle_name: str
    cattle_advice: str
    people: str
    people_name: str
    people_advice: str
    sun: str
    night: str
    cells: tuple[Cell, ...]
    sources: tuple[str, ...]
    usual: bool
    hours: int


_SIGNS = {"normal": "", "alert": "!", "danger": "✕", "emergency": "✕"}


def days_of_heat(weather: RanchWeather, user: User, first: date, last: date) -> list[DayOfHeat]:
    """The days of a span of which hours are known."""
    units = units_of(user)
    found = heat_days(weather, first, last, weather.zone, weather.place)
    return [_day(item, weather, units) for item in found]


def _day(item: HeatDay, weather: RanchWeather, units: Units) -> DayOfHeat:
    said = weather.said_by(item.day)
    return DayOfHeat(
        day=item.day,
        cool=tuple(_hours(*span) for span in item.cool),
        cattle=f"{item.highest_thi:.0f} at {item.hottest_at:%H:%M}",
        cattle_name=item.cattle.name,
        cattle_advice=item.cattle.advice,
        people=_felt(item.highest_heat_index_f, units),
        people_name=item.people.name,
        people_advice=item.people.advice,
        sun=f"{item.sun[0]:%H:%M} to {item.sun[1]:%H:%M}" if item.sun else "",
        night=_night(item.night_cooled),
        cells=tuple(_cells(item.day, weather)),
        sources=said,
        usual=NORMALS in said,
        hours=item.hours,
    )


def _hours(begin: datetime, end: datetime) -> str:
    """A cool span in words; the night before and after it go without saying."""
    whole = begin.time() == time()
    if end.date() > begin.date():
        return "all day" if whole else f"from {begin:%H:%M}"
    return f"until {end:%H:%M}" if whole else f"{begin:%H:%M} to {end:%H:%M}"


def _felt(index_f: float, units: Units) -> str:
    if units.temperature is TemperatureUnit.F:
        return f"{index_f:.0f} °F"
    return f"{(index_f - 32) / 1.8:.0f} °C"


def _night(cooled: bool | None) -> str:
    if cooled is None:
        return "not known"
    return "cool enough for cattle to shed the heat" if cooled else "too warm: cattle start the day hot"


def _cells(day: date, weather: RanchWeather) -> Iterator[Cell]:
    for row in weather.hours(day, day, weather.zone):
        band = cattle_band(row.thi).name
        yield Cell(row.at.astimezone(weather.zone).hour, band, _SIGNS[band])


@dataclass(frozen=True, slots=True)
class BandLine:
    """A band for the table: from where, name, what to do."""

    low: str
    name: str
    advice: str


def cattle_lines() -> list[BandLine]:
    """The bands of the index for cattle."""
    below = f"below {CATTLE_BANDS[1].low:.0f}"
    rows = [(below if band.low == 0 else f"from {band.low:.0f}", band) for band in CATTLE_BANDS]
    return [BandLine(low, band.name, band.advice) for low, band in rows]


def people_lines(user: User) -> list[BandLine]:
    """The bands of the heat index for people, in the person's unit."""
    units = units_of(user)
    below = f"below {_felt(PEOPLE_BANDS[1].low, units)}"
    rows = [(below if band.low < 0 else f"from {_felt(band.low, units)}", band) for band in PEOPLE_BANDS]
    return [BandLine(low, band.name, band.advice) for low, band in rows]


def full_sun(user: User) -> str:
    """What full sun adds to the heat index, in the person's unit."""
    if user.temperature_unit == "F":
        return f"{FULL_SUN_F:.0f} °F"
    return f"{FULL_SUN_F / 1.8:.0f} °C"


def today_at(ranch: Ranch, now: datetime) -> date:
    """The day it is at the ranch."""
    return now.astimezone(ZoneInfo(ranch.zone)).date()
