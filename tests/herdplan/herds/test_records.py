"""Records kept: corrections beside what they correct, sheets all or nothing, exports that come back, constant queries."""

import csv
import io
from datetime import date, datetime, timezone
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import call_command
from django.db import IntegrityError, transaction

from accounts.permissions import Role
from accounts.tenancy import Member, member_in
from accounts.units import KG_PER_LB, Units
from herdplan import demo
from herdplan.herds import queries
from herdplan.herds.models import Female, Herd, Record
from herdplan.herds.plausible import Observed, judge
from herdplan.herds.record_sheets import Matched, RecordReport, as_text, export_table, guess, judge_table, match_faults
from herdplan.herds.services import end_hold, save_observed, withdraw_record
from herdplan.herds.tables import SheetError, as_csv, as_xlsx, read_table
from herdplan.herds.typed import TypingFault, read_day, read_length, read_vaccines, read_weight
from scheduling.models import Season
from tests.factories.people import make_coop, make_female, make_herd, make_person, make_ranch

pytestmark = pytest.mark.django_db
DAY, TODAY = date(2027, 3, 30), date(2027, 4, 1)
NOW = datetime(2027, 4, 1, 15, tzinfo=timezone.utc)
LB, KG = Units("lb", "in", "F"), Units("kg", "cm", "C")


@pytest.fixture
def herd() -> Herd:
    """A herd with cows 9 and 10."""
    made = make_herd(make_ranch(make_coop(), slug="willow"))
    for tag in ("10", "9"):
        make_female(made, tag=tag, born=date(2020, 3, 15))
    return made


@pytest.fixture
def member(herd: Herd) -> Member:
    """The coordinator."""
    return member_in(make_person(herd.ranch.cooperative, Role.COORDINATOR), "north")


def save(member: Member, female: Female, day: date = DAY, **seen: Any) -> tuple[int, int, int]:
    """New, replaced, same."""
    saved = save_observed(member=member, ranch=female.herd.ranch, items=[(female, Observed(day, **seen))], now=NOW)
    return saved.new, saved.replaced, saved.same


def test_saying_it_again_changes_nothing_and_saying_otherwise_corrects_it(herd: Herd, member: Member) -> None:
    cow = herd.females.get(tag="9")
    assert save(member, cow, weight=500.0, condition=5.5, vaccines=("leptospira", "other")) == (4, 0, 0)
    assert save(member, cow, weight=500.0, condition=5.5, vaccines=("leptospira",)) == (0, 0, 3)
    assert save(member, cow, weight=510.0, condition=5.5) == (0, 1, 1)
    old = Record.objects.get(kind="weight", weight_kg=500)
    assert (old.withdrawn_by, old.withdrawn_at) == (member.user, NOW)
    history = queries.history_for(member, cow.pk)
    assert [row.weight_kg for row in history.of("weight")] == [510]
    assert len(history.of("vaccination")) == 2


def test_the_database_keeps_one_record_of_a_kind_a_day_and_no_impossible_one(herd: Herd) -> None:
    cow = herd.females.get(tag="9")
    Record.objects.create(female=cow, kind="tract", day=DAY, tract_score=4)
    for fields in (
        {"kind": "tract", "tract_score": 3},
        {"kind": "condition", "condition": 12},
        {"kind": "weight"},
        {"kind": "hold", "reason": "Lame", "until": date(2027, 1, 1)},
        {"kind": "vaccination"},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            Record.objects.create(female=cow, day=DAY, **fields)


def test_calvings_keep_the_herd_book_in_step(herd: Herd, member: Member) -> None:
    cow = herd.females.get(tag="9")
    save(member, cow, calved=date(2026, 2, 1))
    save(member, cow, calved=date(2027, 2, 3))
    save(member, cow, calved=date(2025, 2, 1))
    cow.refresh_from_db()
    assert cow.last_calved == date(2027, 2, 3)
    withdraw_record(member=member, record=Record.objects.get(day=date(2027, 2, 3)), now=NOW)
    cow.refresh_from_db()
    assert cow.last_calved == date(2026, 2, 1)
    assert queries.history_for(member, cow.pk).calvings == (date(2026, 2, 1), date(2025, 2, 1))


def test_a_hold_stands_until_it_is_ended(herd: Herd, member: Member) -> None:
    cow = herd.females.get(tag="9")
    save(member, cow, hold_reason="Lame")
    assert queries.history_for(member, cow.pk).holds_on(date(2027, 9, 1))
    end_hold(member=member, record=Record.objects.get(kind="hold"), last_day=TODAY, now=NOW)
    history = queries.history_for(member, cow.pk)
    assert history.holds_on(TODAY)
    assert history.holds_on(date(2027, 4, 2)) == ()


def test_a_herd_comes_with_latest_and_previous_records_in_two_queries(
    herd: Herd, member: Member, django_assert_num_queries: Any
) -> None:
    cow = herd.females.get(tag="9")
    for day, kg in ((date(2026, 11, 1), 480.0), (DAY, 510.0), (date(2027, 1, 5), 495.0)):
        save(member, cow, day, weight=kg, condition=5.0)
    with django_assert_num_queries(2):
        few = queries.herd_histories(member, herd)
    assert [history.female.tag for history in few] == ["9", "10"]
    latest, previous = few[0].latest("weight"), few[0].previous("weight")
    assert latest is not None
    assert previous is not None
    assert (latest.weight_kg, previous.weight_kg) == (510, 495)
    assert few[1].latest("weight") is None
    for number in range(30):
        save(
            member,
            make_female(herd, tag=f"more {number}"),
            weight=500.0,
            tract=4,
            vaccines=("leptospira",),
        )
    with django_assert_num_queries(2):
        many = queries.herd_histories(member, herd)
        rows = [record for history in many for kind in Record.Kind for record in history.of(kind)]
    assert len(many) == 32
    assert len(rows) == 96
    with django_assert_num_queries(2):
        table = list(export_table(queries.herd_histories(member, herd, people=True), LB))
    assert {row[-1] for row in table[1:]} == {"Robin Vale"}


def test_saving_a_sheet_asks_a_constant_number_of_times(
    herd: Herd, member: Member, django_assert_max_num_queries: Any
) -> None:
    females = [make_female(herd) for _ in range(200)]
    items = [(female, Observed(DAY, weight=500.0, calved=date(2027, 2, 1))) for female in females]
    with django_assert_max_num_queries(13):  # 400 rows go into SQLite in several batches
        saved = save_observed(member=member, ranch=herd.ranch, items=items, now=NOW)
    assert saved.new == 400


def test_whoever_may_only_look_cannot_save(herd: Herd) -> None:
    adviser = member_in(make_person(herd.ranch.cooperative, Role.ADVISER), "north")
    with pytest.raises(PermissionDenied):
        save(adviser, herd.females.get(tag="9"), weight=500.0)
    assert Record.objects.count() == 0


def judged(herd: Herd, member: Member, text: str, order: str = "ymd", day: date | None = None) -> RecordReport:
    """The sheet with guessed columns, judged."""
    table = as_text(read_table("f.csv", text.encode()))
    fields = guess(table[0], LB)
    assert match_faults(fields) == ""
    return judge_table(table, Matched(tuple(fields), order, day), queries.herd_histories(member, herd), TODAY)


def test_a_sheet_in_any_units_and_order_of_days_comes_in(herd: Herd, member: Member) -> None:
    text = (
        "Visual ID;Date weighed;Wt (kg);RTS;Pelvic height (cm);Pelvic width (in);BCS;Calving date;Vaccine;Preg check;Days bred\n"
        "9;30/03/2027;521,6;;;;5.5;10/02/2027;lepto; P;\n"
        "10;2027-03-30;1150 lb;4;13;4.75;6;;Viral (IBR, BVD), killed;;3 months\n"
    )
    report = judged(herd, member, text, order="dmy")
    assert [row.faults for row in report.rows] == [{}, {}]
    save_observed(member=member, ranch=herd.ranch, items=report.items, now=NOW)
    nine, ten = queries.herd_histories(member, herd)
    weight, pelvis = ten.latest("weight"), ten.latest("pelvis")
    assert weight is not None
    assert pelvis is not None
    assert weight.weight_kg == pytest.approx(1150 * KG_PER_LB)
    assert pelvis.pelvic_height_cm == 13
    assert pelvis.pelvic_width_cm == pytest.approx(4.75 * 2.54)
    assert nine.calvings == (date(2027, 2, 10),)
    check = ten.latest("pregnancy")
    assert check is not None
    assert (check.pregnancy, check.days_pregnant, check.due) == ("pregnant", 91, date(2027, 10, 8))
    assert [nine.latest(kind) is not None for kind in ("weight", "condition", "vaccination", "pregnancy")] == [True] * 4


@pytest.mark.parametrize(
    ("row", "name", "words"),
    [
        ("9,2027-03-30,40,,,", "weight", "200 to 2,700 lb"),
        ("9,2027-03-30,heavy,,,", "weight", "a figure"),
        ("9,2027-03-30,,7,,", "tract", "1 to 5"),
        ("9,2027-03-30,,3.5,,", "tract", "whole score"),
        ("9,2027-03-30,,,2028-03-01,", "calved", "future"),
        ("9,03/30/2027,1100,,,", "day", "year-month-day"),
        ("77,2027-03-30,1100,,,", "tag", "No female 77"),
        (",2027-03-30,1100,,,,", "tag", "A tag is needed"),
        ("9,,1100,,,", "day", "A day is needed"),
        ("10,2027-03-30,1200,,,", "row", "Line 2"),
        ("9,2027-03-30,,,,maybe", "pregnancy", "open, pregnant or not sure"),
        ("9,2027-03-30,,,,,3", "days_pregnant", "Were these months?"),
        ("9,2027-03-30,,,,P,half", "days_pregnant", "3 months"),
        ("9,2027-03-30,,,,open,90", "days_pregnant", "Only a female that is pregnant"),
    ],
)
def test_a_bad_row_is_named_with_its_field(herd: Herd, member: Member, row: str, name: str, words: str) -> None:
    head = "Tag,Day,Weight (lb),Tract score,Calved,Pregnancy,Days pregnant\n10,2027-03-30,1100,,,,\n"
    report = judged(herd, member, head + row + "\n")
    assert [(bad.line, list(bad.faults)) for bad in report.bad] == [(3, [name])]
    assert words in report.bad[0].faults[name]


def test_what_stands_on_record_with_another_value_is_questioned(herd: Herd, member: Member) -> None:
    save(member, herd.females.get(tag="9"), weight=1100 * KG_PER_LB)
    report = judged(herd, member, "Tag,Weight lb\n9,1150\n10,1100\n", day=DAY)
    assert [(row.line, list(row.questions)) for row in report.doubtful] == [(2, ["row"])]
    assert "1,100 lb" in report.doubtful[0].questions["row"]
    assert judged(herd, member, "Tag,Weight lb\n9,1100\n", day=DAY).doubtful == []


@pytest.mark.parametrize("units", [LB, KG])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_an_export_comes_back_as_what_it_was(herd: Herd, member: Member, units: Units, form: str) -> None:
    nine, ten = herd.females.get(tag="9"), herd.females.get(tag="10")
    Female.objects.filter(pk=ten.pk).update(animal_class="heifer")
    save(member, nine, weight=521.631226, pelvic_height=13.335, pelvic_width=12.1, condition=5.5)
    save(member, nine, vaccines=("viral_killed", "leptospira"), pregnancy="unknown", calved=date(2027, 2, 1))
    save(member, nine, date(2027, 3, 31), days_pregnant=41)
    save(
        member,
        ten,
        date(2027, 1, 4),
        weight=498.7,
        tract=4,
        hold_reason="=cmd|' /C calc'!A0",
        hold_until=date(2027, 2, 1),
    )
    rows = list(export_table(queries.herd_histories(member, herd), units))
    content = as_csv(rows).encode() if form == "csv" else as_xlsx(rows, "Records")
    table = as_text(read_table(f"f.{form}", content))
    matched = Matched(tuple(guess(table[0], LB)))
    other = make_herd(herd.ranch)
    for tag, animal_class in (("9", "cow"), ("10", "heifer")):
        make_female(other, tag=tag, born=date(2020, 3, 15), animal_class=animal_class)
    again = judge_table(table, matched, queries.herd_histories(member, herd), TODAY)
    assert (again.bad, again.doubtful) == ([], [])
    saved = save_observed(member=member, ranch=herd.ranch, items=again.items, now=NOW)
    assert (saved.written, saved.same) == (0, Record.objects.count())
    elsewhere = judge_table(table, matched, queries.herd_histories(member, other), TODAY)
    save_observed(member=member, ranch=herd.ranch, items=elsewhere.items, now=NOW)
    assert list(export_table(queries.herd_histories(member, other), units)) == rows


def test_an_export_runs_no_formula(herd: Herd, member: Member) -> None:
    evil = make_female(herd, tag="=1+1")
    save(member, evil, hold_reason="@SUM(A1)")
    rows = list(export_table(queries.herd_histories(member, herd), LB))
    cells = [cell for row in csv.reader(io.StringIO(as_csv(rows))) for cell in row]
    assert "'=1+1" in cells
    assert not [cell for cell in cells if cell[:1] in "=+-@" and cell]
    book = openpyxl.load_workbook(io.BytesIO(as_xlsx(rows, "Records")))
    assert {cell.data_type for row in book.worksheets[0].iter_rows() for cell in row if cell.value} == {"s"}


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (["tag", "weight_lb", "weight_kg"], "Two columns"),
        (["", "weight_lb"], "holds the tag"),
        (["tag", "day"], "at least one column"),
        (["tag", "", "condition"], ""),
    ],
)
def test_columns_are_matched_once_with_a_tag(fields: list[str], words: str) -> None:
    assert words in match_faults(fields)


def test_a_workbook_that_unpacks_to_far_too_much_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    content = as_xlsx([["Tag", "Weight"], ["1", "2"]], "x")
    monkeypatch.setattr("herdplan.herds.tables._MAX_UNPACKED", 100)
    with pytest.raises(SheetError, match="too large when unpacked"):
        read_table("f.xlsx", content)


@pytest.mark.parametrize(
    ("text", "kg"),
    [("1,150", 1150), ("1150", 1150), ("1 150 lb", 1150), ("1150.5lbs", 1150.5), ("1150,5", 1150.5), ("1,150.5", 1150.5)],
)  # fmt: skip
def test_weights_are_read_as_people_type_them(text: str, kg: float) -> None:
    assert read_weight(text, LB) == pytest.approx(kg * KG_PER_LB)


def test_a_unit_behind_the_figure_counts_and_nonsense_does_not() -> None:
    assert read_weight("520 kg", LB) == 520
    assert read_length('5.25"', KG) == pytest.approx(13.335)
    for text in ("", "1.2.3", "12 stone", "5 cm", "nan", "1e5"):
        with pytest.raises(TypingFault):
            read_weight(text, LB)
    assert read_day("4/3/27", "mdy") == date(2027, 4, 3)
    assert read_vaccines("Lepto; vibrio;lepto") == ("leptospira", "campylobacter")
    with pytest.raises(TypingFault):
        read_day("31/02/2027", "dmy")


def test_the_command_reports_row_by_row_and_saves_all_or_nothing(
    herd: Herd, member: Member, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "f.csv"
    told = ["import_records", "--coop", "north", "--ranch", "willow", "--by", member.user.email, str(file)]
    for text, name in (
        ("Tag,Day,Weight\n9,2026-03-02,1150\n10,2026-03-02,40\n", "weight"),
        ("Tag,Day,Weight\n9,2026-03-02,2100\n", "weight"),
        ("Tag,Day\n9,2026-03-02\n", "columns"),
        ("Tag,Day,Weight\n9,,1150\n", "day"),
    ):
        file.write_text(text)
        with pytest.raises(SystemExit) as end:
            call_command(*told)
        said = capsys.readouterr()
        assert end.value.code == 2
        assert said.err.startswith(f"{name}: ")
        assert said.err.count("\n") == 1
        assert Record.objects.count() == 0
    file.write_text("Tag,Day,Weight\n9,2026-03-02,2100\n")
    call_command(*told, "--keep", "--dry-run")
    assert Record.objects.count() == 0
    call_command(*told, "--keep")
    assert "line 2: 9: weight, is this right?" in capsys.readouterr().out
    assert Record.objects.count() == 1


def test_the_command_saves_for_nobody_who_may_not(herd: Herd, tmp_path: Path) -> None:
    adviser = make_person(herd.ranch.cooperative, Role.ADVISER)
    file = tmp_path / "f.csv"
    file.write_text("Tag,Day,Weight\n9,2026-03-02,1150\n")
    for by in (adviser.email, "nobody@example.org"):
        with pytest.raises(SystemExit):
            call_command("import_records", "--coop", "north", "--ranch", "willow", "--by", by, str(file))
    assert Record.objects.count() == 0


def test_the_demos_records_are_plausible() -> None:
    demo.load()
    season = Season.objects.get(cooperative__slug="high-fork")
    known = queries.histories(Female.objects.filter(herd__ranch__slug="willow-draw"))
    assert len(known) == 140
    for history in known:
        for record in (row for rows in history.records.values() for row in rows):
            seen = Observed(
                record.day, weight=record.weight_kg, condition=record.condition, pregnancy=record.pregnancy
            )  # fmt: skip
            verdict = judge(seen, history, LB, season.first_day)
            assert (verdict.faults, verdict.questions) == ({}, {}), (history.female.tag, record)
