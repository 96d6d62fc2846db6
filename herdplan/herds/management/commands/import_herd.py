"""`manage.py import_herd --coop SLUG --ranch SLUG FILE [--dry-run]`: females in, all or nothing."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from herdplan.herds.models import Herd, Ranch
from herdplan.herds.sheets import SheetError, read_sheet, save_sheet


class _OneLineParser(CommandParser):
    def error(self, message: str) -> NoReturn:
        _refuse(message)


class Command(BaseCommand):
    """Row-by-row report on stdout; exit 2 and one line on stderr where something cannot be used."""

    help = "Import females from CSV or XLSX."

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Argument faults in one line."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.__class__ = _OneLineParser
        return parser

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to and what."""
        parser.add_argument("--coop", required=True)
        parser.add_argument("--ranch", required=True)
        parser.add_argument("--herd", help="name of the herd (the ranch's first where nothing is said)")
        parser.add_argument("--dry-run", action="store_true")
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        """Judge, report, save."""
        herd = _herd(options)
        try:
            report = read_sheet(options["file"].name, options["file"].read_bytes(), herd, timezone.localdate())
        except OSError as fault:
            _refuse(f"file: a file that can be read; {options['file']}: {fault.strerror}")
        except SheetError as fault:
            _refuse(f"file: {fault}")
        for row in report.rows:
            faults = "; ".join(f"{name}: {text}" for name, text in row.faults.items())
            self.stdout.write(f"line {row.line}: {row.tag or '(no tag)'}: {faults or 'ready'}")
        for name in report.unknown:
            self.stdout.write(f"column {name}: not known, passed over")
        if not report.good:
            first = next(iter(report.bad[0].faults.items())) if report.bad else ("file", "at least one row")
            _refuse(f"{first[0]}: {first[1]} ({len(report.bad)} rows have faults; nothing was saved)")
        if options["dry_run"]:
            self.stdout.write(f"{len(report.rows)} females would come in; nothing was saved.")
            return
        self.stdout.write(f"{save_sheet(report, herd)} females are in {herd}.")


def _herd(options: dict[str, Any]) -> Herd:
    ranch = Ranch.objects.filter(cooperative__slug=options["coop"], slug=options["ranch"]).first()
    if ranch is None:
        _refuse(f"ranch: the short name of a ranch of co-op {options['coop']}; there is no {options['ranch']}")
    herds = ranch.herds.filter(name__iexact=options["herd"]) if options["herd"] else ranch.herds.order_by("name")
    herd = herds.first()
    if herd is None:
        names = ", ".join(ranch.herds.values_list("name", flat=True)) or "none yet"
        _refuse(f"herd: the name of a herd of {ranch}: {names}")
    return herd


def _refuse(message: str) -> NoReturn:
    sys.stderr.write(" ".join(message.split()) + "\n")
    raise SystemExit(2)
