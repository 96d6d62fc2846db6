"""What people decide around a group's AI: wishes before and after it, items ticked, moved or dropped, and planned moves."""

import uuid
from datetime import time

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from accounts.models import User
from scheduling.models.seasons import SeasonEntry


class CheckWay(models.TextChoices):
    """How pregnancy is told, by the names that the kernel uses."""

    SCAN = "ultrasound scan", "Ultrasound scan"
    PALPATION = "palpation", "Palpation by hand"
    BLOOD = "blood test", "Blood test"


class GroupCare(models.Model):
    """A group's wishes around AI. Without a row the defaults count. `sequence` rises with every change."""

    entry = models.OneToOneField(SeasonEntry, on_delete=models.CASCADE, primary_key=True, related_name="care")
    first_time_vaccine = models.BooleanField("some were never vaccinated before", default=True)
    needs_gain = models.BooleanField("some must gain before AI", default=True)
    bulls = models.BooleanField("bulls follow AI", default=True)
    tell_apart = models.BooleanField("calves of AI and of bulls must be told apart", default=False)
    bull_months = models.PositiveSmallIntegerField(
        "age of the youngest bull, months", default=24, validators=[MinValueValidator(12), MaxValueValidator(180)]
    )
    bull_days = models.PositiveSmallIntegerField(
        "days that bulls stay in", default=60, validators=[MinValueValidator(10), MaxValueValidator(150)]
    )
    resynchronize = models.BooleanField("a second AI round for those that return", default=False)
    check_way = models.CharField("pregnancy check by", max_length=20, choices=CheckWay, blank=True)
    expected_rate = models.PositiveSmallIntegerField(
        "share pregnant to AI that you expect, %",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(95)],
    )
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")

    class Meta:
        verbose_name_plural = "group care"

    def __str__(self) -> str:
        return f"Wishes around AI: {self.entry}"


class ItemAct(models.Model):
    """Something that somebody did to a dated item of a group: rows are added, never changed; their number is the sequence."""

    class Kind(models.TextChoices):
        """What was done."""

        DONE = "done", "Ticked as done"
        UNDONE = "undone", "Tick taken back"
        MOVED = "moved", "Moved"
        DROPPED = "dropped", "Dropped"
        BACK = "back", "Put back where it counts"

    id = models.BigAutoField(primary_key=True)
    entry = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="item_acts")
    item = models.CharField(max_length=20)
    kind = models.CharField(max_length=8, choices=Kind)
    day = models.DateField(null=True, blank=True)
    reason = models.CharField("reason", max_length=300, blank=True)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind="moved", day__isnull=False) | (~models.Q(kind="moved") & models.Q(day=None)),
                name="a_day_where_an_item_was_moved",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind__in=("moved", "dropped")) | ~models.Q(reason=""),
                name="a_reason_where_an_item_was_moved_or_dropped",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.item}"


class PlannedMove(models.Model):
    """Cattle hauled, or another feed or pasture, on a day at an hour of the ranch's clock."""

    class Kind(models.TextChoices):
        """What is planned, by the names that the kernel uses."""

        HAUL = "haul", "Haul or move cattle"
        FEED_CHANGE = "feed change", "Change feed or pasture"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="moves")
    kind = models.CharField("what", max_length=12, choices=Kind)
    day = models.DateField("on")
    begins = models.TimeField("from", default=time(6))
    ends = models.TimeField("until about", default=time(10))
    origin = models.CharField("from where, or which feed", max_length=100)
    goal = models.CharField("to where, or which feed", max_length=100)
    supplement = models.BooleanField("with a supplement for six weeks", default=False)
    withdrawn = models.BooleanField(default=False)
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ("day", "begins")
        constraints = [
            models.CheckConstraint(condition=models.Q(begins__lt=models.F("ends")), name="a_move_ends_after_it_begins")
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.origin} to {self.goal}"
