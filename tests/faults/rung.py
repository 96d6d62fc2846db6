"""The site's Celery with the short waits of the fault tests, ringing twice a second."""

import django

django.setup()

from herdplan.celery import app  # noqa: E402
from tests.faults import worker  # noqa: E402

worker.rig()
app.conf.beat_schedule = {
    "outbox": {"task": "herdplan.reminders.tasks.ring_outbox", "schedule": 0.5, "options": {"expires": 5}}
}
