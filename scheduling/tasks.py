"""The doorbell of the planning jobs."""

from celery import shared_task
from django.utils import timezone

from scheduling.services import run_jobs_once
from scheduling.services.parts import run_part_once


@shared_task
def ring_jobs() -> None:
    """Run planning jobs that wait."""
    run_jobs_once(now=timezone.now)


@shared_task
def ring_parts() -> None:
    """Plan the parts of seasons that wait."""
    while run_part_once():
        pass
