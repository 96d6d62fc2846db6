"""`manage.py import_herd --coop SLUG --ranch SLUG FILE [--dry-run]`: females in, all or nothing."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.utils import timezone

from accounts.management.strict import StrictCommand, refuse
from herdplan.herds.management.ranches import herd_of
from herdplan.herds.sheets import read_sheet, save_sheet
from herdplan.herds.tables import SheetError


class Command(StrictCommand):
    """Row-by-row report on stdout; exit 2 and one line on stderr where something cannot be used."""

    help = "Import females from CSV or XLSX."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to and what."""
        parser.add_argument("--coop", required=True)
        parser.add_argument("--ranch", required=True)
        parser.add_argument("--herd", help="name of the herd (the ranch's first where nothing is said)")
        parser.add_argument("--dry-run", action="store_true")
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        """Judge, report, save."""
        herd = herd_of(options)
        try:
            report = read_sheet(options["file"].name, options["file"].read_bytes(), herd, timezone.localdate())
        except OSError as fault:
            refuse(f"file: a file that can be read; {options['file']}: {fault.strerror}")
        except SheetError as fault:
            refuse(f"file: {fault}")
        for row in report.rows:
            faults = "; ".join(f"{name}: {text}" for name, text in row.faults.items())
            self.stdout.write(f"line {row.line}: {row.tag or '(no tag)'}: {faults or 'ready'}")
        for name in report.unknown:
            self.stdout.write(f"column {name}: not known, passed over")
        if not report.good:
            first = next(iter(report.bad[0].faults.items())) if report.bad else ("file", "at least one row")
            refuse(f"{first[0]}: {first[1]} ({len(report.bad)} rows have faults; nothing was saved)")
        if options["dry_run"]:
            self.stdout.write(f"{len(report.rows)} females would come in; nothing was saved.")
            return
        self.stdout.write(f"{save_sheet(report, herd)} females are in {herd}.")
