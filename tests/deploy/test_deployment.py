"""A deployment: hardened settings pass, the guard is checked, a copy comes back whole, locks and scripts are as they must be."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def manage(folder: Path, *command: str, **extra: str) -> subprocess.CompletedProcess[str]:
    """A command on a data folder of its own."""
    kept = {name: value for name, value in os.environ.items() if name != "DJANGO_ALLOW_ASYNC_UNSAFE"}
    environment = {**kept, "HERDPLAN_DATA": str(folder), "HERDPLAN_DATABASE_URL": "", **extra}
    return subprocess.run(
        [sys.executable, "manage.py", *command], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )


def test_a_hardened_deployment_has_nothing_to_warn_of(tmp_path: Path) -> None:
    wanted = {
        "HERDPLAN_BASE_URL": "https://herd.example.org",
        "HERDPLAN_EMAIL_HOST": "mail.example.org",
        "HERDPLAN_BEHIND_PROXY": "yes",
    }
    done = manage(tmp_path, "check", "--deploy", "--fail-level", "WARNING", **wanted)
    assert done.returncode == 0, done.stderr
    plain = manage(tmp_path, "check", "--deploy", "--fail-level", "WARNING", HERDPLAN_BASE_URL="http://localhost:8000")
    assert plain.returncode == 1
    assert "herdplan.W001" in plain.stderr


def test_a_database_without_the_guard_is_told_of_and_migrate_puts_it_back(tmp_path: Path) -> None:
    manage(tmp_path, "migrate", "--verbosity", "0")
    check = ("check", "--database", "default", "--fail-level", "WARNING")
    assert manage(tmp_path, *check).returncode == 0
    drop = (
        "from django.db import connection\nconnection.cursor().execute('DROP TRIGGER technician_in_one_place_INSERT')"
    )
    manage(tmp_path, "shell", "--no-imports", "-c", drop)
    assert "herdplan.W002" in manage(tmp_path, *check).stderr
    manage(tmp_path, "migrate", "--verbosity", "0")
    assert manage(tmp_path, *check).returncode == 0


def test_a_copy_comes_back_whole(tmp_path: Path) -> None:
    one, other, copy = tmp_path / "one", tmp_path / "other", tmp_path / "copy"
    manage(one, "migrate", "--verbosity", "0")
    manage(one, "demo")
    assert manage(one, "backup", str(copy)).returncode == 0
    assert "holds files already" in manage(one, "backup", str(copy)).stderr
    assert "people in this one" in manage(one, "restore", str(copy)).stderr
    restored = manage(other, "restore", str(copy))
    assert restored.returncode == 0
    assert "higher versions" in restored.stdout
    count = "from herdplan.herds.models import *\nprint(Ranch.objects.count(), Female.objects.count())"
    assert manage(other, "shell", "--no-imports", "-c", count).stdout == "14 140\n"
    looks = "from herdplan.calendars.models import *\nprint(HighWater.objects.get().looks >= 1_000_000)"
    assert manage(other, "shell", "--no-imports", "-c", looks).stdout == "True\n"


def test_bad_settings_are_named(tmp_path: Path) -> None:
    assert "HERDPLAN_PORT: a whole number" in manage(tmp_path, "check", HERDPLAN_PORT="eighty").stderr
    assert "HERDPLAN_DEBUG: say yes or no" in manage(tmp_path, "check", HERDPLAN_DEBUG="maybe").stderr
    wrong = {"HERDPLAN_DATABASE_URL": "mysql://x/y"}
    assert "HERDPLAN_DATABASE_URL: postgresql://" in manage(tmp_path, "check", **wrong).stderr


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-test.lock"])
def test_locks_have_a_hash_for_every_package_and_no_address(name: str) -> None:
    text = (ROOT / "deploy" / name).read_text()
    pins = re.findall(r"^[a-z0-9._\-\[\]]+==\S+", text, re.MULTILINE | re.IGNORECASE)
    assert len(pins) > 20
    assert len(re.split(r"\n(?=\S)", text.strip())) == len(pins)
    assert all("--hash=sha256:" in block for block in re.split(r"\n(?=\S)", text.strip()))
    assert "://" not in text


@pytest.mark.parametrize("script", ["start", "test", "check", "environment.sh"])
def test_scripts_are_posix_shell(script: str) -> None:
    assert subprocess.run(["sh", "-n", f"deploy/{script}"], cwd=ROOT, check=False).returncode == 0


def test_start_refuses_what_it_does_not_know() -> None:
    done = subprocess.run(["sh", "deploy/start", "--twice"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "--once or nothing" in done.stderr
