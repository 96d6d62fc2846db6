"""The doors through which messages leave. A sender raises `Refused` for good, anything else to be tried again."""

from collections.abc import Callable
from email.utils import make_msgid
from smtplib import SMTPRecipientsRefused, SMTPResponseException

from django.core.mail import EmailMessage

from herdplan.reminders.models import OutboxMessage


class Refused(Exception):
    """The receiving side will never take this message."""


def send_email(message: OutboxMessage) -> None:
    """One plain-text e-mail whose Message-ID is the row's key, so that a repeat is recognised as one."""
    domain = make_msgid().rsplit("@", 1)[1].rstrip(">")
    mail = EmailMessage(
        subject=message.subject,
        body=message.body,
        to=[message.address],
        headers={"Message-ID": f"<{message.dedup_key}@{domain}>", "Auto-Submitted": "auto-generated"},
    )
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


CHANNELS: dict[str, Callable[[OutboxMessage], None]] = {"email": send_email}
