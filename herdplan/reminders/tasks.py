"""The doorbell of the outbox."""

from celery import shared_task
from django.utils import timezone

from herdplan.reminders.evening import sweep
from herdplan.reminders.services import run_once


@shared_task
def ring_outbox() -> None:
    """Make the reminders that should exist and send what is due."""
    sweep(now=timezone.now())
    run_once(now=timezone.now())
