"""The doorbell of the outbox."""

import time

from celery import shared_task

from herdplan.reminders.services import turn

# A worker that is asked to stop lets its task end; the next ring takes up what is left.
_LONGEST_S = 20.0


@shared_task
def ring_outbox() -> None:
    """Make the reminders that should exist and send what is due."""
    end = time.monotonic() + _LONGEST_S
    turn(lambda: time.monotonic() > end)
