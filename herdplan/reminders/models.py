"""The outbox, what people were told last, and how each person wants to be reminded."""

import uuid

from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User


class ChangeNotice(models.Model):
    """What one person is told about a change of the published plan. An urgent one asks for a tap.

    `facts` lists the rows of the plan that it speaks of, with the state that the person knew before, so that an unsent
    notice can be taken back when the plan moves again.
    """

    class How(models.TextChoices):
        """How we know that the person has seen it."""

        LINK = "link", "by the link of the message"
        PAGE = "page", "on the site"
        CALL = "call", "by telephone"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="change_notices")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="change_notices")
    title = models.CharField(max_length=200)
    text = models.TextField()
    facts = models.JSONField(default=list)
    urgent = models.BooleanField(default=False)
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    seen_by = models.DateTimeField("to be seen by", null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_how = models.CharField(max_length=10, choices=How, blank=True)
    called_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    call_note = models.CharField(max_length=300, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    escalated_at = models.DateTimeField("put before the coordinators", null=True, blank=True)

    class Meta:
        ordering = ("-made_at",)
        indexes = [models.Index(fields=("cooperative", "user"), name="notice_of_person")]

    def __str__(self) -> str:
        return f"{self.title} ({self.user})"


class OutboxMessage(models.Model):
    """One message to one person over one channel. `dedup_key` makes a second request for the same message a no-op.

    `about` names the row of the plan that it speaks of and `about_sequence` the state of that row: a message whose row has
    moved on is never sent. `retry_at` holds it back after a fault or in quiet hours; `waits_since` is when that was
    decided, so that a clock that was set back does not hold it for long. `lease_doubted`: the lease was found over once.
    """

    class State(models.TextChoices):
        """Where the message is."""

        PENDING = "pending", "Waiting"
        LEASED = "leased", "Being sent"
        SENT = "sent", "Sent"
        DEAD = "dead", "Could not be sent"
        UNCERTAIN = "uncertain", "Perhaps sent"
        CANCELLED = "cancelled", "No longer needed"

    class Why(models.TextChoices):
        """Why it is no longer needed. What was cancelled for one of these comes back when it is needed again."""

        EXPIRED = "expired", "Too late to be of use"
        MOVED = "moved", "The step was moved, done or cancelled"
        UNWANTED = "unwanted", "The person does not want it this way"
        SEEN = "seen", "Seen already"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, null=True, related_name="outbox")
    user = models.ForeignKey(User, on_delete=models.CASCADE, null=True, blank=True, related_name="outbox")
    channel = models.CharField(max_length=20, default="email")
    address = models.CharField(max_length=254)
    purpose = models.CharField(max_length=40)
    subject = models.CharField(max_length=200)
    body = models.TextField()
    link = models.CharField(max_length=300, blank=True)
    urgent = models.BooleanField(default=False)
    notice = models.ForeignKey(
        ChangeNotice, on_delete=models.SET_NULL, null=True, blank=True, related_name="messages_out"
    )
    about_kind = models.CharField(max_length=10, blank=True)
    about = models.UUIDField(null=True, blank=True)
    about_sequence = models.PositiveIntegerField(default=0)
    dedup_key = models.CharField(max_length=64, unique=True)
    due = models.DateTimeField()
    expires = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.PENDING)
    why = models.CharField(max_length=10, choices=Why, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    retry_at = models.DateTimeField(null=True, blank=True)
    waits_since = models.DateTimeField(null=True, blank=True)
    lease_token = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    lease_doubted = models.BooleanField(default=False)
    started_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("due",)
        indexes = [
            models.Index(fields=("state", "due")),
            models.Index(fields=("about",), name="outbox_about"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state__in=("pending", "leased", "sent", "dead", "uncertain", "cancelled")),
                name="outbox_state_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.purpose} to {self.address}"


class Told(models.Model):
    """The state of a row of the plan as the person was told last. What differs from it is news for the person."""

    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="told")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="told")
    kind = models.CharField(max_length=10)
    about = models.UUIDField()
    label = models.CharField(max_length=300)
    sequence = models.PositiveIntegerField()
    starts = models.DateTimeField()
    head = models.PositiveIntegerField()
    live = models.BooleanField(default=True)

    class Meta:
        verbose_name_plural = "told"
        constraints = [models.UniqueConstraint(fields=("user", "about"), name="told_once")]

    def __str__(self) -> str:
        return f"{self.user}: {self.label}"


class PersonSettings(models.Model):
    """How a person wants to be written to, in every co-op. Without a row the defaults count."""

    user = models.OneToOneField(User, on_delete=models.CASCADE, primary_key=True, related_name="reminder_settings")
    language = models.CharField("language", max_length=10, default="en")
    channels = models.JSONField("usual channels", default=list, blank=True)
    quiet_from = models.TimeField("quiet from", null=True, blank=True)
    quiet_to = models.TimeField("quiet until", null=True, blank=True)
    urgent_passes = models.BooleanField("changes for the next day may come in quiet hours", default=False)

    class Meta:
        verbose_name_plural = "person settings"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(quiet_from=None, quiet_to=None)
                | models.Q(quiet_from__isnull=False, quiet_to__isnull=False),
                name="quiet_hours_have_both_ends",
            )
        ]

    def __str__(self) -> str:
        return f"{self.user}"


class RuleChoice(models.Model):
    """What a person changed about one rule. Empty fields mean the rule's own default."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="rule_choices")
    rule = models.CharField(max_length=40)
    on = models.BooleanField(default=True)
    days = models.PositiveSmallIntegerField("days before", null=True, blank=True)
    at = models.TimeField("at", null=True, blank=True)
    minutes = models.PositiveSmallIntegerField("minutes before", null=True, blank=True)
    channels = models.JSONField(default=list, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=("user", "rule"), name="one_choice_per_rule")]

    def __str__(self) -> str:
        return f"{self.user}: {self.rule}"


class PushSubscription(models.Model):
    """A browser of a person that takes web push."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="push_subscriptions")
    label = models.CharField(max_length=120)
    endpoint = models.TextField()
    endpoint_hash = models.CharField(max_length=64, unique=True)
    p256dh = models.CharField(max_length=200)
    auth = models.CharField(max_length=100)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("created_at",)

    def __str__(self) -> str:
        return self.label


class ServiceAddress(models.Model):
    """A person's address at a message service (an SMS gateway and the like). It holds secrets, so it is kept sealed."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="service_addresses")
    label = models.CharField("name", max_length=80)
    service = models.CharField(max_length=80)
    sealed = models.TextField()
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        verbose_name_plural = "service addresses"
        ordering = ("created_at",)

    def __str__(self) -> str:
        return self.label


class CoopReminders(models.Model):
    """What a co-op decides about reminders, and how far its sweep has come."""

    cooperative = models.OneToOneField(
        Cooperative, on_delete=models.CASCADE, primary_key=True, related_name="reminder_settings"
    )
    seen_minutes = models.PositiveSmallIntegerField("minutes in which a same-day change is to be seen", default=60)
    swept_at = models.DateTimeField(null=True, blank=True)
    fingerprint = models.CharField(max_length=64, blank=True)

    class Meta:
        verbose_name_plural = "co-op reminders"

    def __str__(self) -> str:
        return f"{self.cooperative}"
