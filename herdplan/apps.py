"""The site as an app: its checks and commands."""

from importlib import import_module

from django.apps import AppConfig


class HerdplanConfig(AppConfig):
    """Configuration of the site."""

    name = "herdplan"

    def ready(self) -> None:
        """Register the system checks."""
        import_module("herdplan.checks")
