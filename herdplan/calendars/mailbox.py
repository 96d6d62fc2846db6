"""The mailbox to which calendars send their answers, behind a small door, so that tests can stand another one there."""

import imaplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Protocol

from django.conf import settings

_TIMEOUT_S = 30
_AT_ONCE = 200


class MailboxError(RuntimeError):
    """The mailbox cannot be read; the text says what the server answered."""


class Mailbox(Protocol):
    """What is needed of a mailbox."""

    def unread(self) -> list[str]:
        """Ids of messages that were not dealt with yet."""

    def fetch(self, identity: str) -> bytes:
        """A message as it came; it stays unread."""

    def done(self, identity: str) -> None:
        """Mark it as dealt with."""


@dataclass(frozen=True, slots=True)
class ImapMailbox:
    """A folder on an IMAP server (RFC 3501)."""

    connection: imaplib.IMAP4

    def unread(self) -> list[str]:
        """UIDs of unseen messages, at most 200 at once."""
        found = self._uid("SEARCH", "UNSEEN")
        return [item.decode() for item in (found[0] or b"").split()][:_AT_ONCE] if found else []

    def fetch(self, identity: str) -> bytes:
        """The message; PEEK leaves it unseen until it has been dealt with."""
        parts = self._uid("FETCH", identity, "(BODY.PEEK[])")
        for part in parts:
            if isinstance(part, tuple):
                return bytes(part[1])
        raise MailboxError(f"The mailbox did not hand out message {identity}.")

    def done(self, identity: str) -> None:
        """Mark it as seen."""
        self._uid("STORE", identity, "+FLAGS.SILENT", "(\\Seen)")

    def _uid(self, command: str, *arguments: str) -> list[Any]:
        status, data = self.connection.uid(command, *arguments)
        if status != "OK":
            raise MailboxError(f"The mailbox refused {command}: {data!r}"[:200])
        return list(data)


@contextmanager
def open_mailbox() -> Iterator[ImapMailbox]:
    """The mailbox of the settings, signed in; MailboxError where that fails."""
    try:
        connection = _connect()
        connection.login(settings.IMAP_USER, settings.IMAP_PASSWORD)
        status, data = connection.select(settings.IMAP_FOLDER)
        if status != "OK":
            raise MailboxError(f"There is no folder {settings.IMAP_FOLDER}: {data!r}"[:200])
    except (OSError, imaplib.IMAP4.error) as fault:
        raise MailboxError(f"{settings.IMAP_HOST}: {fault}"[:200]) from fault
    try:
        yield ImapMailbox(connection)
    except (OSError, imaplib.IMAP4.error) as fault:
        raise MailboxError(f"{settings.IMAP_HOST}: {fault}"[:200]) from fault
    finally:
        _leave(connection)


def _connect() -> imaplib.IMAP4:
    if settings.IMAP_TLS:
        context = ssl.create_default_context()
        return imaplib.IMAP4_SSL(settings.IMAP_HOST, settings.IMAP_PORT, ssl_context=context, timeout=_TIMEOUT_S)
    return imaplib.IMAP4(settings.IMAP_HOST, settings.IMAP_PORT, timeout=_TIMEOUT_S)


def _leave(connection: imaplib.IMAP4) -> None:
    try:
        connection.logout()
    except (OSError, imaplib.IMAP4.error):
        connection.shutdown()
