"""Females from a spreadsheet: read, judged row by row, then saved all or none."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction

from herdplan.herds.forms import date_faults
from herdplan.herds.models import AnimalClass, BreedingGroup, Female, Herd
from herdplan.herds.tables import SheetError, harmless, number_text, read_table, said

COLUMNS = {
    "tag": ("tag", "ear tag", "eartag", "visual id", "visual tag", "animal", "animal id", "id", "number"),
    "official_id": ("official id", "eid", "electronic id", "rfid", "official number"),
    "animal_class": ("class", "animal class", "type", "category"),
    "breed": ("breed",),
    "born": ("born", "birth date", "birthdate", "date of birth", "dob"),
    "last_calved": ("last calved", "calving date", "last calving", "calved"),
    "group": ("group", "breeding group"),
    "notes": ("notes", "note", "remarks", "comment", "comments"),
}
_CLASSES = {
    "cow": AnimalClass.COW,
    "cows": AnimalClass.COW,
    "heifer": AnimalClass.HEIFER,
    "heifers": AnimalClass.HEIFER,
    "bos_indicus_influenced_cow": AnimalClass.BOS_INDICUS_COW,
    "bos indicus": AnimalClass.BOS_INDICUS_COW,
}


@dataclass
class SheetRow:
    """One line of the file: what it would make, and what is wrong with it, by column."""

    line: int
    values: dict[str, Any]
    faults: dict[str, str] = field(default_factory=dict)

    @property
    def tag(self) -> str:
        """Her tag."""
        return str(self.values.get("tag", ""))


@dataclass
class SheetReport:
    """The file judged. `unknown` columns are passed over, and said so."""

    rows: list[SheetRow]
    unknown: list[str]

    @property
    def bad(self) -> list[SheetRow]:
        """Lines with a fault."""
        return [row for row in self.rows if row.faults]

    @property
    def good(self) -> bool:
        """Whether everything can be saved."""
        return bool(self.rows) and not self.bad


def read_sheet(name: str, content: bytes, herd: Herd, today: date) -> SheetReport:
    """Judge a CSV or XLSX file for a herd. Nothing is saved. Raises SheetError where it is no such file."""
    table = read_table(name, content, _known)
    columns, unknown = _columns([str(cell or "").strip() for cell in table[0]])
    judge = _Judge(herd, today)
    rows = [judge.row(line, columns, cells) for line, cells in enumerate(table[1:], 2) if any(said(c) for c in cells)]
    return SheetReport(rows, unknown)


def save_sheet(report: SheetReport, herd: Herd) -> int:
    """Save a report without faults in one transaction; returns how many females came in."""
    if not report.good:
        raise SheetError("Some rows have faults; nothing is saved until none is left.")
    with transaction.atomic():
        made = Female.objects.bulk_create(Female(herd=herd, **row.values) for row in report.rows)
    return len(made)


def _known(title: str) -> str | None:
    word = " ".join(title.lower().replace("_", " ").split())
    return next((column for column, names in COLUMNS.items() if word in names), None)


def _columns(titles: list[str]) -> tuple[dict[str, int], list[str]]:
    columns: dict[str, int] = {}
    unknown = []
    for i, title in enumerate(titles):
        column = _known(title)
        if column is None:
            unknown.append(title or f"column {i + 1}")
        elif column in columns:
            raise SheetError(f"Two columns hold the {column.replace('_', ' ')}: take one out.")
        else:
            columns[column] = i
    if "tag" not in columns:
        raise SheetError("No column is named Tag (or Ear tag, Visual ID). Name the columns in the first row.")
    return columns, unknown


class _Judge:
    """Judges rows against the herd and against the rows before."""

    def __init__(self, herd: Herd, today: date) -> None:
        self.today = today
        self.taken = {tag.lower() for tag in herd.females.values_list("tag", flat=True)}
        self.groups = {group.name.lower(): group for group in herd.groups.all()}
        self.seen: dict[str, int] = {}

    def row(self, line: int, columns: dict[str, int], cells: Sequence[Any]) -> SheetRow:
        raw = {name: cells[i] if i < len(cells) else None for name, i in columns.items()}
        row = SheetRow(line, {})
        self._tag(row, raw)
        for name in ("official_id", "breed", "notes"):
            text = number_text(raw.get(name))
            limit = Female._meta.get_field(name).max_length or 0  # type: ignore[union-attr]
            if len(text) > limit:
                row.faults[name] = f"at most {limit} characters"
            row.values[name] = text
        group = self._group(row, raw)
        self._class(row, raw, group)
        for name in ("born", "last_calved"):
            self._day(row, raw, name)
        row.faults |= date_faults(row.values.get("born"), row.values.get("last_calved"), self.today)
        return row

    def _tag(self, row: SheetRow, raw: dict[str, Any]) -> None:
        tag = number_text(raw.get("tag"))
        row.values["tag"] = tag
        if not tag:
            row.faults["tag"] = "a tag is needed"
        elif len(tag) > 40:
            row.faults["tag"] = "at most 40 characters"
        elif tag.lower() in self.taken:
            row.faults["tag"] = f"{tag} is in this herd already"
        elif tag.lower() in self.seen:
            row.faults["tag"] = f"{tag} stands in line {self.seen[tag.lower()]} already"
        self.seen.setdefault(tag.lower(), row.line)

    def _group(self, row: SheetRow, raw: dict[str, Any]) -> BreedingGroup | None:
        name = said(raw.get("group"))
        group = self.groups.get(name.lower())
        if name and group is None:
            row.faults["group"] = f"there is no group {name} in this herd; make it first or leave the cell empty"
        row.values["group"] = group
        return group

    def _class(self, row: SheetRow, raw: dict[str, Any], group: BreedingGroup | None) -> None:
        word = said(raw.get("animal_class")).lower()
        found = _CLASSES.get(word)
        if found is None and not word and group is not None:
            found = AnimalClass(group.animal_class)
        if found is None:
            row.faults["animal_class"] = "cow or heifer (or bos indicus for a Bos indicus-influenced cow)"
            return
        row.values["animal_class"] = found
        if group is not None and group.animal_class != found:
            row.faults["group"] = f"{group.name} is a group of {group.get_animal_class_display().lower()}"

    def _day(self, row: SheetRow, raw: dict[str, Any], name: str) -> None:
        cell = raw.get(name)
        row.values[name] = None
        if isinstance(cell, datetime):
            row.values[name] = cell.date()
        elif isinstance(cell, date):
            row.values[name] = cell
        elif said(cell):
            try:
                row.values[name] = date.fromisoformat(said(cell)[:10])
            except ValueError:
                row.faults[name] = (
                    f"a day written year-month-day, such as 2024-03-15; {said(cell)} could be read two ways"
                )


def export_rows(females: Sequence[Female]) -> Iterator[list[str]]:
    """Rows of a CSV that can be imported again; cells that a spreadsheet would run as a formula are made harmless."""
    yield ["Tag", "Official ID", "Class", "Group", "Breed", "Born", "Last calved", "Notes"]
    for female in females:
        cells = [
            female.tag,
            female.official_id,
            female.animal_class,
            female.group.name if female.group else "",
            female.breed,
            female.born.isoformat() if female.born else "",
            female.last_calved.isoformat() if female.last_calved else "",
            female.notes,
        ]
        yield [harmless(cell) for cell in cells]
