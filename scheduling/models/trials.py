"""Changed seasons that are planned to see what would come of it, and what happened in a season that made it necessary."""

import uuid

from django.db import models
from django.utils import timezone

from accounts.models import User
from scheduling.models.seasons import PlanJob, PlanVersion, Season


class PlanTrial(models.Model):
    """A changed season with the plan that was found for it. The plan in work is not touched.

    `problem` is the season as it would be; `holds` bind this trial alone (days or technicians of a group) and are no part of
    it. `document` is empty until the job has run.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="trials")
    job = models.ForeignKey(PlanJob, on_delete=models.SET_NULL, null=True, related_name="trials")
    base = models.ForeignKey(
        PlanVersion, on_delete=models.CASCADE, related_name="+", verbose_name="plan to change least"
    )
    number = models.PositiveSmallIntegerField(default=1)
    problem = models.JSONField()
    holds = models.JSONField(default=list)
    document = models.JSONField(null=True)
    broken = models.JSONField(default=list)
    cost_total = models.FloatField(null=True)
    tried_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("number",)

    def __str__(self) -> str:
        return f"{self.season}, trial {self.number}"


class Replanning(models.Model):
    """Something that happened, the plan that would follow, and what the coordinator decided. Until it is accepted nothing
    else in the database knows of it."""

    class Kind(models.TextChoices):
        """What happened."""

        TECHNICIAN_ILL = "technician_ill", "A technician cannot come"
        RANCH_CLOSED = "ranch_closed", "A ranch cannot handle cattle"
        WEATHER = "weather", "Weather closes several ranches"
        LATE_HEADCOUNT = "late_headcount", "A group has another number of head"
        LOST_SLOT = "lost_slot", "A group cannot keep its AI day"
        STEPS_DONE = "steps_done", "Steps were done at other hours than planned"

    class State(models.TextChoices):
        """What became of it."""

        OPEN = "open", "To be decided"
        ACCEPTED = "accepted", "Accepted"
        DROPPED = "dropped", "Dropped"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="replannings")
    kind = models.CharField("what happened", max_length=20, choices=Kind)
    event = models.JSONField()
    title = models.CharField(max_length=200)
    trial = models.OneToOneField(PlanTrial, on_delete=models.CASCADE, related_name="replanning")
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    result = models.ForeignKey(PlanVersion, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    made_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    decided_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-made_at",)

    def __str__(self) -> str:
        return self.title
