"""A second memory of what was sent, beside the database: a line with the message's key, forced to disk after each send.

It closes two gaps. A sender that is lost (or a database that is locked) between sending and the commit leaves the row as
if it had not been sent; and so does an old backup that is brought back. Whoever takes the row up again reads the key here
and does not send a second time. The files hold hashes only. Without the folder everything works, with more repeats.
"""

import logging
import os
import time
from pathlib import Path

from django.conf import settings

_KEEP_S = 200 * 86_400
log = logging.getLogger(__name__)
_read: dict[Path, int] = {}
_known: set[str] = set()


def note(key: str) -> None:
    """Remember that the message of this key has left."""
    append(time.strftime("sent-%Y-%m.log", time.gmtime()), key)


def append(name: str, line: str) -> None:
    """Force a line to disk, at the end of a file beside the database. A full disk is written to the log and stops nothing."""
    path = Path(settings.OUTBOX_JOURNAL) / name
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_APPEND | os.O_CREAT | os.O_WRONLY, 0o600)
        try:
            os.write(handle, f"{line}\n".encode())
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as fault:  # the message has left; a full disk must not make it count as not sent
        log.error("The journal beside the database cannot be written: %s", fault)


def has(key: str) -> bool:
    """Whether the message of this key has left before, from this or another process of this installation."""
    folder = Path(settings.OUTBOX_JOURNAL)
    if folder.is_dir():
        for path in folder.glob("sent-*.log"):
            _catch_up(path)
    return f"{folder}|{key}" in _known


def _catch_up(path: Path) -> None:
    """Read what was appended since the last look."""
    try:
        state = path.stat()
        if time.time() - state.st_mtime > _KEEP_S:
            path.unlink()
            return
        done = _read.get(path, 0)
        if state.st_size <= done:
            return
        with path.open("rb") as handle:
            handle.seek(done)
            text = handle.read()
    except OSError as fault:
        log.error("The journal of sent messages cannot be read: %s", fault)
        return
    whole = text.rfind(b"\n") + 1
    _read[path] = done + whole
    _known.update(f"{path.parent}|{line}" for line in text[:whole].decode("ascii", "replace").split("\n") if line)
