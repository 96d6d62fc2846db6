"""`manage.py read_replies [--once]`: answers to invitations, out of the mailbox."""

import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import close_old_connections
from django.utils import timezone

from herdplan.calendars.mailbox import MailboxError, open_mailbox
from herdplan.calendars.replies import read_replies


class Command(BaseCommand):
    """Reads unread messages and writes the answers in them on the plan."""

    help = "Read the answers to invitations from the mailbox (HERDPLAN_IMAP_HOST)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One switch and how often to look."""
        parser.add_argument("--once", action="store_true", help="read what is there, then end")
        parser.add_argument("--every", type=float, default=60.0, help="seconds between looks")

    def handle(self, *args: Any, **options: Any) -> None:
        """Loop until stopped; a server that is away is asked again later."""
        if not settings.IMAP_HOST:
            raise CommandError("HERDPLAN_IMAP_HOST: name the mail server whose mailbox answers come to.")
        while True:
            try:
                with open_mailbox() as mailbox:
                    counts = read_replies(mailbox, now=timezone.now())
            except MailboxError as fault:
                if options["once"]:
                    raise CommandError(str(fault)) from fault
                self.stderr.write(str(fault))
            else:
                if options["once"]:
                    self.stdout.write(", ".join(f"{n} {what}" for what, n in sorted(counts.items())) or "nothing new")
            if options["once"]:
                return
            close_old_connections()
            time.sleep(options["every"])
