"""A small mail and calendar program: a real SMTP server that reads invitations as RFC 6047 and RFC 5546 ask of a receiver."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from email.utils import parseaddr
from typing import Any

import icalendar
from aiosmtpd.controller import Controller


@dataclass
class Entry:
    """An event in the receiver's calendar."""

    sequence: int
    status: str
    starts: datetime
    summary: str


@dataclass
class Receiver:
    """Takes mails; keeps a calendar a person. `refuse` maps addresses to the answer they get, e.g. "550 no such box"."""

    refuse: dict[str, str] = field(default_factory=dict)
    mails: list[tuple[str, EmailMessage]] = field(default_factory=list)
    calendars: dict[str, dict[str, Entry]] = field(default_factory=dict)
    seen: set[tuple[str, str]] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        """Take the address or refuse it."""
        if address in self.refuse:
            return self.refuse[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        """Take the mail."""
        mail = message_from_bytes(envelope.content, policy=policy.default)
        for address in envelope.rcpt_tos:
            self.mails.append((address, mail))
            key = (address, str(mail["Message-ID"]))
            if key not in self.seen:  # a repeat of the same mail is recognised
                self.seen.add(key)
                self._read(address, mail)
        return "250 OK"

    def _read(self, address: str, mail: EmailMessage) -> None:
        parts = [part for part in mail.walk() if part.get_content_type() == "text/calendar"]
        if len(parts) != 1:
            self.faults.append(f"{len(parts)} calendar parts")
            return
        part = parts[0]
        if part.get("Content-Disposition") is not None:
            self.faults.append("the calendar part has a disposition")
        if (part.get_content_charset() or "").lower() != "utf-8":
            self.faults.append("no charset")
        payload = part.get_payload(decode=True)
        assert isinstance(payload, bytes)
        calendar = icalendar.Calendar.from_ical(payload)
        method = str(calendar["METHOD"])
        if part.get_param("method") != method:
            self.faults.append("method of part and object differ")
        for event in calendar.walk("VEVENT"):
            self._apply(address, mail, method, event)

    def _apply(self, address: str, mail: EmailMessage, method: str, event: Any) -> None:
        if str(event["ORGANIZER"]).lower() != "mailto:" + parseaddr(str(mail["From"]))[1].lower():
            self.faults.append("organizer is not the sender")
            return
        if str(event["ATTENDEE"]).lower() != f"mailto:{address}".lower():
            self.faults.append("attendee is somebody else")
            return
        held = self.calendars.setdefault(address, {})
        uid, sequence = str(event["UID"]), int(event["SEQUENCE"])
        before = held.get(uid)
        if before is not None and sequence <= before.sequence:
            self.faults.append(f"an old sequence: {sequence} after {before.sequence}")
            return
        status = "CANCELLED" if method == "CANCEL" else str(event["STATUS"])
        held[uid] = Entry(sequence, status, event["DTSTART"].dt, str(event["SUMMARY"]))


@contextmanager
def mail_server(receiver: Receiver, settings: Any) -> Iterator[Receiver]:
    """The receiver behind a real SMTP server on this machine, with the site's settings pointing there."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    controller = Controller(receiver, hostname="127.0.0.1", port=port)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port
    settings.EMAIL_USE_TLS, settings.EMAIL_HOST_USER = False, ""
    try:
        yield receiver
    finally:
        controller.stop()


def reply(mail: EmailMessage, partstat: str, stamp: datetime, **changes: str) -> bytes:
    """The answer that a calendar sends to an invitation (RFC 5546, 3.2.3)."""
    part = next(part for part in mail.walk() if part.get_content_type() == "text/calendar")
    payload = part.get_payload(decode=True)
    assert isinstance(payload, bytes)
    event = icalendar.Calendar.from_ical(payload).walk("VEVENT")[0]
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//a phone//EN",
        "METHOD:REPLY",
        "BEGIN:VEVENT",
        f"UID:{changes.get('uid', event['UID'])}",
        f"SEQUENCE:{changes.get('sequence', event['SEQUENCE'])}",
        f"DTSTAMP:{stamp:%Y%m%dT%H%M%SZ}",
        f"ORGANIZER:{event['ORGANIZER']}",
        f"ATTENDEE;PARTSTAT={partstat}:{changes.get('attendee', event['ATTENDEE'])}",
        *([f"COMMENT:{changes['comment']}"] if "comment" in changes else []),
        "END:VEVENT",
        "END:VCALENDAR",
    ]
    answer = EmailMessage()
    answer["From"], answer["To"], answer["Subject"] = (
        str(mail["To"]),
        str(mail["From"]),
        f"{partstat}: {mail['Subject']}",
    )
    answer.set_content(f"{partstat}\n")
    answer.add_alternative(
        ("\r\n".join(lines) + "\r\n").encode(),
        maintype="text",
        subtype="calendar",
        params={"method": "REPLY", "charset": "UTF-8"},
    )
    return answer.as_bytes()
