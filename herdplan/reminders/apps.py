"""The reminders app."""

from django.apps import AppConfig


class RemindersConfig(AppConfig):
    """Configuration of herdplan.reminders."""

    name = "herdplan.reminders"
    label = "reminders"
