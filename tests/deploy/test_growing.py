"""A co-op that has grown, without containers: the commands of the compose file on a real PostgreSQL, Redis and mail server.

Beat rings, the worker hears it, and what a published plan asks for leaves as mail; the site answers and says that it is well.
"""

import json
import os
import shlex
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest
import redis
import yaml

from tests.factories.servers import MailBox, free_port, start_mail

ROOT = Path(__file__).resolve().parents[2]
POSTGRES = os.environ.get("HERDPLAN_TEST_POSTGRES_URL", "postgresql://postgres@127.0.0.1:5432/postgres")
# A database of its own: the other test on this Redis empties its one.
REDIS = urlsplit(os.environ.get("HERDPLAN_TEST_REDIS_URL", "redis://127.0.0.1:6379/7"))._replace(path="/6").geturl()
PUBLISH = """
from django.utils import timezone
from tests.factories.changes import publish_plan
from herdplan.reminders.models import PersonSettings
from tests.factories.plans import make_scene
scene = make_scene()
for person in (scene.rancher.user, scene.technician.user):  # news goes at once at any hour of the day on which this runs
    PersonSettings.objects.create(user=person, language="en", channels=["email"], quiet_from=None, quiet_to=None)
publish_plan(scene, now=timezone.now())
print(scene.rancher.user.email, scene.technician.user.email)
"""


@pytest.fixture
def box() -> Iterator[tuple[MailBox, dict[str, str]]]:
    """A mail server, and the surroundings of the containers with addresses of this machine."""
    mail, name = MailBox(), f"growing_{os.getpid()}_{time.time_ns()}"
    server = start_mail(mail)
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("HERDPLAN_", "DJANGO_ALLOW"))}
    with psycopg.connect(POSTGRES, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        redis.Redis.from_url(REDIS).flushdb()
        yield mail, {
            **kept, "HERDPLAN_DATABASE_URL": urlsplit(POSTGRES)._replace(path=f"/{name}").geturl(), "HERDPLAN_REDIS_URL": REDIS,
            "HERDPLAN_SECRET_KEY": "growing" * 10, "HERDPLAN_EMAIL_HOST": "127.0.0.1", "HERDPLAN_EMAIL_TLS": "no",
            "HERDPLAN_EMAIL_PORT": str(server.port), "DJANGO_SETTINGS_MODULE": "herdplan.settings",
        }  # fmt: skip
        redis.Redis.from_url(REDIS).flushdb()
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
    server.stop()


def commands(folder: Path, port: int) -> dict[str, list[str]]:
    """What the containers run: web out of the image's file, worker and beat out of the compose file."""
    services = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))["services"]
    image = (ROOT / "deploy/Dockerfile").read_text(encoding="utf-8").partition("CMD ")[2]
    _, _, web = json.loads(image)[-1].partition("&& exec ")
    found = {"web": web.replace("0.0.0.0:8000", f"127.0.0.1:{port}")}
    found |= {name: services[name]["command"].replace("/tmp/beat", str(folder / "beat")) for name in ("worker", "beat")}  # noqa: S108
    return {
        name: [str(Path(sys.executable).parent / text.split()[0]), *shlex.split(text)[1:]]
        for name, text in found.items()
    }


def until(what: Callable[[], Any], seconds: float = 60) -> None:
    """Wait for something."""
    deadline = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < deadline, "it took too long"
        time.sleep(0.1)


def test_a_published_plan_leaves_as_mail_through_beat_redis_worker_and_postgresql(
    box: tuple[MailBox, dict[str, str]], tmp_path: Path
) -> None:
    mail, environment = box
    port = free_port()
    run: dict[str, Any] = {"cwd": ROOT, "env": {**environment, "HERDPLAN_DATA": str(tmp_path)}}
    subprocess.run([sys.executable, "manage.py", "prepare"], **run, check=True, stdout=subprocess.DEVNULL)
    publish = [sys.executable, "manage.py", "shell", "--no-imports", "-c", PUBLISH]
    said = subprocess.run(publish, **run, check=True, capture_output=True, text=True).stdout
    rancher, technician = said.split()
    processes = {
        name: subprocess.Popen(command, **run, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for name, command in commands(tmp_path, port).items()
    }
    try:
        # What each is owed comes in any order: the news and the invitation are two letters to the technician.
        until(lambda: any("the plan is published" in subject for subject in _subjects(mail, rancher)))
        until(lambda: "text/calendar" in _kinds(mail, technician))
        until(lambda: _healthy(port))
        time.sleep(6)  # beat rings again: nothing is said twice
        assert len(mail.ids()) == len(set(mail.ids()))
        assert {name: process.poll() for name, process in processes.items()} == dict.fromkeys(processes)
    finally:
        for process in processes.values():
            process.terminate()
        for process in processes.values():
            process.wait(timeout=30)


def _subjects(mail: MailBox, to: str) -> list[str]:
    return [str(message["Subject"]) for message in list(mail.taken) if message["To"] == to]


def _kinds(mail: MailBox, to: str) -> set[str]:
    letters = [message for message in list(mail.taken) if message["To"] == to]
    return {part.get_content_type() for message in letters for part in message.walk()}


def _healthy(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=5) as answer:
            return bool(json.load(answer)["healthy"])
    except OSError:
        return False
