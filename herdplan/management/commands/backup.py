"""`manage.py backup DIR`: a consistent copy of the database, of SQLite or PostgreSQL, taken while the site runs."""

import sqlite3
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction

SQLITE, ROWS = "herdplan.sqlite3", "rows.json"
# Rows that every database makes for itself, and those that are worth nothing elsewhere.
LEFT_OUT = ("contenttypes", "auth.permission", "sessions", "admin.logentry", "usersessions")


class Command(BaseCommand):
    """Writes into an empty or new folder."""

    help = "Write a consistent copy of the database into a folder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to."""
        parser.add_argument("folder", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        """SQLite through its own online copy; PostgreSQL as rows read in one repeatable-read transaction."""
        folder: Path = options["folder"]
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise CommandError(f"folder: a new or empty one; {folder} holds files already")
        if connection.vendor == "sqlite":
            connection.ensure_connection()
            with sqlite3.connect(folder / SQLITE) as copy:
                connection.connection.backup(copy)
            copy.close()
        else:
            with transaction.atomic():
                with connection.cursor() as cursor:
                    cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
                call_command("dumpdata", exclude=LEFT_OUT, output=str(folder / ROWS), verbosity=0)
        self.stdout.write(f"Copied to {folder}.")
