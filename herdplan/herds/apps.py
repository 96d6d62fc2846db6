"""The herds app."""

from django.apps import AppConfig


class HerdsConfig(AppConfig):
    """Configuration of herdplan.herds."""

    name = "herdplan.herds"
    label = "herds"
