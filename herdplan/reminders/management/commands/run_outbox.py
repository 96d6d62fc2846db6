"""`manage.py run_outbox [--once]`: the reminder loop on the database alone."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from herdplan.reminders.services import turn


class Command(BaseCommand):
    """Makes the reminders that should exist and sends what is due."""

    help = "Send reminders and invitations as they come due."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One switch and how often to look."""
        parser.add_argument("--once", action="store_true", help="do what is due, then end")
        parser.add_argument("--every", type=float, default=5.0, help="seconds between looks")

    def handle(self, *args: Any, **options: Any) -> None:
        """Loop until stopped."""
        while True:
            taken = turn()
            if options["once"]:
                self.stdout.write(f"{taken} messages taken up.")
                return
            time.sleep(options["every"])
