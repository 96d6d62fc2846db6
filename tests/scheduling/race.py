"""One racer: tries again and again to book a technician at times that overlap with the other racers' times.

Run as a process of its own: `python -m tests.scheduling.race SEED TRIES`, with the database in the environment.
"""

import os
import random
import sys
import uuid
from datetime import datetime, timedelta, timezone

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "herdplan.settings")
django.setup()

from django.db import DatabaseError, transaction  # noqa: E402

from herdplan.technicians.models import Technician  # noqa: E402
from scheduling.models import Booking, SeasonEntry  # noqa: E402

_START = datetime(2027, 5, 10, 6, tzinfo=timezone.utc)


def main(seed: int, tries: int) -> None:
    """Book; print how many tries were accepted and how many were refused by the rule."""
    rng = random.Random(seed)
    people, entry = list(Technician.objects.all()), SeasonEntry.objects.get()
    accepted = refused = 0
    for _ in range(tries):
        starts = _START + timedelta(minutes=15 * rng.randrange(200))
        ends = starts + timedelta(minutes=15 * rng.randint(1, 8))
        try:
            with transaction.atomic():
                Booking.objects.create(
                    entry=entry,
                    technician=rng.choice(people),
                    lot=rng.randrange(30_000),
                    step=uuid.uuid4().hex[:30],
                    starts=starts,
                    ends=ends,
                    busy_starts=starts - timedelta(minutes=rng.choice((0, 20))),
                    busy_ends=ends,
                    head=1,
                    changed_at=_START,
                )
            accepted += 1
        except DatabaseError as fault:
            if "technician_in_one_place" not in str(fault) and "already booked" not in str(fault):
                raise
            refused += 1
    print(accepted, refused)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
