"""`manage.py demo`: load the demo co-ops."""

from typing import Any

from django.core.management.base import BaseCommand

from herdplan import demo


class Command(BaseCommand):
    """Loads the demo co-ops; run again, it changes nothing."""

    help = "Load the invented demo co-ops (safe to run again)."

    def handle(self, *args: Any, **options: Any) -> None:
        """Say what was made."""
        made = demo.load()
        for coop in made:
            self.stdout.write(f"Loaded {coop.name}.")
        if not made:
            self.stdout.write("The demo co-ops are already there.")
