"""The scheduling app: the plan."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate

from scheduling import double_booking


class SchedulingConfig(AppConfig):
    """Configuration of scheduling."""

    name = "scheduling"

    def ready(self) -> None:
        """Put the double-booking rule back after every migrate."""
        post_migrate.connect(double_booking.reinstall_after_migrate, sender=self)
