"""Calendar feed tokens: named, revocable, hashed at rest."""

import uuid

from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User
from herdplan.herds.models import Herd
from herdplan.technicians.models import Technician


class FeedToken(models.Model):
    """One subscription address. The token itself is shown once; only its SHA-256 is kept."""

    class Kind(models.TextChoices):
        """What the feed shows."""

        HERD = "herd", "One herd"
        TECHNICIAN = "technician", "One technician"
        COOP = "coop", "The whole co-op"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="feeds")
    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="feeds")
    name = models.CharField("name", max_length=80)
    kind = models.CharField("shows", max_length=10, choices=Kind)
    herd = models.ForeignKey(Herd, on_delete=models.CASCADE, null=True, blank=True, related_name="feeds")
    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, null=True, blank=True, related_name="feeds")
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_fetch_at = models.DateTimeField(null=True, blank=True)
    last_client = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind="herd", herd__isnull=False, technician=None)
                | models.Q(kind="technician", herd=None, technician__isnull=False)
                | models.Q(kind="coop", herd=None, technician=None),
                name="feed_has_its_subject",
            )
        ]

    def __str__(self) -> str:
        return self.name
