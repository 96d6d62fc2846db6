"""`manage.py demo`: load the demo co-ops."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from accounts.models import Cooperative
from herdplan import demo


class Command(BaseCommand):
    """Loads the demo co-ops; run again, it changes nothing."""

    help = "Load the invented demo co-ops (safe to run again)."

    def add_arguments(self, parser: CommandParser) -> None:
        """One switch for the start script."""
        parser.add_argument("--if-empty", action="store_true", help="do nothing where there is a co-op already")

    def handle(self, *args: Any, **options: Any) -> None:
        """Say what was made."""
        if options["if_empty"] and Cooperative.objects.exists():
            return
        made = demo.load()
        for coop in made:
            self.stdout.write(f"Loaded {coop.name}.")
        if not made:
            self.stdout.write("The demo co-ops are already there.")
