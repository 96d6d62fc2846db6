"""The database rule that no technician is in two places: an exclusion constraint on PostgreSQL, triggers on SQLite.

It is installed by a migration and again after every migrate, because SQLite drops a table's triggers whenever a later
migration rebuilds the table.
"""

from typing import Any

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

MESSAGE = "technician is already booked"
_LIVE = "('held', 'confirmed')"
_POSTGRES = f"""
CREATE EXTENSION IF NOT EXISTS btree_gist;
ALTER TABLE scheduling_booking DROP CONSTRAINT IF EXISTS technician_in_one_place;
ALTER TABLE scheduling_booking ADD CONSTRAINT technician_in_one_place EXCLUDE USING gist
  (technician_id WITH =, tstzrange(busy_starts, busy_ends, '[)') WITH &&) WHERE (status IN {_LIVE});
"""
_SQLITE = """
CREATE TRIGGER technician_in_one_place_{event} BEFORE {event} ON scheduling_booking
WHEN NEW.status IN {live} AND EXISTS (
  SELECT 1 FROM scheduling_booking other
  WHERE other.technician_id = NEW.technician_id AND other.id <> NEW.id AND other.status IN {live}
    AND other.busy_starts < NEW.busy_ends AND NEW.busy_starts < other.busy_ends)
BEGIN SELECT RAISE(ABORT, '{message}'); END;
"""


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the rule on the bookings table of this database (again, where it is already there)."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES)
            return
        for event in ("INSERT", "UPDATE"):
            cursor.execute(f"DROP TRIGGER IF EXISTS technician_in_one_place_{event}")
            cursor.execute(_SQLITE.format(event=event, live=_LIVE, message=MESSAGE))


def is_installed(connection: BaseDatabaseWrapper) -> bool:
    """Whether the rule stands in this database."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT count(*) FROM pg_constraint WHERE conname = 'technician_in_one_place'")
            return bool(cursor.fetchone()[0] == 1)
        cursor.execute(
            "SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'technician_in_one_place_%'"
        )
        return bool(cursor.fetchone()[0] == 2)


def reinstall_after_migrate(sender: Any, using: str, **_: Any) -> None:
    """The post_migrate receiver."""
    install(connections[using])
