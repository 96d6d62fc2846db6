"""The calendars app."""

from importlib import import_module

from django.apps import AppConfig


class CalendarsConfig(AppConfig):
    """Configuration of herdplan.calendars."""

    name = "herdplan.calendars"
    label = "calendars"

    def ready(self) -> None:
        """Hang invitations into the outbox."""
        import_module("herdplan.calendars.doors")
