"""`manage.py restore DIR`: bring a copy back, into an empty PostgreSQL database or in place of the SQLite file."""

import sqlite3
from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from accounts.models import User
from herdplan.calendars.floor import raise_floor
from herdplan.calendars.taking_back import forgotten
from herdplan.management.commands.backup import ROWS, SQLITE


class Command(BaseCommand):
    """Refuses to write over people that are there already, unless told to."""

    help = "Bring back a copy that `backup` wrote."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where from."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--over", action="store_true", help="replace what is in the SQLite database now")

    def handle(self, *args: Any, **options: Any) -> None:
        """The kind of copy must be that of the database in use."""
        folder: Path = options["folder"]
        name = SQLITE if connection.vendor == "sqlite" else ROWS
        if not (folder / name).is_file():
            raise CommandError(f"folder: one that holds {name}; {folder} does not")
        call_command("migrate", interactive=False, verbosity=0)
        if User.objects.exists() and not (options["over"] and connection.vendor == "sqlite"):
            raise CommandError("database: an empty one (SQLite: or --over); there are people in this one")
        if connection.vendor == "sqlite":
            connection.ensure_connection()
            with sqlite3.connect(folder / SQLITE) as copy:
                copy.backup(connection.connection)
            copy.close()
            call_command("migrate", interactive=False, verbosity=0)
        else:
            call_command("loaddata", str(folder / ROWS), verbosity=0)
        raise_floor(now=timezone.now())
        self.stdout.write(f"Restored from {folder}. Calendars are told everything anew, with higher versions.")
        for told in forgotten(now=timezone.now()):
            begins = f"{told.starts.astimezone(ZoneInfo(told.zone)):%a %d %b %Y, %H:%M}"
            self.stdout.write(
                f"Called off by mail, because this copy does not know it: {told.address}, {begins}, {told.summary}"
            )
