"""Reading a station's or a forecast's hourly file: comma, semicolon or tab, with its columns found by their names.

Nothing is half-read: the first rows that cannot be used are named with row, column and what is allowed, and none is kept.
"""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timezone
from zoneinfo import ZoneInfo

from scheduling.kernel.advice.units import TemperatureUnit, to_celsius
from scheduling.kernel.advice.weather import StationHours, WeatherHour
from scheduling.kernel.reader import ReadError

MOST_ROWS = 20_000
_SHOWN = 10
# Names that a column may have, in small letters with everything but letters and digits taken out.
_NAMES: Mapping[str, tuple[str, ...]] = {
    "time": ("time", "datetime", "dateandtime", "timestamp", "validtime", "localtime", "hour"),
    "date": ("date", "day"),
    "temperature": (
        "temperature",
        "temp",
        "airtemperature",
        "airtemp",
        "t",
        "tempf",
        "tempc",
        "temperaturef",
        "temperaturec",
    ),
    "humidity": ("humidity", "relativehumidity", "rh", "relhumidity", "humiditypercent", "rhpercent", "relhum"),
}
_FORMS = (
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%d %H:%M",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%Y%m%d %H:%M",
    "%m/%d/%y %H:%M",
)


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column is which, by its heading; `date` where day and hour stand apart."""

    time: str
    temperature: str
    humidity: str
    date: str | None = None


class WeatherFileError(ValueError):
    """A file that cannot be used: every fault found, up to ten, as (row, column, what is allowed). Row 1 is the headings."""

    def __init__(self, faults: Sequence[tuple[int, str, str]]) -> None:
        super().__init__("; ".join(f"row {row}, {column}: {allowed}" for row, column, allowed in faults))
        self.faults = tuple(faults)


def match_columns(headings: Sequence[str]) -> dict[str, str]:
    """The columns that could be told from their headings: kind (time, date, temperature, humidity) to heading."""
    found: dict[str, str] = {}
    for kind, names in _NAMES.items():
        for heading in headings:
            if kind not in found and _is_kind(_plain(heading), kind, names):
                found[kind] = heading
    return found


def _is_kind(plain: str, kind: str, names: tuple[str, ...]) -> bool:
    """A name of the kind, or one with more behind it ("Air temp 2 m"); of times only the name itself."""
    longer = kind != "time" and any(plain.startswith(name) for name in names if len(name) > 3)
    return plain in names or longer


def unit_of(heading: str) -> TemperatureUnit | None:
    """The unit that a heading names, such as "Temp (F)" or "temperature_c"; None where it names none."""
    words = "".join(letter if letter.isalnum() else " " for letter in heading.lower()).split()
    if words and (words[-1] in ("f", "degf", "fahrenheit") or "fahrenheit" in words):
        return TemperatureUnit.F
    if words and (words[-1] in ("c", "degc", "celsius") or "celsius" in words):
        return TemperatureUnit.C
    return None


def _plain(heading: str) -> str:
    return "".join(letter for letter in heading.lower() if letter.isalnum())


def read_hours(
    text: str, zone: ZoneInfo, unit: TemperatureUnit | None = None, columns: Columns | None = None
) -> StationHours:
    """The hours of a file. Times without an offset are read in the ranch's zone; the unit is the heading's where it names one.

    `ReadError` when columns or the unit cannot be told (field `columns` or `unit`); `WeatherFileError` for bad rows. Of several
    readings in one hour the first is kept.
    """
    rows = _rows(text)
    headings = [heading.strip() for heading in rows[0]] if rows else []
    chosen = columns or _chosen(headings)
    for heading in (chosen.time, chosen.temperature, chosen.humidity, chosen.date or chosen.time):
        if heading not in headings:
            raise ReadError("columns", f"headings of the file; there is no {heading}")
    degrees = unit_of(chosen.temperature) or unit
    if degrees is None:
        raise ReadError("unit", "F or C: the heading of the temperature does not say which")
    faults: list[tuple[int, str, str]] = []
    kept: dict[datetime, WeatherHour] = {}
    for number, values in enumerate(rows[1:], start=2):
        if not any(value.strip() for value in values):
            continue
        row = dict(zip(headings, (value.strip() for value in values), strict=False))
        hour = _hour(row, chosen, degrees, zone, number, faults)
        if hour is not None:
            kept.setdefault(hour.at.astimezone(timezone.utc), hour)
    if faults:
        raise WeatherFileError(faults[:_SHOWN])
    if not kept:
        raise WeatherFileError([(2, chosen.time, "at least one hour")])
    return StationHours(tuple(kept[at] for at in sorted(kept)))


def _rows(text: str) -> list[list[str]]:
    body = text.lstrip("\ufeff")
    first = body.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    rows = list(_limited(csv.reader(io.StringIO(body), delimiter=mark)))
    if not rows:
        raise ReadError("file", "a line of headings and at least one hour")
    return rows


def _limited(rows: Iterator[list[str]]) -> Iterator[list[str]]:
    try:
        for number, row in enumerate(rows):
            if number > MOST_ROWS:
                raise ReadError("file", f"at most {MOST_ROWS:,} rows")
            yield row
    except csv.Error as fault:
        raise ReadError("file", f"a plain table of text; {fault}") from None


def _chosen(headings: Sequence[str]) -> Columns:
    found = match_columns(headings)
    if "time" not in found and "date" in found:  # one column may hold both
        found["time"] = found.pop("date")
    missing = [kind for kind in ("time", "temperature", "humidity") if kind not in found]
    if missing:
        raise ReadError(
            "columns", f"a column for {' and '.join(missing)}; the file has {', '.join(headings) or 'none'}"
        )
    return Columns(found["time"], found["temperature"], found["humidity"], found.get("date"))


def _hour(
    row: Mapping[str, str],
    columns: Columns,
    unit: TemperatureUnit,
    zone: ZoneInfo,
    number: int,
    faults: list[tuple[int, str, str]],
) -> WeatherHour | None:
    said = row.get(columns.time, "")
    if columns.date is not None and columns.date != columns.time:
        said = f"{row.get(columns.date, '')} {said}"
    at = _moment(said, zone)
    degrees, humidity = _number(row.get(columns.temperature, "")), _number(row.get(columns.humidity, ""))
    if at is None:
        faults.append((number, columns.time, f"a time such as 2027-05-21 06:00, not {said!r}"))
    celsius = None if degrees is None else to_celsius(degrees, unit)
    if celsius is None or not -60 <= celsius <= 60:
        low, high = ("-76", "140") if unit is TemperatureUnit.F else ("-60", "60")
        faults.append((number, columns.temperature, f"from {low} to {high} {unit}; check the unit"))
    if humidity is None or not 0 <= humidity <= 100:
        faults.append((number, columns.humidity, "from 0 to 100 %"))
    if at is None or celsius is None or humidity is None:
        return None
    return WeatherHour(at.replace(minute=0, second=0, microsecond=0), celsius, humidity)


def _number(said: str) -> float | None:
    try:
        value = float(said.rstrip("%").replace(",", ".") if said else "x")
    except ValueError:
        return None
    return value if abs(value) < 1e6 else None


def _moment(said: str, zone: ZoneInfo) -> datetime | None:
    plain = said.strip().replace("T", " ") if said[:4].isdigit() else said.strip()
    try:
        moment = datetime.fromisoformat(plain)
    except ValueError:
        for form in _FORMS:
            try:
                moment = datetime.strptime(plain, form)  # noqa: DTZ007 (the zone is added below)
                break
            except ValueError:
                continue
        else:
            return None
    return moment.replace(tzinfo=zone) if moment.tzinfo is None else moment.astimezone(zone)
