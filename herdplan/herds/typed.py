"""What people type, read into values: figures with or without a unit, days in the order they write them, words."""

import re
from datetime import date

from accounts.units import Units
from herdplan.herds.models import Record

_FIGURE = re.compile(r"^(?P<number>[+-]?[\d., ]*\d[\d., ]*)\s*(?P<unit>[a-z\"″]*)\.?$", re.IGNORECASE)
_UNITS = {
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "kg": "kg", "kgs": "kg", "kilo": "kg", "kilos": "kg",
    "cm": "cm", "in": "in", "inch": "in", "inches": "in", '"': "in", "″": "in",
}  # fmt: skip
_ALONG = re.compile(
    r"^(?P<number>\d{1,3}([.,]\d+)?)\s*(?P<unit>d|days?|w|wks?|weeks?|m|mos?|months?)?\.?$", re.IGNORECASE
)
_DAYS_IN = {"d": 1.0, "w": 7.0, "m": 365.25 / 12}
DAY_ORDERS = {
    "ymd": "year-month-day: 2027-04-03",
    "mdy": "month/day/year: 4/3/2027",
    "dmy": "day/month/year: 3/4/2027",
}
PREGNANCY_WORDS = {
    "open": Record.Pregnancy.OPEN, "o": Record.Pregnancy.OPEN, "no": Record.Pregnancy.OPEN, "n": Record.Pregnancy.OPEN,
    "empty": Record.Pregnancy.OPEN, "not pregnant": Record.Pregnancy.OPEN, "0": Record.Pregnancy.OPEN,
    "pregnant": Record.Pregnancy.PREGNANT, "p": Record.Pregnancy.PREGNANT, "yes": Record.Pregnancy.PREGNANT,
    "y": Record.Pregnancy.PREGNANT, "preg": Record.Pregnancy.PREGNANT, "in calf": Record.Pregnancy.PREGNANT,
    "1": Record.Pregnancy.PREGNANT, "unknown": Record.Pregnancy.UNKNOWN, "not sure": Record.Pregnancy.UNKNOWN,
    "?": Record.Pregnancy.UNKNOWN, "recheck": Record.Pregnancy.UNKNOWN,
}  # fmt: skip
_VACCINE_WORDS = {
    "modified-live": Record.Vaccine.VIRAL_LIVE, "modified live": Record.Vaccine.VIRAL_LIVE, "mlv": Record.Vaccine.VIRAL_LIVE,
    "killed": Record.Vaccine.VIRAL_KILLED, "inactivated": Record.Vaccine.VIRAL_KILLED,
    "lepto": Record.Vaccine.LEPTOSPIRA, "vibrio": Record.Vaccine.CAMPYLOBACTER,
}  # fmt: skip
VACCINE_WORDS: dict[str, Record.Vaccine] = {
    **{vaccine.value: vaccine for vaccine in Record.Vaccine},
    **{vaccine.label.lower(): vaccine for vaccine in Record.Vaccine},
    **{vaccine.value.replace("_", " "): vaccine for vaccine in Record.Vaccine},
    **_VACCINE_WORDS,
}


class TypingFault(ValueError):
    """Something typed that cannot be read; the text says what can."""


def tag_in(text: str) -> str:
    """The tag that is looked for, without what no tag can hold: PostgreSQL refuses to be asked for a NUL at all."""
    return text.replace("\x00", "").strip()


def _number(text: str) -> tuple[float, str]:
    found = _FIGURE.match(text.strip())
    if not found:
        raise TypingFault(f"a figure, such as 1150 or 13.5; “{text[:30]}” is none.")
    unit = found["unit"].lower()
    if unit and unit not in _UNITS:
        raise TypingFault(f"a figure with lb, kg, in or cm behind it or nothing; “{text[:30]}” has {unit}.")
    number = found["number"].replace(" ", "")
    # A comma with three figures behind it sets off thousands; any other is a decimal point.
    number = number.replace(",", "") if "." in number or re.search(r",\d{3}$", number) else number.replace(",", ".")
    try:
        return float(number), _UNITS.get(unit, "")
    except ValueError:
        raise TypingFault(f"a figure, such as 1150 or 13.5; “{text[:30]}” is none.") from None


def read_weight(text: str, units: Units) -> float:
    """A typed weight in kg. A unit behind the figure counts before the person's own."""
    value, unit = _number(text)
    if unit in ("cm", "in"):
        raise TypingFault("a weight in lb or kg.")
    return Units(weight=unit or units.weight).to_kg(value)


def read_length(text: str, units: Units) -> float:
    """A typed length in cm. A unit behind the figure counts before the person's own."""
    value, unit = _number(text)
    if unit in ("lb", "kg"):
        raise TypingFault("a length in inches or centimetres.")
    return Units(length=unit or units.length).to_cm(value)


def read_score(text: str) -> float:
    """A score as a number; whether it is on the scale is judged elsewhere."""
    value, unit = _number(text)
    if unit:
        raise TypingFault("a score without a unit.")
    return value


def read_whole(text: str) -> int:
    """A whole number."""
    value = read_score(text)
    if value % 1:
        raise TypingFault(f"a whole score, 1 to 5; {text} is none.")
    return int(value)


def read_day(text: str, order: str = "ymd") -> date:
    """A day: year-month-day always, else in the order that was chosen (a key of DAY_ORDERS)."""
    try:
        return date.fromisoformat(text.strip()[:10])
    except ValueError:
        pass
    parts = re.fullmatch(r"(\d{1,4})[/.\- ](\d{1,2})[/.\- ](\d{1,4})", text.strip())
    where = {"ymd": (1, 2, 3), "mdy": (3, 1, 2), "dmy": (3, 2, 1)}[order]
    try:
        if parts is None:
            raise ValueError
        year = int(parts[where[0]])
        return date(year + 2000 if year < 100 else year, int(parts[where[1]]), int(parts[where[2]]))
    except ValueError:
        raise TypingFault(f"a day written {DAY_ORDERS[order]}; “{text[:30]}” is none.") from None


def read_pregnancy(text: str) -> str:
    """Open, pregnant or not sure."""
    found = PREGNANCY_WORDS.get(text.strip().lower())
    if found is None:
        raise TypingFault(f"open, pregnant or not sure; “{text[:30]}” is none of these.")
    return found.value


def read_days_pregnant(text: str) -> int:
    """Days pregnant; weeks and months are taken too, where the word stands behind the figure."""
    found = _ALONG.match(text.strip())
    if not found:
        raise TypingFault(f"days, such as 90, or with a word behind: 3 months, 12 weeks; “{text[:30]}” is neither.")
    each = _DAYS_IN[(found["unit"] or "d")[0].lower()]
    return round(float(found["number"].replace(",", ".")) * each)


def read_vaccines(text: str) -> tuple[str, ...]:
    """Kinds of vaccine, several separated by semicolons."""
    found = []
    for word in (part.strip() for part in text.split(";")):
        vaccine = VACCINE_WORDS.get(word.lower())
        if word and vaccine is None:
            kinds = "; ".join(vaccine.label for vaccine in Record.Vaccine)
            raise TypingFault(f"one of these kinds: {kinds}. “{word[:30]}” is none.")
        if vaccine is not None and vaccine.value not in found:
            found.append(vaccine.value)
    return tuple(found)
