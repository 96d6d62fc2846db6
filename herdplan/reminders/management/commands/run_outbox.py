"""`manage.py run_outbox [--once]`: the reminder loop on the database alone."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import close_old_connections
from django.utils import timezone

from herdplan.reminders.evening import sweep
from herdplan.reminders.services import run_once


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
            now = timezone.now()
            sweep(now=now)
            sent = run_once(now=now)
            if options["once"]:
                self.stdout.write(f"{sent} messages taken up.")
                return
            close_old_connections()
            time.sleep(options["every"])
