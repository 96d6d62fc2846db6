"""A CalDAV server on this machine with one person and one calendar."""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from caldav.davclient import DAVClient

PASSWORD = "made-for-this"


@contextmanager
def calendar_server(folder: Path) -> Iterator[Any]:
    """The calendar `jobs` of the person `ann`, as the caldav library's object."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    (folder / "people").write_text(f"ann:{PASSWORD}\n", encoding="utf-8")
    command = [
        sys.executable, "-m", "radicale", "--config", "", "--server-hosts", f"127.0.0.1:{port}", "--auth-type", "htpasswd",
        "--auth-htpasswd-filename", str(folder / "people"), "--auth-htpasswd-encryption", "plain", "--auth-delay", "0",
        "--storage-filesystem-folder", str(folder / "store"), "--logging-level", "critical",
    ]  # fmt: skip
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as server:
        try:
            _wait(port)
            with DAVClient(
                url=f"http://127.0.0.1:{port}/", username="ann", password=PASSWORD, require_tls=False
            ) as client:
                yield client.principal().make_calendar(name="jobs", cal_id="jobs")
        finally:
            server.terminate()


def _wait(port: int) -> None:
    for _ in range(100):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the calendar server does not start")
