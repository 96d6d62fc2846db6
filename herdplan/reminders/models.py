"""The outbox: the database is the queue of record for every message that leaves."""

import uuid

from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User


class OutboxMessage(models.Model):
    """One message to one person over one channel. `dedup_key` makes a second request for the same message a no-op."""

    class State(models.TextChoices):
        """Where the message is."""

        PENDING = "pending", "Waiting"
        LEASED = "leased", "Being sent"
        SENT = "sent", "Sent"
        DEAD = "dead", "Could not be sent"
        CANCELLED = "cancelled", "No longer needed"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, null=True, related_name="outbox")
    user = models.ForeignKey(User, on_delete=models.CASCADE, null=True, blank=True, related_name="outbox")
    channel = models.CharField(max_length=20, default="email")
    address = models.CharField(max_length=254)
    purpose = models.CharField(max_length=40)
    subject = models.CharField(max_length=200)
    body = models.TextField()
    dedup_key = models.CharField(max_length=64, unique=True)
    due = models.DateTimeField()
    expires = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.PENDING)
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_token = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("due",)
        indexes = [models.Index(fields=("state", "due"))]

    def __str__(self) -> str:
        return f"{self.purpose} to {self.address}"
