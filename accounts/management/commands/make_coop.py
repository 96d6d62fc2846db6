"""`manage.py make_coop`: a new co-op and the link that makes its coordinator."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from accounts.models import Cooperative
from accounts.permissions import Role
from accounts.services import open_invitation


class Command(BaseCommand):
    """Prints the invitation's link at the address of `HERDPLAN_BASE_URL`."""

    help = "Make a co-op and invite its coordinator."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """What a co-op is."""
        parser.add_argument("--slug", required=True)
        parser.add_argument("--name", required=True)
        parser.add_argument("--zone", required=True)
        parser.add_argument("--coordinator-email", required=True)

    def handle(self, *args: Any, **options: Any) -> None:
        """Both or nothing."""
        with transaction.atomic():
            coop = Cooperative(slug=options["slug"], name=options["name"], zone=options["zone"])
            try:
                coop.full_clean()
            except ValidationError as fault:
                raise CommandError("; ".join(f"{k}: {' '.join(v)}" for k, v in fault.message_dict.items())) from None
            coop.save()
            _, token = open_invitation(
                cooperative=coop,
                email=options["coordinator_email"],
                role=Role.COORDINATOR,
                by=None,
                now=timezone.now(),
            )
        link = f"{settings.BASE_URL}/invitation/{token}/"
        self.stdout.write(f"Made {coop}. Send this to {options['coordinator_email']}: {link}")
