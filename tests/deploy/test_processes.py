"""People without containers: the commands of the systemd units start a site that answers and reminds. The compose file starts
the same processes."""

import configparser
import json
import os
import shlex
import subprocess
import time
import urllib.request
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import get_commands

from tests.clients.imap import Box, mailbox_at
from tests.factories.servers import free_port

ROOT = Path(__file__).resolve().parents[2]
UNITS = ROOT / "deploy" / "systemd"
SERVICES = sorted(path.name for path in UNITS.glob("*.service"))


def unit(name: str) -> configparser.ConfigParser:
    """A unit file; keys of systemd keep their case."""
    parser = configparser.ConfigParser(strict=True, interpolation=None)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read(UNITS / name, encoding="utf-8")
    return parser


def command(name: str, key: str = "ExecStart", **changed: str) -> list[str]:
    """The unit's command, for this checkout."""
    text = unit(name)["Service"][key].replace("/srv/herdplan", str(ROOT))
    for old, new in changed.items():
        text = text.replace(old, new)
    return shlex.split(text)


def test_there_is_a_unit_for_every_process() -> None:
    wanted = {"web", "outbox", "jobs", "replies", "worker", "beat", "proxy"}
    assert {name.removeprefix("herdplan-").removesuffix(".service") for name in SERVICES} - {"herdplan"} == wanted


@pytest.mark.parametrize("name", SERVICES)
def test_units_name_what_exists_and_come_back(name: str) -> None:
    service = unit(name)["Service"]
    assert service["Restart"] in ("always", "on-failure")
    program = Path(command(name)[0])
    if "manage.py" in command(name):
        assert command(name)[2] in get_commands()
    assert program.exists() or str(program) == "/usr/bin/caddy"
    if name == "herdplan.service":
        return
    assert service["NoNewPrivileges"] == "yes"
    assert service["ProtectSystem"] == "strict"
    assert unit(name)["Unit"]["PartOf"] == "herdplan.target"
    assert service["EnvironmentFile"] == "-/srv/herdplan/deploy/env"


def surroundings(folder: Path, **more: str) -> dict[str, Any]:
    """Where and under which settings a unit's command runs: a data folder of its own, nothing of the tests' settings."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("HERDPLAN_", "DJANGO_ALLOW"))}
    own = {"HERDPLAN_DATA": str(folder), "HERDPLAN_DATABASE_URL": "", "DJANGO_SETTINGS_MODULE": "herdplan.settings"}
    return {"cwd": ROOT, "env": {**kept, **own, **more}}


def test_the_unit_of_the_mailbox_reads_it_and_does_not_start_without_one(tmp_path: Path) -> None:
    box = Box()
    box.add(b"Subject: lunch?\n\nAt noon\n")
    condition = command("herdplan-replies.service", "ExecCondition")
    assert subprocess.run(condition, **surroundings(tmp_path), check=False).returncode == 1
    with mailbox_at(box) as port:
        run = surroundings(
            tmp_path, HERDPLAN_IMAP_HOST="127.0.0.1", HERDPLAN_IMAP_PORT=str(port), HERDPLAN_IMAP_TLS="no",
            HERDPLAN_IMAP_USER="herdplan", HERDPLAN_IMAP_PASSWORD=box.password,
        )  # fmt: skip
        assert subprocess.run(condition, **run, check=False).returncode == 0
        assert subprocess.run(command("herdplan-web.service", "ExecStartPre"), **run, check=False).returncode == 0
        process = subprocess.Popen(command("herdplan-replies.service"), **run)
        try:
            _until(lambda: box.seen == {1})
            assert process.poll() is None
        finally:
            process.terminate()
            process.wait(timeout=30)


def test_the_units_commands_start_a_site_that_answers_and_reminds(tmp_path: Path) -> None:
    port = free_port()
    run = surroundings(tmp_path)
    assert subprocess.run(command("herdplan-web.service", "ExecStartPre"), **run, check=False).returncode == 0
    names = ("web", "outbox", "jobs")
    commands = [command(f"herdplan-{name}.service", **{"127.0.0.1:8000": f"127.0.0.1:{port}"}) for name in names]
    processes = [subprocess.Popen(item, **run, stderr=subprocess.DEVNULL) for item in commands]
    try:
        assert _health(port)["healthy"] is True
        code = (
            "from django.utils import timezone; from herdplan.reminders.services import enqueue; now = timezone.now();"
            "enqueue(cooperative=None, user=None, channel='email', address='a@b.example', purpose='x', subject='Hello',"
            "body='b', dedup='x', due=now, expires=None, now=now)"
        )
        python = command("herdplan-outbox.service")[0]
        subprocess.run([python, "manage.py", "shell", "--no-imports", "-c", code], **run, check=True)
        _until(lambda: any("Subject: Hello" in path.read_text() for path in (tmp_path / "mail").glob("*")))
        assert all(process.poll() is None for process in processes)
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.wait(timeout=30)


def _health(port: int) -> dict[str, Any]:
    found: dict[str, Any] = {}

    def answers() -> bool:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=5) as answer:
                found.update(json.load(answer))
        except OSError:
            return False
        return True

    _until(answers)
    return found


def _until(what: Any, seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < deadline
        time.sleep(0.2)


def test_the_compose_file_starts_the_same_processes() -> None:
    document = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    services = document["services"]
    assert set(services) == {"web", "worker", "beat", "proxy", "database", "redis"}
    for name in ("worker", "beat"):
        in_unit = command(f"herdplan-{name}.service")[1:4]
        assert services[name]["command"].split()[1:4] == in_unit
        assert services[name]["depends_on"]["web"]["condition"] == "service_healthy"
    for name in ("web", "worker", "beat"):
        assert services[name]["environment"]["HERDPLAN_REDIS_URL"].startswith("redis://redis:")
        assert services[name]["restart"] == "unless-stopped"
    for name in ("web", "database", "redis"):
        assert services[name]["healthcheck"]["test"][0] == "CMD"
    used = {secret for service in services.values() for secret in service.get("secrets", [])}
    assert used == set(document["secrets"])
    volumes = {text.split(":")[0] for service in services.values() for text in service.get("volumes", [])}
    assert {name for name in volumes if not name.startswith(".")} == set(document["volumes"])


def test_no_data_secret_or_environment_of_this_box_goes_into_the_image() -> None:
    """`COPY . .` takes whatever is there; what git leaves out must be left out of the image as well, and git itself."""
    assert "COPY . ." in (ROOT / "deploy/Dockerfile").read_text(encoding="utf-8")
    left_out = {
        line.removeprefix("**/").strip("/")
        for line in (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    }
    unwanted = {line.strip("/") for line in (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines() if line}
    assert unwanted - left_out == set()
    assert {".git", ".venv", "var", "deploy/secrets", "deploy/env"} <= left_out
    document = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    for secret in document["secrets"].values():
        assert secret["file"].startswith("deploy/secrets/")


def test_what_the_compose_file_and_the_image_name_is_there() -> None:
    """Files that are mounted, run, copied; a path that nobody made would only be noticed when it is started."""
    document = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    image = (ROOT / "deploy/Dockerfile").read_text(encoding="utf-8")
    mounted = [text.split(":")[0] for service in document["services"].values() for text in service.get("volumes", [])]
    copied = [line.split()[1] for line in image.splitlines() if line.startswith("COPY")]
    run = [
        service["healthcheck"]["test"][-1]
        for service in document["services"].values()
        if "build" in service and "healthcheck" in service
    ]
    for name in [
        *(text for text in mounted if text.startswith(".")),
        *copied,
        *run,
        document["x-app"]["build"]["dockerfile"],
    ]:
        assert (ROOT / name).exists(), name
    assert image.index("USER herdplan") > image.index("COPY . ."), "the files belong to root, the process does not"
    (volume,) = document["x-app"]["volumes"]
    assert volume.split(":")[1] == document["x-app"]["environment"]["HERDPLAN_DATA"] == "/data"
    assert "chown herdplan /data" in image
