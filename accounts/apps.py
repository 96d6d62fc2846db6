"""The accounts app: people, co-operatives, memberships."""

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    """Configuration of accounts."""

    name = "accounts"
