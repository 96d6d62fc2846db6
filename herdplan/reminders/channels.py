"""The doors through which messages leave. A sender raises `Refused` for good, anything else to be tried again.

A new channel is a `Channel` in `CHANNELS`. One that the far side cannot recognise a repeat of says `repeatable=False`:
when its sender is lost in the middle, the message becomes "perhaps sent" and the person gets an e-mail as well.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from email.utils import parseaddr
from smtplib import SMTPRecipientsRefused, SMTPResponseException
from typing import Any
from urllib.parse import urlsplit

import requests
from django.conf import settings
from django.core.mail import EmailMessage

from accounts.sealing import SERVICE_ADDRESSES, SealBroken
from herdplan.reminders.hosts import HostRefused, require_public
from herdplan.reminders.models import OutboxMessage, PushSubscription, ServiceAddress
from herdplan.reminders.vapid import private_key

_PUSH_TIMEOUT_S = 15
# A push service keeps a message this long for a phone without signal; the outbox's own `expires` cuts it shorter.
_PUSH_KEPT_S = 12 * 3600
# Plug-ins that talk to the machine we run on, need files of it, or double what we do ourselves.
_NOT_OURS = frozenset({
    "syslog", "rsyslog", "dbus", "qt", "kde", "glib", "gio", "gnome", "macosx", "windows", "blink1", "vapid",
    "mailto", "mailtos", "file", "apprise", "apprises",
})  # fmt: skip


class Refused(Exception):
    """The receiving side will never take this message."""


class ServiceRefused(ValueError):
    """A service address that we do not take; the text says why."""


@dataclass(frozen=True, slots=True)
class Channel:
    """How a channel sends, how often it is tried, whether the far side recognises a repeat, and whether the same text goes by
    e-mail when it gives up.
    """

    send: Callable[[OutboxMessage], None]
    most_attempts: int = 6
    repeatable: bool = True
    falls_back: bool = True


def message_id(key: str) -> str:
    """The Message-ID of a message: its key at the site's name, the same from every process and after every restart."""
    return f"<{key}@{urlsplit(settings.BASE_URL).hostname or 'localhost'}>"


def send_email(message: OutboxMessage) -> None:
    """One plain-text e-mail whose Message-ID is the row's key, so that a repeat is recognised as one."""
    mail = EmailMessage(
        subject=message.subject,
        body=message.body,
        to=[message.user.email if message.user is not None else message.address],
        headers={"Message-ID": message_id(message.dedup_key), "Auto-Submitted": "auto-generated"},
    )
    deliver(mail)


def deliver(mail: EmailMessage) -> None:
    """Hand a mail to the server; a refusal for good (5xx) is Refused, whatever else goes wrong may be tried again."""
    try:
        mail.send()
    except SMTPRecipientsRefused as fault:
        if all(500 <= code < 600 for code, _ in fault.recipients.values()):
            raise Refused(str(fault)) from fault
        raise
    except SMTPResponseException as fault:
        if 500 <= fault.smtp_code < 600:
            raise Refused(str(fault)) from fault
        raise


def send_push(message: OutboxMessage) -> None:
    """To every browser of the person; one that took it is enough. Browsers that are gone are forgotten.

    The topic (RFC 8030, 2016) makes a repeat replace the first one while it waits for the phone; the tag does so on it.
    """
    from pywebpush import WebPushException  # noqa: PLC0415 (see "Heavy libraries" in DEVELOPERS.md)

    subscriptions = list(PushSubscription.objects.filter(user=message.user_id))
    if not subscriptions:
        raise Refused("no browser of this person takes push messages (any more)")
    taken, faults = 0, []
    for row in subscriptions:
        try:
            _push(row, message)
            taken += 1
        except WebPushException as fault:
            if fault.status_code in (404, 410):
                row.delete()
            faults.append(str(fault.message).split("\n")[0])
        except HostRefused as fault:
            row.delete()
            faults.append(str(fault))
        except (requests.RequestException, ValueError) as fault:
            faults.append(str(fault))
    if not taken and not PushSubscription.objects.filter(user=message.user_id).exists():
        raise Refused("; ".join(faults))
    if not taken:
        raise OSError("; ".join(faults))


def _push(row: PushSubscription, message: OutboxMessage) -> None:
    from pywebpush import webpush  # noqa: PLC0415

    require_public(urlsplit(row.endpoint).hostname or "")
    data = {"title": message.subject, "body": _short(message.body), "tag": message.dedup_key, "link": message.link}
    if message.notice_id and message.link:
        data["seen"] = message.link
    session = requests.Session()
    session.max_redirects = 0
    webpush(
        {"endpoint": row.endpoint, "keys": {"p256dh": row.p256dh, "auth": row.auth}},
        data=json.dumps(data),
        vapid_private_key=private_key(),
        vapid_claims={"sub": f"mailto:{parseaddr(settings.DEFAULT_FROM_EMAIL)[1]}"},
        ttl=_PUSH_KEPT_S,
        timeout=_PUSH_TIMEOUT_S,
        headers={"Topic": message.dedup_key[:32], "Urgency": "high" if message.urgent else "normal"},
        requests_session=session,
    )


def _short(body: str) -> str:
    """What fits a push: a few lines (push services take about 4,000 bytes)."""
    lines = [line for line in body.split("\n") if line and not line.startswith("http")]
    return "\n".join(lines)[:1200]


def service_name(address: str) -> str:
    """The name of the service behind an address such as the notification library reads them.

    Raises ServiceRefused where it is none, or one that would make our own server do something.
    """
    made = _service(address)
    return str(made.service_name)


def _service(address: str) -> Any:
    import apprise  # noqa: PLC0415

    schema = address.strip().split("://", 1)[0].lower()
    if "://" not in address or schema in _NOT_OURS:
        raise ServiceRefused("an address of a message service, for example of an SMS gateway; not this kind.")
    made: Any = apprise.Apprise.instantiate(address.strip(), suppress_exceptions=True)
    if made is None:
        raise ServiceRefused("this is not an address of a service that we know, or a part of it is missing.")
    if any("{host" in str(template) for template in made.templates):
        try:
            require_public(str(made.host or ""))
        except HostRefused as fault:
            raise ServiceRefused(str(fault)) from fault
    # A gateway that sends our server elsewhere could send it into the private network.
    made.redirects = False
    return made


def send_service(message: OutboxMessage) -> None:
    """Through the person's own service. Nothing on the far side recognises a repeat."""
    row = ServiceAddress.objects.filter(pk=message.address, user=message.user_id).first()
    if row is None:
        raise Refused("the person has removed this service")
    try:
        made = _service(SERVICE_ADDRESSES.unseal(row.sealed))
    except (SealBroken, ServiceRefused) as fault:
        raise Refused(str(fault)) from fault
    if not made.notify(title=message.subject, body=_with_link(message)):
        raise OSError(f"{row.service} did not take the message")


def _with_link(message: OutboxMessage) -> str:
    """A few lines are enough for a text message; the link comes last."""
    lines = [line for line in message.body.split("\n") if line]
    short = "\n".join(lines[:6])
    return f"{short}\n{message.link}" if message.link and message.link not in short else short


CHANNELS: dict[str, Channel] = {
    "email": Channel(send_email),
    "push": Channel(send_push, most_attempts=4),
    "service": Channel(send_service, most_attempts=4, repeatable=False),
}
