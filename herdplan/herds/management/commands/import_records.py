"""`manage.py import_records --coop SLUG --ranch SLUG FILE [--dry-run]`: records of females in, all or nothing."""

from argparse import ArgumentParser
from datetime import date
from pathlib import Path
from typing import Any

from django.utils import timezone

from accounts.management.strict import StrictCommand, refuse
from accounts.models import User
from accounts.permissions import Permission
from accounts.tenancy import Member, member_in
from accounts.units import Units
from herdplan.herds import queries
from herdplan.herds.management.ranches import herd_of
from herdplan.herds.models import Herd
from herdplan.herds.record_sheets import (
    WORDS,
    Matched,
    RecordReport,
    RecordRow,
    as_text,
    guess,
    judge_table,
    match_faults,
)
from herdplan.herds.services import save_observed
from herdplan.herds.tables import SheetError, read_table
from herdplan.herds.typed import DAY_ORDERS, TypingFault, read_day


class Command(StrictCommand):
    """Row-by-row report on stdout; exit 2 and one line on stderr where something cannot be used."""

    help = "Import records of females from CSV or XLSX. Columns are matched by their names; units in a name count."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to, what, and for whom."""
        parser.add_argument("--coop", required=True)
        parser.add_argument("--ranch", required=True)
        parser.add_argument("--herd", help="name of the herd (the ranch's first where nothing is said)")
        parser.add_argument(
            "--by", required=True, help="e-mail of the person who takes them in; units as in the profile"
        )
        parser.add_argument("--day", help="day of rows without one, year-month-day")
        parser.add_argument("--days", choices=sorted(DAY_ORDERS), default="ymd", help="order of days in the sheet")
        parser.add_argument("--keep", action="store_true", help="take in rows that are only questioned")
        parser.add_argument("--dry-run", action="store_true")
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        """Judge, report, save."""
        herd, member = herd_of(options), _member(options)
        report = _report(options, herd, member)
        for row in report.rows:
            self.stdout.write(f"line {row.line}: {row.tag or '(no tag)'}: {_said(row)}")
        _refuse_bad(report, options["keep"])
        if options["dry_run"]:
            self.stdout.write(f"{report.count} records would come in; nothing was saved.")
            return
        saved = save_observed(member=member, ranch=herd.ranch, items=report.items, now=timezone.now())
        self.stdout.write(f"{saved.written} records are in {herd}; {saved.same} stood there already.")


def _member(options: dict[str, Any]) -> Member:
    user = User.objects.filter(email__iexact=options["by"], memberships__cooperative__slug=options["coop"]).first()
    if user is None:
        refuse(f"by: the e-mail of somebody in co-op {options['coop']}; {options['by']} is not")
    member = member_in(user, options["coop"])
    ranch = herd_of(options).ranch
    if not queries.may_edit(member, ranch, Permission.FEMALE_EDIT):
        refuse(f"by: somebody who may change females of {ranch}; {options['by']} may not")
    return member


def _report(options: dict[str, Any], herd: Herd, member: Member) -> RecordReport:
    try:
        table = as_text(read_table(options["file"].name, options["file"].read_bytes()))
    except OSError as fault:
        refuse(f"file: a file that can be read; {options['file']}: {fault.strerror}")
    except SheetError as fault:
        refuse(f"file: {fault}")
    fields = guess(table[0], Units.of(member.user))
    fault_text = match_faults(fields)
    if fault_text:
        refuse(f"columns: {fault_text} Known names: {', '.join(WORDS.values())}")
    today = herd.ranch.day_at(timezone.now())
    return judge_table(
        table,
        Matched(tuple(fields), options["days"], _day(options["day"])),
        queries.herd_histories(member, herd),
        today,
    )


def _day(text: str | None) -> date | None:
    try:
        return read_day(text) if text else None
    except TypingFault as fault:
        refuse(f"day: {fault}")


def _said(row: RecordRow) -> str:
    refused = [f"{name}: {text}" for name, text in row.faults.items()]
    asked = [f"{name}, is this right? {text}" for name, text in row.questions.items()]
    return "; ".join([*refused, *asked]) or "ready"


def _refuse_bad(report: RecordReport, keep: bool) -> None:
    if report.bad:
        name, text = next(iter(report.bad[0].faults.items()))
        refuse(f"{name}: {text} ({len(report.bad)} rows have faults; nothing was saved)")
    if report.doubtful and not keep:
        name, text = next(iter(report.doubtful[0].questions.items()))
        refuse(f"{name}: {text} ({len(report.doubtful)} rows are questioned; --keep takes them in; nothing was saved)")
    if not report.count:
        refuse("file: at least one row with a record; nothing was saved")
