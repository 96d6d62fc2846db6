"""Spreadsheets of females: read, judged row by row, all or nothing."""

import io
from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.management import call_command
from django.test import Client

from accounts.models import User
from accounts.permissions import Role
from herdplan.herds.models import Female, Herd
from herdplan.herds.sheets import export_rows, read_sheet, save_sheet
from herdplan.herds.tables import SheetError
from tests.factories.people import make_coop, make_female, make_group, make_herd, make_person, make_ranch

pytestmark = pytest.mark.django_db
TODAY = date(2027, 4, 1)
GOOD = "Tag,Class,Born,Last calved,Breed\n101,cow,2020-03-15,2027-02-01,Hereford\n102,heifer,2026-03-01,,\n"


@pytest.fixture
def herd() -> Herd:
    """An empty herd."""
    return make_herd(make_ranch(make_coop(), slug="willow"))


def xlsx(*rows: list[Any]) -> bytes:
    """A workbook's bytes."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        GOOD.encode(),
        GOOD.replace(",", ";").encode(),
        GOOD.replace(",", "\t").encode("utf-8-sig"),
        GOOD.replace("Hereford", "Pinzgauer Kühe").encode("cp1252"),
        xlsx(["Ear tag", "Class", "DOB", "Calving date"], [101.0, "cow", datetime(2020, 3, 15), date(2027, 2, 1)], [102, "heifer", None, None]),
    ],
)  # fmt: skip
def test_good_sheets_come_in_whatever_their_form(herd: Herd, content: bytes) -> None:
    report = read_sheet("females.csv", content, herd, TODAY)
    assert [row.faults for row in report.rows] == [{}, {}]
    assert save_sheet(report, herd) == 2
    cow = Female.objects.get(tag="101")
    assert (cow.animal_class, cow.born, cow.last_calved) == ("cow", date(2020, 3, 15), date(2027, 2, 1))


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("101,cow,2020-03-15,,", "tag"),  # twice in the file
        ("7,cow,2020-03-15,,", "tag"),  # in the herd already
        (",cow,2020-03-15,,", "tag"),
        ("103,bull,2020-03-15,,", "animal_class"),
        ("103,cow,03/04/2020,,", "born"),
        ("103,cow,2031-01-01,,", "born"),
        ("103,cow,2026-03-15,2027-02-01,", "last_calved"),
        ("103,cow,1920-03-15,,", "born"),
    ],
)
def test_a_faulty_row_is_named_and_nothing_is_saved(herd: Herd, row: str, column: str) -> None:
    make_female(herd, tag="7")
    report = read_sheet("f.csv", (GOOD + row + "\n").encode(), herd, TODAY)
    assert list(report.bad[0].faults) == [column]
    assert report.bad[0].line == 4
    with pytest.raises(SheetError):
        save_sheet(report, herd)
    assert Female.objects.count() == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"PK\x03\x04 not a workbook", "XLSX"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" * 10, "CSV or XLSX"),
        (b"just a letter to my aunt\nDear aunt\n", "columns"),
        (b"Colour,Class\nred,cow\n", "Tag"),
        (b"Tag,Class,Ear tag\n1,cow,2\n", "Two columns"),
        (b"Tag,Class\n", "no rows"),
        (b"x" * 5_000_001, "5 MB"),
    ],
)
def test_what_is_no_sheet_of_females_is_refused_in_words(herd: Herd, content: bytes, words: str) -> None:
    with pytest.raises(SheetError, match=words):
        read_sheet("file", content, herd, TODAY)


def test_groups_are_found_by_name_and_must_be_of_her_class(herd: Herd) -> None:
    make_group(herd, name="Early", animal_class="cow")
    report = read_sheet("f.csv", b"Tag,Class,Group\n1,,early\n2,heifer,Early\n3,cow,Late\n", herd, TODAY)
    assert [sorted(row.faults) for row in report.rows] == [[], ["group"], ["group"]]


def test_an_export_can_be_imported_and_runs_no_formula(herd: Herd) -> None:
    make_female(herd, tag="1", notes="=cmd()", breed="Hereford")
    rows = list(export_rows(list(Female.objects.all())))
    assert rows[1][-1] == "'=cmd()"
    other = make_herd(herd.ranch)
    content = "\n".join(",".join(row) for row in rows).encode()
    assert read_sheet("f.csv", content, other, TODAY).good


def test_the_page_looks_first_and_takes_in_when_told(herd: Herd) -> None:
    coop = herd.ranch.cooperative
    person = Client()
    person.force_login(make_person(coop, Role.COORDINATOR))
    address = f"/c/{coop.slug}/ranches/willow/import/"

    def upload(do: str) -> str:
        file = io.BytesIO(GOOD.replace("2027-02-01", "2026-02-01").replace("2026-03-01", "2025-03-01").encode())
        file.name = "females.csv"
        return person.post(address, {"herd": str(herd.pk), "file": file, "do": do}, follow=True).content.decode()

    assert "2 rows are ready" in upload("look")
    assert Female.objects.count() == 0
    assert "2 females are in" in upload("save")
    assert Female.objects.count() == 2
    assert "4 of" not in upload("look")
    assert "is in this herd already" in upload("save")
    assert User.objects.count() == 1


def test_the_command_reports_row_by_row_and_exits_2_on_a_fault(
    herd: Herd, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "f.csv"
    file.write_text("Tag,Class\n1,cow\n2,bull\n")
    with pytest.raises(SystemExit) as end:
        call_command("import_herd", "--coop", "north", "--ranch", "willow", str(file))
    said = capsys.readouterr()
    assert end.value.code == 2
    assert "line 3: 2: animal_class" in said.out
    assert said.err.startswith("animal_class: ")
    assert said.err.count("\n") == 1
    assert Female.objects.count() == 0
    file.write_text("Tag,Class\n1,cow\n")
    call_command("import_herd", "--coop", "north", "--ranch", "willow", str(file), "--dry-run")
    assert Female.objects.count() == 0
    call_command("import_herd", "--coop", "north", "--ranch", "willow", str(file))
    assert Female.objects.count() == 1
