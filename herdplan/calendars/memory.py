"""Who was invited to what, beside the database: what an older copy that is brought back cannot know, and must take back.

One sealed line a letter, written before it leaves, in a file a month of the event's end. Files go two months after their month.
The journal of sent messages beside it holds hashes alone; to call something off needs address, hours and words.
"""

import json
import logging
import os
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from accounts.sealing import INVITED, SealBroken
from herdplan.calendars.models import Letter
from herdplan.reminders import journal

_KEEP_MONTHS = 2
_MARK = "take-back"
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Told:
    """What a person was told last of one event, by letter. Moments are aware; `user` and `cooperative` are ids."""

    uid: str
    address: str
    name: str
    user: str
    cooperative: str
    method: str
    sequence: int
    starts: datetime
    ends: datetime
    zone: str
    summary: str
    place: str


def note(letter: Letter) -> None:
    """Remember a letter that is about to leave."""
    asked = letter.attendance
    told = Told(
        uid=asked.uid,
        address=letter.address,
        name=asked.name,
        user=str(asked.user_id or ""),
        cooperative=str(asked.cooperative_id),
        method=letter.method,
        sequence=letter.sequence,
        starts=asked.starts.astimezone(UTC),
        ends=asked.ends.astimezone(UTC),
        zone=asked.zone,
        summary=asked.summary,
        place=asked.place,
    )
    journal.append(f"invited-{told.ends:%Y-%m}.log", INVITED.seal(json.dumps(asdict(told), default=datetime.isoformat)))


def standing(now: datetime) -> list[Told]:
    """The last letter to each person about each event that is not over, where it asked them to come."""
    last: dict[tuple[str, str], Told] = {}
    for path in sorted(_files()):
        if _month(path) < _months(now) - _KEEP_MONTHS:
            path.unlink(missing_ok=True)
            continue
        for told in _read(path):
            key = (told.uid, told.address.lower())
            if key not in last or told.sequence >= last[key].sequence:
                last[key] = told
    return [told for told in last.values() if told.method == Letter.Method.REQUEST and told.ends > now]


def reseal() -> tuple[int, int]:
    """Every line under the first key; how many were, and how many no key opens. A line that comes meanwhile stays as it is."""
    done, lost = 0, 0
    for path in _files():
        lines = []
        for line in path.read_text(encoding="ascii", errors="replace").split("\n"):
            try:
                lines.append(INVITED.reseal(line) if line else "")
                done += bool(line)
            except SealBroken:
                lines.append(line)
                lost += 1
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        draft.write_text("\n".join(lines), encoding="ascii", errors="replace")
        draft.replace(path)
    return done, lost


def ask_to_take_back() -> None:
    """An older database was brought back: what it does not know is taken back at the next look, or the one after."""
    journal.append(_MARK, "an older database was brought back")


def is_asked() -> bool:
    """Whether something may have to be taken back."""
    return _path(_MARK).is_file()


def done() -> None:
    """All of it is written."""
    _path(_MARK).unlink(missing_ok=True)


def _path(name: str) -> Path:
    return Path(settings.OUTBOX_JOURNAL) / name


def _files() -> list[Path]:
    return list(Path(settings.OUTBOX_JOURNAL).glob("invited-????-??.log"))


def _months(moment: datetime) -> int:
    return moment.year * 12 + moment.month


def _month(path: Path) -> int:
    year, month = path.stem.split("-")[1:]
    return int(year) * 12 + int(month)


def _read(path: Path) -> list[Told]:
    found, lost = [], 0
    for line in path.read_text(encoding="ascii", errors="replace").split("\n"):
        try:
            values: dict[str, Any] = json.loads(INVITED.unseal(line)) if line else {}
            if values:
                times = {name: datetime.fromisoformat(values[name]) for name in ("starts", "ends")}
                found.append(Told(**{**values, **times}))
        except (SealBroken, ValueError, KeyError, TypeError):  # torn, or under a key that is gone
            lost += 1
    if lost:
        log.error("%s: %d lines cannot be read; who was invited by them must be called.", path.name, lost)
    return found
