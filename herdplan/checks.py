"""System checks of a deployment, beyond Django's own."""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Tags, Warning, register
from django.db import connections

from scheduling import double_booking


@register(Tags.database)
def bookings_are_guarded(app_configs: Any, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """The rule against double booking must stand in the database (checked by `check --database default`).

    A warning, not an error: an error would stop `migrate`, which is what puts the rule back.
    """
    found: list[CheckMessage] = []
    for name in databases or ():
        connection = connections[name]
        if "scheduling_booking" in connection.introspection.table_names() and not double_booking.is_installed(
            connection
        ):
            found.append(
                Warning(
                    "The database does not hold the rule that no technician is booked twice.",
                    hint="Run manage.py migrate; it puts the rule back.",
                    id="herdplan.W002",
                )
            )
    return found


@register(Tags.security, deploy=True)
def mail_leaves(app_configs: Any, **_: Any) -> list[CheckMessage]:
    """Without a mail server reminders and invitations stay in a folder."""
    if settings.EMAIL_HOST:
        return []
    return [
        Warning(
            "No mail server is set: reminders and invitations are written to files.",
            hint="Set HERDPLAN_EMAIL_HOST.",
            id="herdplan.W001",
        )
    ]
