"""The outbox's channel for invitations: text, text/calendar with its method, and the same object attached."""

from hashlib import sha256

from django.core.mail import EmailMultiAlternatives

from herdplan.calendars import memory
from herdplan.calendars.feeds import host
from herdplan.calendars.invitations import organizer_address
from herdplan.calendars.models import Letter
from herdplan.reminders.channels import Refused, deliver
from herdplan.reminders.models import OutboxMessage


def message_id(letter: Letter) -> str:
    """The same for every try at the same (row, SEQUENCE, address), also after a backup was restored."""
    asked = letter.attendance
    person = sha256(letter.address.lower().encode()).hexdigest()[:16]
    return f"<{asked.uid.partition('@')[0]}-{letter.sequence}-{person}@{host()}>"


def send_letter(message: OutboxMessage) -> None:
    """Send the letter of an outbox row. The calendar part comes last in multipart/alternative, with no disposition."""
    letter = Letter.objects.select_related("attendance__cooperative").filter(message=message).first()
    if letter is None:
        raise Refused("the invitation of this message is no longer kept")
    name = "".join(c for c in letter.attendance.cooperative.name if c not in '<>"\\')
    mail = EmailMultiAlternatives(
        subject=message.subject,
        body=message.body,
        from_email=f'"{name}" <{organizer_address()}>',
        to=[message.address],
        headers={"Message-ID": message_id(letter), "Auto-Submitted": "auto-generated"},
    )
    mail.attach_alternative(letter.text, f"text/calendar; method={letter.method}")
    mail.attach("invitation.ics", letter.text.encode(), "application/ics")
    memory.note(letter)
    deliver(mail)
