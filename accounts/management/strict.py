"""How commands refuse bad input: exit code 2 and one line on stderr that names the field and what is allowed."""

import sys
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser


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
