"""Columns as the driver hands them out: a feed of 200 events reads a thousand times and keys, and most of a cold feed went
into their readers. What they say is read where an event is written, and not at all where its fragment is kept.
"""

from datetime import datetime
from typing import Any

from django.db import connections
from django.db.models import ExpressionWrapper, F, Field, QuerySet

# A row as the driver gives it.
Row = tuple[Any, ...]


class Raw(ExpressionWrapper[Any]):
    """A time or a UUID for `values_list`, by the path of its column, as the driver gives it."""

    def __init__(self, path: str) -> None:
        super().__init__(F(path), output_field=Field())

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, Any]:
        """As an expression, for which SQLite's driver calls no reader of its own; of NULL it is NULL."""
        sql, given = super().as_sql(compiler, connection)
        return f"({sql} || '')", given


def instant(value: Any) -> datetime:
    """The aware time that a DateTimeField would read. SQLite keeps text in UTC, PostgreSQL hands out aware times."""
    return datetime.fromisoformat(value + "+00:00") if isinstance(value, str) else value


def key_text(value: Any) -> str:
    """A UUID with its dashes. SQLite keeps 32 digits, PostgreSQL hands out UUIDs."""
    if isinstance(value, str):
        return f"{value[:8]}-{value[8:12]}-{value[12:16]}-{value[16:20]}-{value[20:]}"
    return str(value)


class Prepared:
    """A query whose SQL is written once a database: Django writes longer at it than the database reads a feed's rows."""

    def __init__(self, query: QuerySet[Any, Any]) -> None:
        self._query = query
        self._sql: dict[tuple[str, ...], tuple[str, list[Any]]] = {}

    def rows(self, **lookups: Any) -> list[Row]:
        """The rows where all lookups on fields of the model itself hold."""
        connection = connections[self._query.db]
        names = sorted(lookups)  # the order in which Django writes them
        given = [self._field(name).get_db_prep_value(lookups[name], connection) for name in names]
        key = (connection.vendor, *names)
        if key not in self._sql:
            sql, asked = self._query.filter(**lookups).query.get_compiler(connection=connection).as_sql()
            own = list(asked)[: len(asked) - len(given)]  # of what is selected; what is looked up by comes after it
            if list(asked) != own + given:
                raise TypeError(f"{', '.join(names)}: not lookups whose values stand in the query as they are")
            self._sql[key] = sql, own
        sql, own = self._sql[key]
        with connection.cursor() as cursor:
            cursor.execute(sql, own + given)
            found: list[Row] = cursor.fetchall()
            return found

    def _field(self, name: str) -> Any:
        return self._query.model._meta.get_field(name.partition("__")[0])
