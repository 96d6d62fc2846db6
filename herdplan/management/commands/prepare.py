"""`manage.py prepare`: bring database, shared cache, static files and machine code to where this version needs them."""

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from scheduling.services import machine_code


class Command(BaseCommand):
    """Does what is missing and nothing else."""

    help = "Migrate the database, make the cache table, collect static files and compile the planner where needed."

    def handle(self, *args: Any, **options: Any) -> None:
        """Each of the four only where it is behind."""
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            self.stdout.write("Preparing the database ...")
            call_command("migrate", interactive=False, verbosity=0)
        if not settings.REDIS_URL:
            call_command("createcachetable", verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
        if not machine_code.is_ready():
            self.stdout.write("Preparing the planner for this machine: about half a minute, once ...")
            machine_code.make_ready()
