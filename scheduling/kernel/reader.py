"""Strict reading of parsed JSON: each field is taken by name, and what is left over is refused with its path."""

from datetime import date, datetime, time
from enum import StrEnum
from typing import TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

C = TypeVar("C", bound=StrEnum)


class ReadError(ValueError):
    """A value that cannot be used. `field` is a path such as `groups[3].ai_to`; `allowed` says what is allowed."""

    def __init__(self, field: str, allowed: str) -> None:
        super().__init__(f"{field}: {allowed}")
        self.field = field
        self.allowed = allowed


class Reader:
    """Reads one JSON object strictly: every field is taken by name, and what is left over is refused."""

    def __init__(self, value: object, path: str) -> None:
        if not isinstance(value, dict):
            raise ReadError(path or "file", "an object with named fields")
        self.values: dict[str, object] = dict(value)
        self.path = path

    def at(self, name: str) -> str:
        """The path of a field, for messages."""
        return f"{self.path}.{name}" if self.path else name

    def take(self, name: str) -> object:
        """The raw value of a field that must be there."""
        if name not in self.values:
            raise ReadError(self.at(name), "this field is missing")
        return self.values.pop(name)

    def has(self, name: str) -> bool:
        """Whether an optional field is given (null counts as not given)."""
        if name in self.values and self.values[name] is None:
            del self.values[name]
        return name in self.values

    def text(self, name: str) -> str:
        """A text of 1 to 200 characters."""
        value = self.take(name)
        if not isinstance(value, str) or not 1 <= len(value) <= 200:
            raise ReadError(self.at(name), "a text of 1 to 200 characters")
        return value

    def number(self, name: str, low: float, high: float) -> float:
        """A finite number from `low` to `high`."""
        value = self.take(name)
        fits = isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high
        if not fits:
            raise ReadError(self.at(name), f"a number from {low:g} to {high:g}")
        return float(value)  # type: ignore[arg-type]

    def whole(self, name: str, low: int, high: int) -> int:
        """A whole number from `low` to `high`."""
        value = self.take(name)
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise ReadError(self.at(name), f"a whole number from {low} to {high}")
        return value

    def yes_no(self, name: str) -> bool:
        """true or false."""
        value = self.take(name)
        if not isinstance(value, bool):
            raise ReadError(self.at(name), "true or false")
        return value

    def day(self, name: str) -> date:
        """A calendar day written YYYY-MM-DD."""
        return read_day(self.take(name), self.at(name))

    def days(self, name: str) -> frozenset[date]:
        """A list of calendar days."""
        items = self.items(name, 2_000)
        return frozenset(read_day(item, f"{self.at(name)}[{i}]") for i, item in enumerate(items))

    def hours(self, name: str) -> tuple[time, time]:
        """A pair of times of day, the first before the second."""
        items = self.items(name, 2)
        if len(items) != 2:
            raise ReadError(self.at(name), 'two times, such as ["06:00", "20:00"]')
        first, last = (_read_time(item, f"{self.at(name)}[{i}]") for i, item in enumerate(items))
        if first >= last:
            raise ReadError(self.at(name), "the first time must be before the second")
        return first, last

    def words(self, name: str) -> frozenset[str]:
        """A list of different short texts."""
        items = self.items(name, 100)
        if not all(isinstance(item, str) and 1 <= len(item) <= 100 for item in items):
            raise ReadError(self.at(name), "a list of short texts")
        return frozenset(str(item) for item in items)

    def items(self, name: str, most: int) -> list[object]:
        """A list of at most `most` values."""
        value = self.take(name)
        if not isinstance(value, list) or len(value) > most:
            raise ReadError(self.at(name), f"a list of at most {most}")
        return value

    def choice(self, name: str, kind: type[C]) -> C:
        """One of the names of an enum."""
        value = self.take(name)
        if value not in [member.value for member in kind]:
            raise ReadError(self.at(name), "one of " + ", ".join(member.value for member in kind))
        return kind(value)

    def zone(self, name: str) -> ZoneInfo:
        """An IANA time zone."""
        value = self.take(name)
        try:
            if not isinstance(value, str) or not value:
                raise ValueError
            return ZoneInfo(value)
        except (ValueError, OSError, ZoneInfoNotFoundError):
            raise ReadError(self.at(name), "an IANA time zone such as America/Denver") from None

    def done(self) -> None:
        """Refuse whatever was not taken."""
        if self.values:
            raise ReadError(self.at(min(self.values)), "unknown field; take it out or check its spelling")

    def moment(self, name: str) -> datetime:
        """An ISO 8601 time with offset."""
        value = self.take(name)
        try:
            moment = datetime.fromisoformat(value) if isinstance(value, str) else None
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None or not 1971 <= moment.year <= 2199:
            raise ReadError(self.at(name), "a time with offset, such as 2027-05-03T16:10:00-06:00")
        return moment


def read_day(value: object, path: str) -> date:
    """A calendar day written YYYY-MM-DD, within the years that time zones are known for."""
    try:
        day = date.fromisoformat(value) if isinstance(value, str) and len(value) == 10 else None
    except ValueError:
        day = None
    if day is None or not 1971 <= day.year <= 2199:
        raise ReadError(path, "a day such as 2027-05-10")
    return day


def _read_time(value: object, path: str) -> time:
    try:
        clock = time.fromisoformat(value) if isinstance(value, str) and len(value) in (5, 8) else None
    except ValueError:
        clock = None
    if clock is None or clock.tzinfo is not None or clock.second:  # plans are made to the minute
        raise ReadError(path, "a time of day in whole minutes, such as 06:00")
    return clock
