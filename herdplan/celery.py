"""Celery as a doorbell: its tasks carry no data; the database is the queue of record."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "herdplan.settings")
app = Celery("herdplan")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.conf.beat_schedule = {
    "outbox": {"task": "herdplan.reminders.tasks.ring_outbox", "schedule": 5.0, "options": {"expires": 5}},
    "mailbox": {"task": "herdplan.calendars.tasks.ring_mailbox", "schedule": 60.0, "options": {"expires": 60}},
    "jobs": {"task": "scheduling.tasks.ring_jobs", "schedule": 2.0, "options": {"expires": 2}},
}
