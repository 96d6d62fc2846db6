"""`manage.py run_parts [--once]`: plan parts of seasons that other workers give away, on the database alone."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import close_old_connections

from scheduling.services.parts import run_part_once


class Command(BaseCommand):
    """The loop of a worker for parts; start as many as HERDPLAN_PART_WORKERS says, on any machine that reaches the database."""

    help = "Plan parts of seasons as they come."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One switch and how often to look."""
        parser.add_argument("--once", action="store_true", help="plan what waits, then end")
        parser.add_argument("--every", type=float, default=0.5, help="seconds between looks")

    def handle(self, *args: Any, **options: Any) -> None:
        """Loop until stopped."""
        while True:
            while run_part_once():
                pass
            if options["once"]:
                return
            close_old_connections()
            time.sleep(options["every"])
