"""Celery as a doorbell: its tasks carry no data; the database is the queue of record."""

import os

from celery import Celery
from django.utils import timezone

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "herdplan.settings")
app = Celery("herdplan")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.beat_schedule = {
    "outbox": {"task": "herdplan.celery.ring_outbox", "schedule": 5.0, "options": {"expires": 5}},
    "jobs": {"task": "herdplan.celery.ring_jobs", "schedule": 2.0, "options": {"expires": 2}},
}


@app.task
def ring_outbox() -> None:
    """Make the reminders that should exist and send what is due."""
    from herdplan.reminders.evening import sweep  # noqa: PLC0415  # the apps are not ready when Celery loads this file
    from herdplan.reminders.services import run_once  # noqa: PLC0415

    sweep(now=timezone.now())
    run_once(now=timezone.now())


@app.task
def ring_jobs() -> None:
    """Run planning jobs that wait."""
    from scheduling.services import run_jobs_once  # noqa: PLC0415

    run_jobs_once(now=timezone.now)
