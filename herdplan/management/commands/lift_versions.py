"""`manage.py lift_versions`: after an older database was brought back by other means than `restore`, on another machine."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from herdplan.calendars.floor import raise_floor


class Command(BaseCommand):
    """Calendars ignore a version that is not higher than the one they hold; this lifts all of them."""

    help = "Publish everything to calendars with higher versions than before (after bringing back an older database)."

    def handle(self, *args: Any, **options: Any) -> None:
        """Safe to repeat."""
        count = raise_floor(now=timezone.now())
        self.stdout.write(f"What calendars show of {count} ranches has a higher version.")
