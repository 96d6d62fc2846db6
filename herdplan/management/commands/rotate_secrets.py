"""`manage.py rotate_secrets`: encrypt every stored secret under the first key."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import models

from accounts.sealing import CALENDAR_PASSWORDS, SERVICE_ADDRESSES, Box, SealBroken
from herdplan.calendars import memory
from herdplan.calendars.models import OwnCollection
from herdplan.reminders.models import ServiceAddress

# Every column that holds something sealed. Parts of a search (PlanPart) carry a signature and are gone within minutes.
SEALED: tuple[tuple[type[models.Model], str, Box, str], ...] = (
    (OwnCollection, "secret", CALENDAR_PASSWORDS, "passwords of people's own calendars"),
    (ServiceAddress, "sealed", SERVICE_ADDRESSES, "addresses of message services"),
)


class Command(BaseCommand):
    """Run it after HERDPLAN_SECRET_KEY was changed and the old key put into HERDPLAN_SECRET_KEY_FALLBACKS."""

    help = "Encrypt what is stored of other people's secrets under the current key."

    def handle(self, *args: Any, **options: Any) -> None:
        """All that can be read; those that cannot are counted and named an error."""
        faults = []
        for model, column, box, what in SEALED:
            done, lost = _rotated(model, column, box)
            self.stdout.write(f"{done} {what} are under the current key.")
            if lost:
                faults.append(f"{lost} {what} cannot be read: their key is not in HERDPLAN_SECRET_KEY_FALLBACKS.")
        done, lost = memory.reseal()
        self.stdout.write(f"{done} lines of who was invited are under the current key.")
        if lost:
            faults.append(
                f"{lost} lines of who was invited cannot be read: their key is not in HERDPLAN_SECRET_KEY_FALLBACKS."
            )
        if faults:
            raise CommandError(" ".join(faults))


def _rotated(model: type[models.Model], column: str, box: Box) -> tuple[int, int]:
    """How many rows of a table were sealed anew, and how many no key opens. A row that changes meanwhile is left as it is."""
    done, lost = 0, 0
    for key, sealed in model._default_manager.values_list("pk", column):
        try:
            model._default_manager.filter(pk=key, **{column: sealed}).update(**{column: box.reseal(sealed)})
            done += 1
        except SealBroken:
            lost += 1
    return done, lost
