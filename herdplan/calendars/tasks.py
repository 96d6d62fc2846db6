"""The doorbell of the mailbox."""

import logging

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from herdplan.calendars.mailbox import MailboxError, open_mailbox
from herdplan.calendars.replies import read_replies

log = logging.getLogger(__name__)


@shared_task
def ring_mailbox() -> None:
    """Read the answers that came by mail, where a mailbox is set."""
    if not settings.IMAP_HOST:
        return
    try:
        with open_mailbox() as mailbox:
            read_replies(mailbox, now=timezone.now())
    except MailboxError as fault:
        log.warning("Answers were not read: %s", fault)
