"""Weather of ranches: files and normals in, and every hour that is known out, through the kernel's one door.

An online service would be one more `WeatherSource` in `_of_ranch`; nothing online is called today.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.db import transaction

from accounts.models import Cooperative
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import Ranch
from herdplan.herds.queries import may_edit
from scheduling.kernel.advice.units import TemperatureUnit
from scheduling.kernel.advice.weather import Layered, MonthlyNormals, MonthNormal, WeatherHour, WeatherSource
from scheduling.kernel.advice.weather_file import Columns, WeatherFileError, read_hours
from scheduling.kernel.reader import ReadError
from scheduling.models import MonthWeather, WeatherFile, WeatherReading

MOST_BYTES = 2_000_000
NORMALS = "monthly normals"
_HOUR = timedelta(hours=1)


class WeatherError(ValueError):
    """Weather that cannot be used: the form's field, and every fault in words. Nothing was kept."""

    def __init__(self, field: str, texts: Sequence[str]) -> None:
        super().__init__(f"{field}: {' '.join(texts)}")
        self.field, self.texts = field, list(texts)


# --- out: what is known ---


@dataclass(frozen=True)
class FileHours:
    """The hours of one file by the ranch's day, so that a day is found without going through the file."""

    name: str
    by_day: Mapping[date, Sequence[WeatherHour]]

    def hours(self, first: date, last: date, zone: ZoneInfo) -> tuple[WeatherHour, ...]:
        """The hours of the days from `first` to `last`; `zone` is the ranch's, by which the days were told apart."""
        days = (first + timedelta(days=i) for i in range((last - first).days + 1))
        return tuple(row for day in days for row in self.by_day.get(day, ()))


@dataclass
class RanchWeather:
    """What is known at one ranch. Days are worked out once."""

    zone: ZoneInfo
    place: tuple[float, float]
    source: Layered
    _told: dict[date, tuple[tuple[WeatherHour, str], ...]] = field(default_factory=dict)

    @property
    def known(self) -> bool:
        """Whether there is any source at all."""
        return bool(self.source.sources)

    def hours(self, first: date, last: date, zone: ZoneInfo) -> tuple[WeatherHour, ...]:
        """The hours of a span: this is a `WeatherSource` itself."""
        days = (first + timedelta(days=i) for i in range((last - first).days + 1))
        return tuple(row for day in days for row, _ in self._day(day))

    @property
    def name(self) -> str:
        """All the sources."""
        return self.source.name

    def said_by(self, day: date) -> tuple[str, ...]:
        """Which sources told the hours of a day."""
        return tuple(dict.fromkeys(name for _, name in self._day(day)))

    def around(self, day: date) -> tuple[WeatherHour, ...]:
        """The hours of a day and of the day before, from which its heat is told."""
        return self.hours(day - timedelta(days=1), day, self.zone)

    def _day(self, day: date) -> tuple[tuple[WeatherHour, str], ...]:
        if day not in self._told:
            self._told[day] = self.source.told(day, day, self.zone)
        return self._told[day]


def weather_of(ranches: Iterable[Ranch], first: date, last: date) -> dict[object, RanchWeather]:
    """The weather of ranches of one co-op by ranch id, hours of files from the day before `first` to `last`.

    Three queries at most, whatever the number of ranches. A ranch's own file or normals stand before the co-op's, newer files
    before older ones, any file before normals.
    """
    rows = list(ranches)
    if not rows:
        return {}
    coop = rows[0].cooperative_id
    files = list(WeatherFile.objects.filter(cooperative=coop).order_by("-brought_at"))
    begin = datetime.combine(first - timedelta(days=2), time(), timezone.utc)
    end = datetime.combine(last + timedelta(days=3), time(), timezone.utc)
    readings: dict[object, list[WeatherHour]] = defaultdict(list)
    if files:
        chosen = WeatherReading.objects.filter(file__in=files, at__gte=begin, at__lt=end).order_by("at")
        for file, at, celsius, humidity in chosen.values_list("file_id", "at", "celsius", "humidity"):
            readings[file].append(WeatherHour(at, celsius, humidity))
    normals: dict[object, dict[int, MonthNormal]] = defaultdict(dict)
    for row in MonthWeather.objects.filter(cooperative=coop):
        normal = MonthNormal(row.low_c, row.high_c, row.morning_humidity, row.afternoon_humidity)
        normals[row.ranch_id][row.month] = normal
    return {ranch.pk: _of_ranch(ranch, files, readings, normals) for ranch in rows}


def _of_ranch(
    ranch: Ranch,
    files: Sequence[WeatherFile],
    readings: Mapping[object, Sequence[WeatherHour]],
    normals: Mapping[object, Mapping[int, MonthNormal]],
) -> RanchWeather:
    zone, place = ZoneInfo(ranch.zone), (ranch.lat, ranch.lon)
    own = [file for file in files if file.ranch_id == ranch.pk]
    shared = [file for file in files if file.ranch_id is None]
    sources: list[WeatherSource] = []
    for file in (*own, *shared):
        by_day: dict[date, list[WeatherHour]] = defaultdict(list)
        for row in readings.get(file.pk, ()):
            by_day[row.at.astimezone(zone).date()].append(row)
        if by_day:
            sources.append(FileHours(file.name, by_day))
    months = normals.get(ranch.pk) or normals.get(None)
    if months:
        sources.append(MonthlyNormals(months, place, NORMALS))
    return RanchWeather(zone, place, Layered(tuple(sources)))


# --- in: what people bring ---


def may_bring(member: Member, ranch: Ranch | None) -> bool:
    """Whether the member may bring in weather for a ranch, or (None) for the whole co-op."""
    if ranch is None:
        return member.may(Permission.WEATHER_EDIT, Reach.COOP)
    return ranch.cooperative_id == member.cooperative.pk and may_edit(member, ranch, Permission.WEATHER_EDIT)


def require_weather(member: Member, ranch: Ranch | None) -> None:
    """403 where the member may not."""
    if not may_bring(member, ranch):
        place = ranch or "the whole co-op"
        raise PermissionDenied(f"Your role in {member.cooperative} does not let you bring in weather for {place}.")


def bring_file(
    *,
    member: Member,
    ranch: Ranch | None,
    name: str,
    content: bytes,
    unit: str,
    columns: tuple[str, str, str] | None,
    now: datetime,
) -> WeatherFile:
    """Keep the hours of a forecast or station file; raises WeatherError, keeping nothing.

    `unit` (F or C) counts where the temperature's heading names none. `columns`: headings of time, temperature, humidity.
    """
    require_weather(member, ranch)
    zone = ZoneInfo(ranch.zone if ranch else member.cooperative.zone)
    rows = _read(name, content, zone, unit, columns)
    with transaction.atomic():
        file = WeatherFile.objects.create(
            cooperative=member.cooperative,
            ranch=ranch,
            name=name[:200],
            first_hour=rows[0].at,
            last_hour=rows[-1].at + _HOUR,
            count=len(rows),
            by=member.user,
            brought_at=now,
        )
        WeatherReading.objects.bulk_create(
            (WeatherReading(file=file, at=row.at, celsius=row.celsius, humidity=row.humidity) for row in rows),
            batch_size=2_000,
        )
    return file


def _read(
    name: str, content: bytes, zone: ZoneInfo, unit: str, columns: tuple[str, str, str] | None
) -> tuple[WeatherHour, ...]:
    if len(content) > MOST_BYTES:
        raise WeatherError("file", ["The file is larger than 2 MB. Save the hours that you need and bring in those."])
    if b"\x00" in content[:4000] or content[:2] == b"PK":
        raise WeatherError("file", [f"{name} is not a table of text. Save the sheet as CSV and bring in that file."])
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    try:
        return read_hours(text, zone, TemperatureUnit(unit), Columns(*columns) if columns else None).rows
    except WeatherFileError as fault:
        texts = [f"Row {row}, column {column}: allowed is {allowed}." for row, column, allowed in fault.faults]
        raise WeatherError("file", [*texts, "Put these right in the file and bring it in again."]) from None
    except ReadError as fault:
        place = "time_column" if fault.field == "columns" else "file"
        raise WeatherError(place, [f"The file needs {fault.allowed}."]) from None


def remove_file(*, member: Member, file: WeatherFile) -> None:
    """Take a weather file out again."""
    if file.cooperative_id != member.cooperative.pk:
        raise PermissionDenied("This file is of another co-op.")
    require_weather(member, file.ranch)
    file.delete()


def save_normals(
    *, member: Member, ranch: Ranch | None, months: Mapping[int, tuple[float, float, float, float]]
) -> int:
    """Put monthly normals in place of what was there: (low C, high C, morning %, afternoon %) by month; how many are kept.

    Raises WeatherError naming the month's field, keeping what was there.
    """
    require_weather(member, ranch)
    for month, values in months.items():
        try:
            MonthNormal(*values)
        except ReadError as fault:
            name = {"low": "low", "morning_humidity": "morning"}.get(fault.field, "afternoon")
            raise WeatherError(f"{name}_{month}", [f"Allowed is: {fault.allowed}."]) from None
    with transaction.atomic():
        Cooperative.objects.select_for_update(no_key=True).get(pk=member.cooperative.pk)  # two people saving at once
        MonthWeather.objects.filter(cooperative=member.cooperative, ranch=ranch).delete()
        MonthWeather.objects.bulk_create(
            MonthWeather(
                cooperative=member.cooperative,
                ranch=ranch,
                month=month,
                low_c=low,
                high_c=high,
                morning_humidity=morning,
                afternoon_humidity=afternoon,
            )
            for month, (low, high, morning, afternoon) in sorted(months.items())
        )
    return len(months)


def normals_of(cooperative: Cooperative, ranch: Ranch | None) -> list[MonthWeather]:
    """What is typed for a ranch, or (None) for the whole co-op."""
    return list(MonthWeather.objects.filter(cooperative=cooperative, ranch=ranch))
