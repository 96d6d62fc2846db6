"""`manage.py check_plan SEASON.json PLAN.json --json`: the independent checker."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from accounts.management.strict import StrictCommand
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import Report, check
from scheduling.kernel.plan import load_plan
from scheduling.kernel.reader import ReadError
from scheduling.kernel.season import load_season
from scheduling.management.files import read_json


class Command(StrictCommand):
    """Exit 0: no rule broken; 1: rules broken; 2: a file cannot be used."""

    help = "Check a plan file against its season file: every rule, and the cost recomputed."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Two files."""
        parser.add_argument("season", type=Path)
        parser.add_argument("plan", type=Path)
        parser.add_argument("--json", action="store_true", help="print one JSON document")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the report and exit as the class says."""
        try:
            season = load_season(read_json(options["season"], "season"), load_catalogue().protocols)
            plan = load_plan(read_json(options["plan"], "plan"))
        except ReadError as fault:
            self.refuse(str(fault))
        report = check(season, plan)
        self.stdout.write(json.dumps(document(report), indent=1) if options["json"] else text(report))
        if report.broken:
            raise SystemExit(1)


def document(report: Report) -> dict[str, Any]:
    """The report as JSON."""
    cost = asdict(report.cost)
    total = cost.pop("total")
    broken = [{**asdict(item), "about": list(item.about)} for item in report.broken]
    return {"ok": not report.broken, "broken": broken, "cost": {"total": total, "parts": cost}}


def text(report: Report) -> str:
    """The report for people."""
    lines = [f"rule {item.rule}: {item.text}" for item in report.broken] or ["No rule is broken."]
    return "\n".join([*lines, f"Cost {report.cost.total:g}"])
