"""The doorbell of the outbox."""

from celery import shared_task

from herdplan.reminders.services import turn


@shared_task
def ring_outbox() -> None:
    """Make the reminders that should exist and send what is due."""
    turn()
