"""`manage.py prepare`: bring database, shared cache and static files to where this version needs them."""

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import connection
from django.db.migrations.executor import MigrationExecutor


class Command(BaseCommand):
    """Does what is missing and nothing else."""

    help = "Migrate the database, make the cache table and collect static files where needed."

    def handle(self, *args: Any, **options: Any) -> None:
        """Each of the three only where it is behind."""
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            self.stdout.write("Preparing the database ...")
            call_command("migrate", interactive=False, verbosity=0)
        if not settings.REDIS_URL:
            call_command("createcachetable", verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
