"""What people say of readiness: an adviser's word on a group or one female, and a co-op's own limits."""

import uuid

from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User
from herdplan.herds.models import Female
from scheduling.models.seasons import SeasonEntry


class ReadinessWord(models.Model):
    """A group signed off, or one female's verdict overridden, with the reason. The one in force counts; all stay on record.

    `ai_day` is the AI day that it was said for: another one asks for another look.
    """

    class Verdict(models.TextChoices):
        """What is said."""

        READY = "ready", "Ready"
        NOT_READY = "not_ready", "Not this time"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="readiness_words")
    female = models.ForeignKey(Female, on_delete=models.CASCADE, null=True, blank=True, related_name="readiness_words")
    verdict = models.CharField("verdict", max_length=10, choices=Verdict)
    reason = models.CharField("reason", max_length=1000)
    ai_day = models.DateField("said for AI on", null=True, blank=True)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    withdrawn_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-made_at",)
        constraints = [
            models.UniqueConstraint(
                fields=("entry",),
                condition=models.Q(withdrawn_at=None, female=None),
                name="one_word_on_a_group_in_force",
            ),
            models.UniqueConstraint(
                fields=("entry", "female"),
                condition=models.Q(withdrawn_at=None),
                name="one_word_on_a_female_in_force",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_verdict_display()}: {self.female or self.entry}"


class ReadinessLimit(models.Model):
    """A co-op's own limit in place of the printed one, in the kernel's units, with the reason. The one in force counts."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="readiness_limits")
    field = models.CharField("limit", max_length=40)
    value = models.FloatField("value")
    reason = models.CharField("reason, and who advised it", max_length=300)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    withdrawn_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-made_at",)
        constraints = [
            models.UniqueConstraint(
                fields=("cooperative", "field"),
                condition=models.Q(withdrawn_at=None),
                name="one_readiness_limit_in_force",
            )
        ]

    def __str__(self) -> str:
        return f"{self.field}: {self.value:g}"
