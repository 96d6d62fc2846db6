"""A feed of every kind of a published group, and what stands in it."""

from typing import Any

import icalendar
from django.test import Client

from herdplan.calendars.models import FeedToken
from herdplan.calendars.services import digest
from tests.factories.published import Published


def give_feeds(made: Published) -> None:
    """A technician's, a herd's and a coordinator's feed; the name of each kind is its token."""
    for name, user, subject in (
        ("technician", made.worker, {"technician": made.technician}),
        ("herd", made.rancher, {"herd": made.entry.group.herd}),
        ("coop", made.coordinator, {}),
    ):
        FeedToken.objects.create(
            cooperative=made.coop, owner=user, name=name, kind=name, token_hash=digest(name), **subject
        )


def read_feed(name: str) -> dict[str, Any]:
    """The feed's steps and stops by UID."""
    answer = Client().get(f"/feeds/{name}.ics")
    assert answer.status_code == 200
    events = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    return {str(item["UID"]): item for item in events if str(item["UID"]).startswith(("step-", "booking-"))}
