"""Reading the JSON files that commands are given."""

import json
from pathlib import Path

from scheduling.kernel.reader import ReadError

_LARGEST_FILE = 64_000_000


def read_json(path: Path, name: str) -> object:
    """The parsed JSON of a file; `ReadError` names the argument when the file cannot be read."""
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise ReadError(name, f"a file of at most {_LARGEST_FILE // 1_000_000} MB")
        parsed: object = json.loads(path.read_bytes())
    except OSError as fault:
        raise ReadError(name, f"a file that can be read; {path}: {fault.strerror}") from None
    except (ValueError, RecursionError):
        raise ReadError(name, f"a JSON document in UTF-8; {path} is not one") from None
    return parsed
