"""`manage.py optimize SEASON.json --out PLAN.json`: plan a season file without touching the database."""

import os
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from accounts.management.strict import StrictCommand
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.plan import Plan, load_plan, plan_bytes
from scheduling.kernel.reader import ReadError
from scheduling.kernel.search import Budget, Progress, solve
from scheduling.kernel.season import load_season
from scheduling.management.files import read_json
from scheduling.processes import helpers_for

_DEFAULT_SECONDS = 10.0
_EXIT = {"complete": 0, "partial": 3, "empty": 4}


class Command(StrictCommand):
    """Exit 0: complete; 3: some groups unplaced; 4: nothing placed; 2: a file or argument cannot be used."""

    help = "Plan a season file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Files and budget."""
        parser.add_argument("season", type=Path)
        parser.add_argument("--out", type=Path, required=True)
        parser.add_argument("--seconds", help="how long to search (10 where nothing is said)")
        parser.add_argument("--rounds", help="how many rounds to search: the same plan every time")
        parser.add_argument("--seed", default="1")
        parser.add_argument("--keep", type=Path, help="an earlier plan to change as little as possible")

    def handle(self, *args: Any, **options: Any) -> None:
        """Plan, write the file, exit by the result."""
        try:
            budget, seed = _budget(options), int(_number("seed", options["seed"], 0, 2**31, whole=True))
            _try_to_write(options["out"])
            season = load_season(read_json(options["season"], "season"), load_catalogue().protocols)
            keep = _kept(options["keep"]) if options["keep"] else None
        except ReadError as fault:
            self.refuse(str(fault))
        helpers = helpers_for(budget.seconds)
        plan = solve(
            season, seed=seed, budget=budget, keep=keep, clock=time.monotonic, progress=_Bar(), helpers=helpers
        )
        try:
            _write(options["out"], plan)
        except OSError as fault:
            self.refuse(f"out: a file that can be written; {options['out']}: {fault.strerror}")
        out = ", ".join(item.group for item in plan.unplaced[:10])
        sys.stderr.write(f"\n{plan.status}: cost {plan.cost.total:g}{', unplaced: ' + out if out else ''}\n")
        raise SystemExit(_EXIT[plan.status])


class _Bar:
    """Progress on stderr, a line that is written over, once in a while."""

    def __init__(self) -> None:
        self.last = -1

    def __call__(self, progress: Progress) -> None:
        percent = int(progress.share * 100)
        if percent == self.last:
            return
        self.last = percent
        bar = "#" * (percent // 5)
        sys.stderr.write(f"\r[{bar:<20}] {percent:3d} %  {progress.placed} groups, cost {progress.best_cost:.0f}  ")
        sys.stderr.flush()


def _budget(options: dict[str, Any]) -> Budget:
    if options["seconds"] is not None and options["rounds"] is not None:
        raise ReadError("seconds", "either --seconds or --rounds")
    if options["rounds"] is not None:
        return Budget(rounds=int(_number("rounds", options["rounds"], 0, 100_000_000, whole=True)))
    seconds = options["seconds"]
    return Budget(seconds=_DEFAULT_SECONDS if seconds is None else _number("seconds", seconds, 0.05, 86_400))


def _number(name: str, value: str, low: float, high: float, whole: bool = False) -> float:
    kind = "whole number" if whole else "number"
    try:
        number = float(int(value)) if whole else float(value)
    except (ValueError, OverflowError):
        raise ReadError(name, f"a {kind} from {low:g} to {high:g}") from None
    if not low <= number <= high:
        raise ReadError(name, f"a {kind} from {low:g} to {high:g}")
    return number


def _kept(path: Path) -> Plan:
    """The plan to keep; a fault names the argument, since the season has fields of the same names."""
    try:
        return load_plan(read_json(path, "keep"))
    except ReadError as fault:
        raise fault if fault.field == "keep" else ReadError(f"keep.{fault.field}", fault.allowed) from None


def _part(path: Path) -> Path:
    return path.with_name(f".{path.name}.part{os.getpid()}")


def _try_to_write(path: Path) -> None:
    """Refuse a place that cannot be written to before the search, not after it."""
    try:
        if path.is_dir() or not path.absolute().parent.is_dir():
            raise ReadError("out", f"a file in a folder that exists, not {path}")
        _part(path).touch()
        _part(path).unlink()
    except OSError as fault:
        raise ReadError("out", f"a file that can be written; {path}: {fault.strerror}") from None


def _write(path: Path, plan: Plan) -> None:
    """Whole or not at all."""
    part = _part(path)
    try:
        part.write_bytes(plan_bytes(plan))
        part.replace(path)
    except OSError:
        part.unlink(missing_ok=True)
        raise
