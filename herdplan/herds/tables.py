"""Spreadsheets in and out, whatever they hold: CSV and XLSX to rows of cells, and rows to files that run nothing."""

import csv
import io
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

MAX_BYTES, MAX_ROWS, MAX_COLUMNS = 5_000_000, 20_000, 100
# A workbook is a zip: 5 MB of it could unpack to gigabytes.
_MAX_UNPACKED = 200_000_000
_RUNS = ("=", "+", "-", "@", "\t", "\r")
Table = list[Sequence[Any]]


class SheetError(ValueError):
    """A file that cannot be used as the sheet that was asked for; the text says what is needed."""


def read_table(name: str, content: bytes, known: Callable[[str], object] = lambda _: None) -> Table:
    """Rows of a CSV or XLSX file, column names first. `known` says whether a lone column's name is one of ours.

    Raises SheetError where it is no such file, is too large, or has no row below the names.
    """
    if len(content) > MAX_BYTES:
        raise SheetError("The file is larger than 5 MB. Split it and import the parts.")
    if not content:
        raise SheetError("The file is empty.")
    table = _xlsx(content) if content[:2] == b"PK" else _csv(name, content, known)
    if len(table) < 2:
        raise SheetError("The file has no rows below the column names.")
    if len(table) > MAX_ROWS + 1:
        raise SheetError(f"The file has more than {MAX_ROWS} rows. Split it and import the parts.")
    return table


def said(cell: Any) -> str:
    """A cell's text; the apostrophe with which an export made a formula harmless is taken off again."""
    text = "" if cell is None else str(cell).strip()
    return text[1:] if text[:1] == "'" and text[1:2] in _RUNS and text[1:] else text


def number_text(cell: Any) -> str:
    """A tag typed as a number in a spreadsheet comes as 101.0."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return said(cell)


def harmless(cell: str) -> str:
    """A cell that a spreadsheet would run as a formula, made text by an apostrophe."""
    return f"'{cell}" if cell[:1] in _RUNS and cell else cell


def as_csv(rows: Iterable[Sequence[str]]) -> str:
    """Rows as CSV text."""
    buffer = io.StringIO(newline="")
    csv.writer(buffer).writerows([harmless(cell) for cell in row] for row in rows)
    return buffer.getvalue()


def as_xlsx(rows: Iterable[Sequence[str]], title: str) -> bytes:
    """Rows as a workbook of text cells and no formula."""
    import openpyxl  # noqa: PLC0415 (see "Heavy libraries" in DEVELOPERS.md)

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title[:31]
    for i, row in enumerate(rows, 1):
        for j, text in enumerate(row, 1):
            cell = sheet.cell(i, j, harmless(text))
            cell.data_type = "s"
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _xlsx(content: bytes) -> Table:
    import openpyxl  # noqa: PLC0415
    from openpyxl.utils.exceptions import InvalidFileException  # noqa: PLC0415

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(part.file_size for part in packed.infolist()) > _MAX_UNPACKED:
                raise SheetError("The workbook is too large when unpacked. Save the one sheet as CSV.")
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        return list(_first(sheet.iter_rows(values_only=True, max_col=MAX_COLUMNS)))
    except SheetError:
        raise
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, OSError, IndexError):
        raise SheetError("This is not an XLSX spreadsheet that can be read. Save it again as XLSX or CSV.") from None


def _first(rows: Iterator[Sequence[Any]]) -> Iterator[Sequence[Any]]:
    for i, row in enumerate(rows):
        if i > MAX_ROWS + 1:
            return
        yield row


def _csv(name: str, content: bytes, known: Callable[[str], object]) -> Table:
    if b"\x00" in content[:4000]:
        raise SheetError(f"{name} is not a CSV or XLSX file. Save the sheet as one of these.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t|", key=first.count)
    if first.count(delimiter) == 0 and not known(first.strip()):
        raise SheetError(f"{name} has no columns that can be told apart. Save the sheet as CSV or XLSX.")
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as fault:
        raise SheetError(f"{name} cannot be read as CSV: {fault}.") from None
