"""`manage.py run_outbox [--once]`: the reminder loop on the database alone."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from herdplan.reminders.services import turn
from herdplan.stopping import asked_to_stop


class Command(BaseCommand):
    """Makes the reminders that should exist and sends what is due."""

    help = "Send reminders and invitations as they come due."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One switch and how often to look."""
        parser.add_argument("--once", action="store_true", help="do what is due, then end")
        parser.add_argument("--every", type=float, default=5.0, help="seconds between looks")

    def handle(self, *args: Any, **options: Any) -> None:
        """Loop until asked to stop; the message in hand is sent and written down first, so that none is sent again."""
        with asked_to_stop() as stop:
            while not stop.is_set():
                taken = turn(stop.is_set)
                if options["once"]:
                    self.stdout.write(f"{taken} messages taken up.")
                    return
                stop.wait(options["every"])
