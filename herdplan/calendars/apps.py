"""The calendars app."""

from django.apps import AppConfig


class CalendarsConfig(AppConfig):
    """Configuration of herdplan.calendars."""

    name = "herdplan.calendars"
    label = "calendars"
