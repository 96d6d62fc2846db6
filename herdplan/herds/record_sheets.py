"""Records from and to a spreadsheet: columns matched to fields, rows judged against each female, saved all or none."""

import re
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from accounts.units import Units
from herdplan.herds.models import Female, Record
from herdplan.herds.plausible import Observed, judge
from herdplan.herds.queries import History
from herdplan.herds.services.records import Item, alike
from herdplan.herds.tables import SheetError, Table, number_text, said
from herdplan.herds.typed import (
    TypingFault,
    read_day,
    read_days_pregnant,
    read_length,
    read_pregnancy,
    read_score,
    read_vaccines,
    read_weight,
    read_whole,
)

# What a column can be, by the key that a match is kept under.
FIELDS = {
    "tag": "Tag",
    "day": "Day of the record",
    "weight_lb": "Weight, lb",
    "weight_kg": "Weight, kg",
    "tract": "Tract score, 1 to 5",
    "pelvic_height_cm": "Pelvic height, cm",
    "pelvic_height_in": "Pelvic height, in",
    "pelvic_width_cm": "Pelvic width, cm",
    "pelvic_width_in": "Pelvic width, in",
    "condition": "Body condition, 1 to 9",
    "calved": "Day she calved",
    "vaccines": "Vaccination, kind",
    "pregnancy": "Pregnancy check",
    "days_pregnant": "Days pregnant",
    "hold_reason": "Health hold, reason",
    "hold_until": "Health hold, last day",
}
_GUESSES: Mapping[str, tuple[str, ...]] = {
    "tag": ("tag", "ear tag", "eartag", "visual id", "visual tag", "animal", "animal id", "id", "number"),
    "day": ("day", "date", "record date", "weigh date", "date weighed", "exam date", "day of the record"),
    "weight": ("weight", "wt", "body weight", "live weight", "liveweight", "bw"),
    "tract": ("tract score", "tract", "rts", "reproductive tract score", "repro tract score"),
    "pelvic_height": ("pelvic height", "pelvis height", "ph", "height"),
    "pelvic_width": ("pelvic width", "pelvis width", "pw", "width"),
    "condition": ("body condition", "condition", "bcs", "body condition score", "condition score"),
    "calved": ("calved", "calving date", "calving", "date calved", "day she calved", "last calved"),
    "vaccines": ("vaccination", "vaccine", "vaccinations", "vaccines", "vaccination kind"),
    "pregnancy": ("pregnancy", "pregnancy check", "preg", "pregnant", "preg status", "preg check", "pregnancy status"),
    "days_pregnant": (
        "days pregnant",
        "days preg",
        "days bred",
        "days in calf",
        "days along",
        "gestation days",
        "stage",
    ),
    "hold_reason": ("hold reason", "hold", "health hold", "health hold reason"),
    "hold_until": ("hold until", "hold end", "hold last day", "health hold last day"),
}
WORDS = {
    "tag": "Tag", "day": "Day", "weight": "Weight", "tract": "Tract score", "pelvic_height": "Pelvic height",
    "pelvic_width": "Pelvic width", "condition": "Body condition", "calved": "Day she calved", "vaccines": "Vaccination",
    "pregnancy": "Pregnancy", "days_pregnant": "Days pregnant",
    "hold_reason": "Hold, reason", "hold_until": "Hold, last day", "row": "Row",
}  # fmt: skip


@dataclass
class RecordRow:
    """One line of the sheet: what it would make, what is refused and what is questioned, by field."""

    line: int
    tag: str
    faults: dict[str, str] = field(default_factory=dict)
    questions: dict[str, str] = field(default_factory=dict)
    female: Female | None = None
    seen: Observed | None = None

    def worded(self, texts: dict[str, str]) -> list[tuple[str, str]]:
        """Texts with the fields by their names on the page."""
        return [(WORDS.get(name, name), text) for name, text in texts.items()]

    @property
    def refused(self) -> list[tuple[str, str]]:
        """What is refused, in words."""
        return self.worded(self.faults)

    @property
    def questioned(self) -> list[tuple[str, str]]:
        """What is questioned, in words."""
        return self.worded(self.questions)


@dataclass
class RecordReport:
    """The sheet judged."""

    rows: list[RecordRow]

    @property
    def bad(self) -> list[RecordRow]:
        """Lines with something refused."""
        return [row for row in self.rows if row.faults]

    @property
    def doubtful(self) -> list[RecordRow]:
        """Lines with something questioned and nothing refused."""
        return [row for row in self.rows if row.questions and not row.faults]

    @property
    def ready(self) -> list[RecordRow]:
        """Lines with neither."""
        return [row for row in self.rows if not row.questions and not row.faults]

    @property
    def items(self) -> list[Item]:
        """What would be saved."""
        return [(row.female, row.seen) for row in self.rows if row.female and row.seen and not row.faults]

    @property
    def count(self) -> int:
        """How many records would be saved."""
        return sum(1 for _, seen in self.items for _ in seen.columns())


def as_text(table: Table) -> list[list[str]]:
    """A table as it can be kept: text cells, days as year-month-day, no empty lines, no character that a database refuses."""
    width = max(len(row) for row in table)
    rows = [[_cell(cell) for cell in [*row, *[None] * (width - len(row))]] for row in table]
    if not any(any(row) for row in rows[1:]):
        raise SheetError("The file has no rows below the column names.")
    return rows


def _cell(cell: Any) -> str:
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    return number_text(cell).replace("\x00", "")


def guess(titles: Sequence[str], units: Units) -> list[str]:
    """For every column what it probably is (a key of FIELDS), or nothing. A unit in the title counts, else the person's."""
    taken: set[str] = set()
    out = []
    for title in titles:
        key = _guess_one(title, units)
        base = _base(key)
        out.append("" if base in taken else key)
        taken |= {base} - {""}
    return out


def _guess_one(title: str, units: Units) -> str:
    word = " ".join(re.sub(r"[_\-.,:;()\[\]/]", " ", title.lower()).split())
    unit = re.search(r" (lbs?|pounds?|kgs?|cm|in|inch|inches)$", word)
    if unit:
        word = word[: unit.start()]
    word = re.sub(r" 1 to \d$| 1 \d$", "", word)
    base = next((name for name, words in _GUESSES.items() if word in words), "")
    said_unit = unit[1] if unit else ""
    if base == "weight":
        metric = said_unit.startswith("kg") or (not said_unit and units.weight == "kg")
        return "weight_kg" if metric else "weight_lb"
    if base.startswith("pelvic"):
        return f"{base}_{'cm' if said_unit == 'cm' or (not said_unit and units.length == 'cm') else 'in'}"
    return base


def _base(key: str) -> str:
    return re.sub(r"_(lb|kg|cm|in)$", "", key)


def match_faults(matches: Sequence[str]) -> str:
    """What is wrong with a match of columns, in words; empty where nothing is."""
    bases = [_base(key) for key in matches if key]
    twice = next((base for base in bases if bases.count(base) > 1), None)
    if twice:
        return f"Two columns are matched to {WORDS[twice]}. Choose one of them and leave the other out."
    if "tag" not in bases:
        return "Say which column holds the tag."
    if not set(bases) - {"tag", "day", "hold_until"}:
        return "Match at least one column that holds a record."
    return ""


@dataclass(frozen=True)
class Matched:
    """How a sheet is read: a field a column (keys of FIELDS or empty), the order of its days, the day of rows without one."""

    fields: tuple[str, ...]
    order: str = "ymd"
    day: date | None = None


def judge_table(table: list[list[str]], matched: Matched, known: Sequence[History], today: date) -> RecordReport:
    """Judge every row below the names. `known` are the herd's females; nothing is saved."""
    judge_row = _Judge(matched, known, today)
    rows = (judge_row.row(line, cells) for line, cells in enumerate(table[1:], 2) if any(cells))
    return RecordReport([row for row in rows if row is not None])


class _Judge:
    """Judges rows against the females of the herd and against the rows before."""

    def __init__(self, matched: Matched, known: Sequence[History], today: date) -> None:
        self.matched, self.today = matched, today
        self.known = {history.female.tag.lower(): history for history in known}
        fields = set(matched.fields)
        self.units = Units(
            weight="kg" if "weight_kg" in fields else "lb", length="cm" if "pelvic_height_cm" in fields else "in"
        )
        self.width_units = Units(length="cm" if "pelvic_width_cm" in fields else "in")
        self.seen: dict[tuple[uuid.UUID, str, date, str], tuple[int, Record]] = {}
        self.readers: dict[str, Callable[[str], Any]] = {
            "day": lambda text: read_day(text, matched.order),
            "weight": lambda text: read_weight(text, self.units),
            "tract": read_whole,
            "pelvic_height": lambda text: read_length(text, self.units),
            "pelvic_width": lambda text: read_length(text, self.width_units),
            "condition": read_score,
            "calved": lambda text: read_day(text, matched.order),
            "vaccines": read_vaccines,
            "pregnancy": read_pregnancy,
            "days_pregnant": read_days_pregnant,
            "hold_reason": _reason,
            "hold_until": lambda text: read_day(text, matched.order),
        }

    def row(self, line: int, cells: Sequence[str]) -> RecordRow | None:
        raw = {_base(key): said(cell) for key, cell in zip(self.matched.fields, cells, strict=True) if key}
        tag = raw.pop("tag")
        row = RecordRow(line, tag)
        history = self.known.get(tag.lower())
        if not tag:
            row.faults["tag"] = "A tag is needed."
        elif history is None:
            row.faults["tag"] = f"No female {tag} is in this herd. Add her first, or put the tag right."
        values = self._read(row, raw)
        day = values.pop("day", None) or self.matched.day or values.get("calved")
        if day is None:
            if not row.faults:
                row.faults["day"] = "A day is needed: in this row, or one day for all rows without one."
        elif history is not None:
            self._judge(row, Observed(day, **values), history)
        return row

    def _read(self, row: RecordRow, raw: dict[str, str]) -> dict[str, Any]:
        values = {}
        for name, text in raw.items():
            if text:
                try:
                    values[name] = self.readers[name](text)
                except TypingFault as fault:
                    row.faults[name] = f"Allowed is {fault}"
        return values

    def _judge(self, row: RecordRow, seen: Observed, history: History) -> None:
        verdict = judge(seen, history, self.units, self.today)
        row.faults |= verdict.faults
        row.questions |= verdict.questions
        row.female, row.seen = history.female, seen
        for kind, day, columns in seen.columns():
            record = Record(female_id=history.female.pk, kind=kind, day=day, **columns)
            self._beside_rows(row, record)
            self._beside_book(row, record, history)

    def _beside_rows(self, row: RecordRow, record: Record) -> None:
        key = record.female_id, str(record.kind), record.day, str(record.vaccine)
        line, before = self.seen.setdefault(key, (row.line, record))
        if before is not record and not alike(before, record):
            row.faults["row"] = f"Line {line} says something else of her {record.get_kind_display().lower()} that day."

    def _beside_book(self, row: RecordRow, record: Record, history: History) -> None:
        standing = next(
            (old for old in history.of(record.kind) if (old.day, old.vaccine) == (record.day, record.vaccine)), None
        )
        if standing is not None and not alike(standing, record):
            row.questions["row"] = (
                f"Her {record.get_kind_display().lower()} of that day is on record with another value "
                f"({record_text(standing, self.units)}); this would correct it."
            )


def _reason(text: str) -> str:
    if len(text) > 200:
        raise TypingFault("at most 200 characters.")
    return text


def record_text(record: Record, units: Units) -> str:
    """What a record says, in words and the person's units."""
    if record.weight_kg is not None:
        return units.weight_text(record.weight_kg)
    if record.tract_score is not None:
        return str(record.tract_score)
    if record.pelvic_height_cm is not None and record.pelvic_width_cm is not None:
        area = record.pelvic_height_cm * record.pelvic_width_cm
        high, wide = units.length_text(record.pelvic_height_cm), units.length_text(record.pelvic_width_cm)
        return f"{high} high, {wide} wide ({area:.0f} cm²)"
    if record.condition is not None:
        return f"{record.condition:g}"
    if record.kind == Record.Kind.HOLD:
        end = f"until {record.until:%a} {record.until.day} {record.until:%b %Y}" if record.until else "open"
        return f"{record.reason}, {end}"
    if record.days_pregnant is not None and record.due is not None:
        due = record.due
        return f"Pregnant, {record.days_pregnant} days; expected to calve {due:%a} {due.day} {due:%b %Y}"
    return str(record.get_vaccine_display() or record.get_pregnancy_display() or "Calved")


def export_table(known: Sequence[History], units: Units) -> Iterator[list[str]]:
    """A row a female and day with records, in the person's units, in the form that an import reads back unchanged."""
    yield [
        "Tag", "Day", f"Weight ({units.weight})", "Tract score", f"Pelvic height ({units.length})",
        f"Pelvic width ({units.length})", "Body condition", "Calved", "Vaccination", "Pregnancy", "Days pregnant",
        "Hold reason", "Hold until", "Typed by",
    ]  # fmt: skip
    for history in known:
        days: dict[date, list[Record]] = {}
        for rows in history.records.values():
            for record in rows:
                days.setdefault(record.day, []).append(record)
        for day in sorted(days):
            yield _export_row(history.female.tag, day, days[day], units)


def _export_row(tag: str, day: date, records: list[Record], units: Units) -> list[str]:
    cells = dict.fromkeys(
        ("weight", "tract", "high", "wide", "condition", "calved", "vaccines", "pregnancy", "along", "reason", "until"),
        "",
    )
    for record in records:
        if record.weight_kg is not None:
            cells["weight"] = _exact(units.from_kg(record.weight_kg))
        if record.tract_score is not None:
            cells["tract"] = str(record.tract_score)
        if record.pelvic_height_cm is not None and record.pelvic_width_cm is not None:
            cells["high"], cells["wide"] = (
                _exact(units.from_cm(record.pelvic_height_cm)),
                _exact(units.from_cm(record.pelvic_width_cm)),
            )
        if record.condition is not None:
            cells["condition"] = f"{record.condition:g}"
        if record.kind == Record.Kind.CALVING:
            cells["calved"] = day.isoformat()
        if record.vaccine:
            cells["vaccines"] = "; ".join(filter(None, (cells["vaccines"], record.get_vaccine_display())))
        if record.pregnancy:
            cells["pregnancy"] = record.get_pregnancy_display()
        if record.days_pregnant is not None:
            cells["along"] = str(record.days_pregnant)
        if record.kind == Record.Kind.HOLD:
            cells["reason"] = record.reason
            cells["until"] = record.until.isoformat() if record.until else ""
    people = sorted({str(record.by) for record in records if record.by})
    return [tag, day.isoformat(), *cells.values(), "; ".join(people)]


def _exact(value: float) -> str:
    """Three decimals: less than what tells two records apart, so that an export comes back as what it was."""
    return f"{value:.3f}".rstrip("0").rstrip(".")
