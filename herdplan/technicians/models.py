"""AI technicians and the shared breeding barns."""

import uuid
from datetime import time

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower

from accounts.models import Cooperative, User


class Technician(models.Model):
    """Who inseminates: base, hours (in the co-op's time zone), rates, limits, skills."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="technicians")
    user = models.ForeignKey(
        User,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="technician_profiles",
        verbose_name="signs in as",
    )
    name = models.CharField("name", max_length=120)
    phone = models.CharField("telephone", max_length=40, blank=True)
    lat = models.FloatField("base latitude", validators=[MinValueValidator(-90), MaxValueValidator(90)])
    lon = models.FloatField("base longitude", validators=[MinValueValidator(-180), MaxValueValidator(180)])
    starts = models.TimeField("leaves base from", default=time(5, 0))
    ends = models.TimeField("back at base by", default=time(20, 0))
    ai_rate = models.FloatField(
        "head inseminated per hour", default=25, validators=[MinValueValidator(1), MaxValueValidator(200)]
    )
    max_head_per_day = models.PositiveIntegerField(
        "most head inseminated in a day", default=100, validators=[MinValueValidator(1), MaxValueValidator(1000)]
    )
    skills = models.JSONField("skills", default=list, blank=True)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.UniqueConstraint(
                "cooperative",
                Lower("name"),
                name="technician_name_once_per_coop",
                violation_error_message="The co-op has a technician of this name already.",
            ),
            models.UniqueConstraint(
                fields=("cooperative", "user"),
                condition=models.Q(user__isnull=False),
                name="one_technician_per_person",
                violation_error_message="This person is a technician here already.",
            ),
            models.CheckConstraint(
                condition=models.Q(starts__lt=models.F("ends")), name="technician_starts_before_ends"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class DayOff(models.Model):
    """Days on which a technician does not work, both ends included."""

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="days_off")
    first_day = models.DateField("from")
    last_day = models.DateField("to")
    reason = models.CharField("reason", max_length=120, blank=True)

    class Meta:
        verbose_name_plural = "days off"
        ordering = ("first_day",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(first_day__lte=models.F("last_day")), name="day_off_from_before_to"
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician}: {self.first_day:%d %b %Y}"


class Barn(models.Model):
    """A portable breeding barn that the co-op shares: at one ranch a day, cleaned between ranches."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="barns")
    name = models.CharField("name", max_length=120)
    stalls = models.PositiveSmallIntegerField(
        "stalls", default=2, validators=[MinValueValidator(1), MaxValueValidator(10)]
    )
    clean_hours = models.FloatField(
        "hours to wash, disinfect and dry between ranches",
        default=2,
        validators=[MinValueValidator(0), MaxValueValidator(48)],
    )

    class Meta:
        ordering = ("name",)
        constraints = [
            models.UniqueConstraint(
                "cooperative",
                Lower("name"),
                name="barn_name_once_per_coop",
                violation_error_message="The co-op has a barn of this name already.",
            )
        ]

    def __str__(self) -> str:
        return self.name
