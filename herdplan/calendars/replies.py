"""Answers that calendars send by mail (METHOD:REPLY, RFC 5546, 3.2.3), read out of a mailbox."""

import logging
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from datetime import timezone as utc
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

import icalendar

from herdplan.calendars.answers import record_reply
from herdplan.calendars.mailbox import Mailbox

_ANSWERS = {"ACCEPTED": "accepted", "DECLINED": "declined", "TENTATIVE": "tentative"}
_LARGEST = 2_000_000
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Reply:
    """One person's answer to one event."""

    uid: str
    address: str
    answer: str
    sequence: int
    at: datetime
    comment: str


def read_replies(mailbox: Mailbox, *, now: datetime) -> Counter[str]:
    """Take every unread message once; counts by what became of them. A message that cannot be read is left aside."""
    counts: Counter[str] = Counter()
    for identity in mailbox.unread():
        raw = mailbox.fetch(identity)
        try:
            found = list(replies_in(raw))
        except Exception as fault:  # whatever strangers send must not stop the answers behind it
            log.warning("Message %s cannot be read: %s", identity, fault)
            found, counts["unreadable"] = [], counts["unreadable"] + 1
        else:
            counts["no reply"] += not found
        for reply in found:
            counts[_record(reply, now)] += 1
        mailbox.done(identity)
    return +counts


def _record(reply: Reply, now: datetime) -> str:
    return record_reply(
        uid=reply.uid,
        address=reply.address,
        answer=reply.answer,
        sequence=reply.sequence,
        at=reply.at,
        now=now,
        comment=reply.comment,
    )


def replies_in(raw: bytes) -> Iterator[Reply]:
    """Replies in a message, in whichever part calendars put them; a copy in an attachment counts once."""
    if len(raw) > _LARGEST:
        raise ValueError("larger than 2 MB")
    message = message_from_bytes(raw, policy=policy.default)
    seen: set[Reply] = set()
    for part in message.walk():
        if part.get_content_type() not in ("text/calendar", "application/ics"):
            continue
        for reply in _replies(_text(part)):
            if reply not in seen:
                seen.add(reply)
                yield reply


def _text(part: EmailMessage) -> str:
    content = part.get_payload(decode=True)
    assert isinstance(content, bytes)
    return content.decode(part.get_content_charset() or "utf-8", "replace")


def _replies(text: str) -> Iterator[Reply]:
    for calendar in icalendar.Calendar.from_ical(text, multiple=True):
        if str(calendar.get("METHOD", "")).upper() != "REPLY":
            continue
        for event in calendar.walk("VEVENT"):
            yield from _answers(event)


def _answers(event: Any) -> Iterator[Reply]:
    attendees = event.get("ATTENDEE", [])
    for attendee in attendees if isinstance(attendees, list) else [attendees]:
        answer = _ANSWERS.get(str(attendee.params.get("PARTSTAT", "")).upper())
        if answer is not None:
            yield Reply(
                uid=str(event["UID"]),
                address=_address(str(attendee)),
                answer=answer,
                sequence=int(event.get("SEQUENCE", 0)),
                at=event["DTSTAMP"].dt.astimezone(utc.utc),
                comment=_comment(event),
            )


def _address(value: str) -> str:
    return value[7:] if value.lower().startswith("mailto:") else value


def _comment(event: Any) -> str:
    comments = event.get("COMMENT", "")
    return " ".join(str(item) for item in comments) if isinstance(comments, list) else str(comments)
