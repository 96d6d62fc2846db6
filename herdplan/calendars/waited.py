"""Who has to wait at the sessions of a feed's rows: found once for all of them, and part of what each is kept under."""

from collections.abc import Iterable
from uuid import UUID

from herdplan.calendars.quick import Row, instant, key_text
from scheduling.services.waiting import Session, rules_of_some, waits_at


def waited(rows: Iterable[Row], fields: tuple[str, ...]) -> list[Row]:
    """The rows with who has to wait there (or None) in place of their entry, the last column. `fields` names the columns.

    One query; none where no row is of a session to which only some of a lot come. What was called off says nothing.
    """
    found = list(rows)
    key = fields.index("key" if "key" in fields else "step")
    status, starts, lot, protocol, zone = (
        fields.index(name) for name in ("status", "starts", "lot", "protocol", "zone")
    )
    sessions = {
        i: Session(UUID(key_text(row[-1])), row[lot], row[protocol], row[key], instant(row[starts]), row[zone])
        for i, row in enumerate(found)
        if row[key] in rules_of_some(row[protocol]) and row[status] != "cancelled"
    }
    waits = waits_at(sessions.values())
    return [(*row[:-1], waits.get(sessions[i]) if i in sessions else None) for i, row in enumerate(found)]
