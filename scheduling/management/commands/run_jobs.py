"""`manage.py run_jobs [--once]`: run planning jobs as they come, on the database alone."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import close_old_connections
from django.utils import timezone

from scheduling.services import run_jobs_once


class Command(BaseCommand):
    """The planning loop."""

    help = "Run planning jobs as they come."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One switch and how often to look."""
        parser.add_argument("--once", action="store_true", help="run what waits, then end")
        parser.add_argument("--every", type=float, default=1.0, help="seconds between looks")

    def handle(self, *args: Any, **options: Any) -> None:
        """Loop until stopped."""
        while True:
            run_jobs_once(now=timezone.now)
            if options["once"]:
                return
            close_old_connections()
            time.sleep(options["every"])
