"""The commands of the interface contract: documents on stdout, exit codes, one line for bad input."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import execute_from_command_line

from tests.factories.seasons import season_document

pytestmark = pytest.mark.once
ROOT = Path(__file__).resolve().parents[2]


def run(*command: str) -> subprocess.CompletedProcess[str]:
    """A command as a person runs it."""
    return subprocess.run(
        [sys.executable, "manage.py", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A season file and its plan file."""
    folder = tmp_path_factory.mktemp("plan")
    season, plan = folder / "season.json", folder / "plan.json"
    season.write_text(json.dumps(season_document("S", 1)))
    done = run("optimize", str(season), "--out", str(plan), "--rounds", "10")
    assert (done.returncode, done.stdout) == (0, "")
    assert "complete" in done.stderr
    return season, plan


def test_protocols() -> None:
    listed = json.loads(run("protocols", "--json").stdout)
    assert len(listed) == 48
    first = next(item for item in listed if item["id"] == "cow_7d_cosynch_insert")
    assert {"id", "name", "animal_class", "category", "steps", "sources"} <= set(first)
    assert [step["key"] for step in first["steps"]] == ["gnrh1", "in", "out", "pg", "ai", "ai_gnrh"]


def test_timetable() -> None:
    done = run(
        "timetable", "--protocol", "cow_7d_cosynch_insert", "--zone", "America/Denver", "--ai", "2027-05-10T08:00:00-06:00",
        "--head", "85", "--treat-rate", "60", "--ai-rate", "25", "--order", "kept", "--json",
    )  # fmt: skip
    table = json.loads(done.stdout)
    assert set(table) == {"protocol", "zone", "lots", "interval_hours", "warnings"}
    ai = next(step for step in table["lots"][0]["steps"] if step["key"] == "ai")
    assert set(ai) == {"key", "at", "earliest", "latest", "chute_trip", "hours_after"}
    assert ai["at"] == "2027-05-10T08:00:00-06:00"
    assert 60 <= table["interval_hours"]["min"] < table["interval_hours"]["max"] <= 66


def test_check_plan(files: tuple[Path, Path], tmp_path: Path) -> None:
    season, plan = files
    good = run("check_plan", str(season), str(plan), "--json")
    assert good.returncode == 0
    assert json.loads(good.stdout)["ok"] is True
    document: dict[str, Any] = json.loads(plan.read_text())
    document["visits"].pop()
    broken = tmp_path / "broken.json"
    broken.write_text(json.dumps(document))
    bad = run("check_plan", str(season), str(broken), "--json")
    assert bad.returncode == 1
    assert {item["rule"] for item in json.loads(bad.stdout)["broken"]} & {4, 7}


def test_a_plan_can_be_kept(files: tuple[Path, Path], tmp_path: Path) -> None:
    season, plan = files
    again = tmp_path / "again.json"
    assert run("optimize", str(season), "--out", str(again), "--rounds", "5", "--keep", str(plan)).returncode == 0
    one, other = json.loads(plan.read_text()), json.loads(again.read_text())
    assert one["cost"]["parts"]["technician_days"] >= other["cost"]["parts"]["technician_days"]


def test_exit_codes_for_what_cannot_be_planned(tmp_path: Path) -> None:
    document = season_document("S", 1)
    for person in document["technicians"]:
        person["max_head_per_day"] = 30
    document["groups"] = document["groups"][:4]
    for group in document["groups"]:
        group.update(head=90, ai_by="technician", needs_barn=False)
    season = tmp_path / "season.json"
    season.write_text(json.dumps(document))
    assert run("optimize", str(season), "--out", str(tmp_path / "p.json"), "--rounds", "1").returncode == 4
    document["groups"][0].update(head=20, skills=[], ai_by="ranch")
    season.write_text(json.dumps(document))
    assert run("optimize", str(season), "--out", str(tmp_path / "p.json"), "--rounds", "1").returncode == 3


BAD = [
    (["timetable", "--protocol", "moon", "--zone", "America/Denver", "--ai", "2027-05-10"], "protocol:"),
    (["timetable", "--protocol", "cow_7_7_synch", "--zone", "Mars/Base", "--ai", "2027-05-10"], "zone:"),
    (["timetable", "--protocol", "cow_7_7_synch", "--zone", "America/Denver", "--ai", "soon"], "ai:"),
    (["timetable", "--protocol", "cow_7_7_synch", "--zone", "America/Denver"], "start:"),
    (
        ["timetable", "--protocol", "cow_7_7_synch", "--zone", "America/Denver", "--ai", "2027-05-10", "--head", "-3"],
        "head:",
    ),
    (
        [
            "timetable",
            "--protocol",
            "cow_7_7_synch",
            "--zone",
            "America/Denver",
            "--ai",
            "2027-05-10",
            "--head",
            "9",
            "--ai-rate",
            "nan",
        ],
        "ai_rate:",
    ),
    (["timetable", "--protocol", "heifer_7d_insert_pg", "--zone", "America/Denver", "--ai", "2027-05-10"], "ai:"),
    (
        [
            "timetable",
            "--protocol",
            "cow_7_7_synch",
            "--zone",
            "America/Denver",
            "--ai",
            "2027-05-10",
            "--order",
            "odd",
        ],
        "order:",
    ),
    (["timetable", "--colour", "red"], "the following arguments are required"),
    (["optimize", "/nowhere/season.json", "--out", "p.json"], "season:"),
    (["optimize", "README.md", "--out", "p.json"], "season:"),
    (["optimize", "README.md", "--out", "p.json", "--rounds", "-1"], "rounds:"),
    (["optimize", "README.md", "--out", "p.json", "--seconds", "1", "--rounds", "1"], "seconds:"),
    (["check_plan", "README.md", "README.md"], "season:"),
    (["import_herd", "--coop", "x", "README.md"], "the following arguments are required"),
]


@pytest.mark.parametrize(("command", "words"), BAD, ids=[" ".join(item[0])[:60] for item in BAD])
def test_bad_input_ends_with_2_and_one_line_that_names_the_field(
    command: list[str], words: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    with pytest.raises(SystemExit) as ended:
        execute_from_command_line(["manage.py", *command])
    said = capsys.readouterr()
    assert (ended.value.code, said.out) == (2, "")
    assert said.err.startswith(words)
    assert said.err.count("\n") == 1


def test_a_place_that_cannot_be_written_to_is_refused_before_the_search(
    files: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(tmp_path.iterdir())
    for out in (tmp_path / ("x" * 300), tmp_path, tmp_path / "none" / "p.json"):
        with pytest.raises(SystemExit) as ended:
            execute_from_command_line(["manage.py", "optimize", str(files[0]), "--out", str(out), "--rounds", "1"])
        said = capsys.readouterr().err
        assert (ended.value.code, said.count("\n"), said[:5]) == (2, 1, "out: ")
    assert sorted(tmp_path.iterdir()) == before


def test_a_fault_of_the_plan_to_keep_names_it(
    files: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Season and plan have fields of the same names."""
    with pytest.raises(SystemExit) as ended:
        execute_from_command_line(
            ["manage.py", "optimize", str(files[0]), "--out", str(tmp_path / "p.json"), "--keep", str(files[0])]
        )
    assert ended.value.code == 2
    assert capsys.readouterr().err.startswith("keep.format:")


def test_a_process_says_no_more_and_ends_with_the_same_code() -> None:
    done = run(*BAD[0][0])
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(BAD[0][1])
    assert done.stderr.count("\n") == 1
