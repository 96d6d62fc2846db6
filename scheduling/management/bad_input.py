"""How commands refuse bad input: exit code 2 and one line on stderr that names the field and what is allowed."""

import json
import sys
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser

from scheduling.kernel.reader import ReadError

_LARGEST_FILE = 64_000_000


class _OneLineParser(CommandParser):
    """Argument faults in one line instead of a usage text."""

    def error(self, message: str) -> NoReturn:
        refuse(message)


class StrictCommand(BaseCommand):
    """A command whose argument faults and refusals end with exit code 2 and one line."""

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Django's own parser, but with one-line errors."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.__class__ = _OneLineParser
        return parser

    def refuse(self, message: str) -> NoReturn:
        """End with exit code 2."""
        refuse(message)


def refuse(message: str) -> NoReturn:
    """One line on stderr, exit code 2."""
    sys.stderr.write(" ".join(message.split()) + "\n")
    raise SystemExit(2)


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
