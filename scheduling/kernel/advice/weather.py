"""Weather by the hour: from a forecast or station file, or from monthly normals by a daily curve.

Every source of weather stands behind one door, `WeatherSource`. Temperatures are Celsius, humidity per cent; hours are aware
datetimes at the full hour, each standing for the hour that begins then.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from math import cos, pi
from typing import Protocol
from zoneinfo import ZoneInfo

from scheduling.kernel.heat import people_heat_index_f, thi_from_celsius
from scheduling.kernel.reader import ReadError
from scheduling.kernel.sun import sun_times


@dataclass(frozen=True, slots=True)
class WeatherHour:
    """One hour: when it begins, temperature (C) and humidity (%)."""

    at: datetime
    celsius: float
    humidity: float

    @property
    def thi(self) -> float:
        """Temperature-humidity index for cattle ("A Guide to Environmental Research on Animals", NRC, 1971)."""
        return thi_from_celsius(self.celsius, self.humidity)

    @property
    def heat_index_f(self) -> float:
        """Heat index for people, F ("Heat Index definition and equation", US National Weather Service, undated)."""
        return people_heat_index_f(self.celsius * 1.8 + 32, self.humidity)


class WeatherSource(Protocol):
    """Where hours come from. An online service would be one more class with this method."""

    @property
    def name(self) -> str:
        """What it is, as people are told."""

    def hours(self, first: date, last: date, zone: ZoneInfo) -> tuple[WeatherHour, ...]:
        """The hours known from `first` to `last` (both included, in the zone), in order; missing hours are left out."""


@dataclass(frozen=True, slots=True)
class StationHours:
    """Hours read from a file (see `weather_file`)."""

    rows: tuple[WeatherHour, ...]
    name: str = "imported file"

    def hours(self, first: date, last: date, zone: ZoneInfo) -> tuple[WeatherHour, ...]:
        """The file's hours in the span."""
        chosen = [row for row in self.rows if first <= row.at.astimezone(zone).date() <= last]
        return tuple(sorted(chosen, key=lambda row: row.at))


@dataclass(frozen=True)
class Layered:
    """Several sources as one: each hour from the first of them that knows it."""

    sources: tuple[WeatherSource, ...]

    @property
    def name(self) -> str:
        """All their names, the first first."""
        return ", then ".join(source.name for source in self.sources) or "no weather"

    def hours(self, first: date, last: date, zone: ZoneInfo) -> tuple[WeatherHour, ...]:
        """The hours that any of them knows, in order."""
        return tuple(row for row, _ in self.told(first, last, zone))

    def told(self, first: date, last: date, zone: ZoneInfo) -> tuple[tuple[WeatherHour, str], ...]:
        """The same with the name of the source that told each hour."""
        kept: dict[datetime, tuple[WeatherHour, str]] = {}
        for source in self.sources:
            for row in source.hours(first, last, zone):
                kept.setdefault(row.at.astimezone(timezone.utc), (row, source.name))
        return tuple(kept[at] for at in sorted(kept))


@dataclass(frozen=True, slots=True)
class MonthNormal:
    """A month's normal day: lowest and highest temperature (C), humidity (%) when it is coolest and when it is hottest."""

    low_c: float
    high_c: float
    morning_humidity: float
    afternoon_humidity: float

    def __post_init__(self) -> None:
        """Refuse what cannot be, by field."""
        if not -60 <= self.low_c <= self.high_c <= 60:
            raise ReadError("low", "not above the high, both between -60 and 60 C")
        for name in ("morning_humidity", "afternoon_humidity"):
            if not 1 <= getattr(self, name) <= 100:
                raise ReadError(name, "from 1 to 100 %")


# The day's highest temperature is taken at this clock time (sun time is close enough): a default of this program.
HOTTEST = time(15)
# Where the sun's times are not known the lowest temperature is taken at this time.
_SUNRISE = 6.0


@dataclass(frozen=True)
class MonthlyNormals:
    """Hours from monthly normals by a documented daily curve: a default of this program, no source.

    Normals stand for the middle of their month and run straight from one middle to the next. Within a day temperature is lowest
    at sunrise and highest at 15:00: half a cosine wave up between the two and half a wave down until the next sunrise. Humidity
    follows the same wave the other way, from its morning to its afternoon figure.
    """

    months: Mapping[int, MonthNormal]
    place: tuple[float, float] | None = None
    name: str = "monthly normals"

    def __post_init__(self) -> None:
        """Refuse an empty table or a month that is none."""
        if not self.months or not all(1 <= month <= 12 for month in self.months):
            raise ReadError("months", "at least one month, numbered 1 to 12")

    def hours(self, first: date, last: date, zone: ZoneInfo) -> tuple[WeatherHour, ...]:
        """Every hour of the span whose months are typed in."""
        rows: list[WeatherHour] = []
        day = first
        while day <= last:
            normal = self.normal(day)
            if normal is not None:
                rows.extend(self._day(day, normal, zone))
            day += timedelta(days=1)
        return tuple(rows)

    def normal(self, day: date) -> MonthNormal | None:
        """The normal of a day, between the middles of its month and the nearest; of its month alone where that is missing."""
        own = self.months.get(day.month)
        if own is None:
            return None
        ahead = day.day >= 15
        month = day.month % 12 + 1 if ahead else (day.month - 2) % 12 + 1
        other = self.months.get(month)
        if other is None:
            return own
        share = min(0.5, abs(day.day - 15) / 30)

        def mix(one: float, two: float) -> float:
            return one + (two - one) * share

        return MonthNormal(
            mix(own.low_c, other.low_c),
            mix(own.high_c, other.high_c),
            mix(own.morning_humidity, other.morning_humidity),
            mix(own.afternoon_humidity, other.afternoon_humidity),
        )

    def _day(self, day: date, normal: MonthNormal, zone: ZoneInfo) -> Iterator[WeatherHour]:
        sunrise = self._sunrise(day, zone)
        begin = datetime.combine(day, time(0), zone).astimezone(timezone.utc)
        end = datetime.combine(day + timedelta(days=1), time(0), zone).astimezone(timezone.utc)
        for i in range(int((end - begin).total_seconds() // 3600)):
            at = (begin + timedelta(hours=i)).astimezone(zone)
            warm = warmth(at.hour + at.minute / 60, sunrise)
            humidity = normal.morning_humidity + (normal.afternoon_humidity - normal.morning_humidity) * warm
            yield WeatherHour(at, normal.low_c + (normal.high_c - normal.low_c) * warm, humidity)

    def _sunrise(self, day: date, zone: ZoneInfo) -> float:
        times = sun_times(day, *self.place) if self.place is not None else None
        if times is None:
            return _SUNRISE
        local = times[0].astimezone(zone)
        return min(local.hour + local.minute / 60, HOTTEST.hour - 1.0)


def warmth(clock: float, sunrise: float, hottest: float = float(HOTTEST.hour)) -> float:
    """Where the day's wave stands at a clock time in hours: 0 at sunrise, 1 at the hottest hour."""
    if sunrise <= clock <= hottest:
        return 0.5 - 0.5 * cos(pi * (clock - sunrise) / (hottest - sunrise))
    since = (clock - hottest) % 24
    return 0.5 + 0.5 * cos(pi * since / (24 - hottest + sunrise))
