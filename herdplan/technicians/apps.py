"""The technicians app."""

from django.apps import AppConfig


class TechniciansConfig(AppConfig):
    """Configuration of herdplan.technicians."""

    name = "herdplan.technicians"
    label = "technicians"
