"""The test button: one message through one door, to oneself."""

import uuid
from datetime import datetime, timedelta

from django.conf import settings
from django.utils import translation

from accounts.tenancy import Member
from herdplan.reminders.services.outbox import enqueue
from herdplan.reminders.services.people import Door, profile_of
from herdplan.reminders.texts import test_text


def send_trial(*, member: Member, door: Door, now: datetime) -> None:
    """Queue a test message; what came of it stands on the page of channels."""
    with translation.override(profile_of(member.user).language):
        subject, body = test_text(settings.BASE_URL)
    enqueue(
        cooperative=member.cooperative,
        user=member.user,
        channel=door.channel,
        address=door.address,
        purpose="test",
        subject=subject,
        body=body,
        dedup=f"test|{uuid.uuid4()}",
        due=now,
        expires=now + timedelta(hours=1),
        now=now,
    )
