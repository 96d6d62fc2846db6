"""Clashes of wishes with their remedies and answers, who gave way, and the days on which nobody likes to work."""

import uuid

from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User
from herdplan.herds.models import Ranch
from scheduling.models.seasons import PlanJob, PlanVersion, Season, SeasonEntry
from scheduling.models.trials import PlanTrial


class ClashCase(models.Model):
    """Wishes that cannot all be kept, laid on the coordinator's desk. `group` wishes for AI on `day`; `rival` is in its way
    where the coordinator named one."""

    class Kind(models.TextChoices):
        """Why it is on the desk."""

        UNPLACED = "unplaced", "No place"
        MOVED = "moved", "Far from its wish"
        PAIR = "pair", "Two want the same morning"

    class State(models.TextChoices):
        """How far it has come."""

        TRYING = "trying", "Remedies are being tried"
        OPEN = "open", "Choose a remedy"
        ASKING = "asking", "Members are asked"
        APPLIED = "applied", "Settled"
        DROPPED = "dropped", "Dropped"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="clashes")
    kind = models.CharField(max_length=10, choices=Kind)
    group = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="clashes")
    rival = models.ForeignKey(SeasonEntry, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    day = models.DateField()
    base = models.ForeignKey(PlanVersion, on_delete=models.CASCADE, related_name="+")
    job = models.ForeignKey(PlanJob, on_delete=models.SET_NULL, null=True, related_name="clashes")
    state = models.CharField(max_length=10, choices=State, default=State.TRYING)
    chosen = models.ForeignKey("ClashRemedy", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    result = models.ForeignKey(PlanVersion, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    opened_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    opened_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-opened_at",)

    def __str__(self) -> str:
        return f"{self.group.group}: {self.get_kind_display().lower()}"


class ClashRemedy(models.Model):
    """A way out that was really planned. `writes` are the wishes that it changes; `fault` says why it does not work."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    case = models.ForeignKey(ClashCase, on_delete=models.CASCADE, related_name="remedies")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=20)
    family = models.CharField(max_length=60)
    title = models.CharField(max_length=200)
    writes = models.JSONField(default=list)
    trial = models.OneToOneField(PlanTrial, on_delete=models.CASCADE, related_name="remedy")
    works = models.BooleanField(null=True)
    fault = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("number",)

    def __str__(self) -> str:
        return self.title


class ClashAnswer(models.Model):
    """What a ranch is asked for one remedy, and what it says."""

    class State(models.TextChoices):
        """The answer."""

        WAITING = "waiting", "Waiting for an answer"
        ACCEPTED = "accepted", "Accepted"
        DECLINED = "declined", "Declined"
        WITHDRAWN = "withdrawn", "No longer asked"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    remedy = models.ForeignKey(ClashRemedy, on_delete=models.CASCADE, related_name="answers")
    ranch = models.ForeignKey(Ranch, on_delete=models.CASCADE, related_name="clash_answers")
    texts = models.JSONField()
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    reason = models.CharField("reason", max_length=300, blank=True)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now)
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("ranch__name",)
        constraints = [models.UniqueConstraint(fields=("remedy", "ranch"), name="ranch_asked_once_per_remedy")]

    def __str__(self) -> str:
        return f"{self.ranch}: {self.get_state_display()}"


class GaveWay(models.Model):
    """A ranch that gave way so that others could keep their wish: kept for fairness in later seasons."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="gave_way")
    ranch = models.ForeignKey(Ranch, on_delete=models.CASCADE, related_name="gave_way")
    case = models.ForeignKey(ClashCase, on_delete=models.SET_NULL, null=True, related_name="gave_way")
    group = models.CharField(max_length=120)
    text = models.CharField(max_length=400)
    days = models.PositiveSmallIntegerField("days from the wish", default=0)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        verbose_name_plural = "gave way"
        ordering = ("-at", "ranch__name")

    def __str__(self) -> str:
        return f"{self.ranch}, {self.season}: {self.text}"


class Holiday(models.Model):
    """A day that the co-op counts like a weekend when it shares out work days."""

    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="holidays")
    day = models.DateField("day")
    name = models.CharField("holiday", max_length=80)

    class Meta:
        ordering = ("day",)
        constraints = [
            models.UniqueConstraint(
                fields=("cooperative", "day"),
                name="holiday_once_per_coop",
                violation_error_message="This day is in the list already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.day:%a %d %b %Y}"
