"""Ranches, their herds, breeding groups and females."""

import uuid
from datetime import time

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone

from accounts.models import Cooperative, User
from accounts.zones import zone_choices


class AnimalClass(models.TextChoices):
    """Classes of female, by the names the catalogue uses."""

    HEIFER = "heifer", "Heifers"
    COW = "cow", "Cows"
    BOS_INDICUS_COW = "bos_indicus_influenced_cow", "Cows, Bos indicus-influenced"


class Ranch(models.Model):
    """A place where cattle are handled: coordinates, hours, chute."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="ranches")
    name = models.CharField("name", max_length=120)
    slug = models.SlugField("short name in addresses", max_length=60)
    lat = models.FloatField("latitude", validators=[MinValueValidator(-90), MaxValueValidator(90)])
    lon = models.FloatField("longitude", validators=[MinValueValidator(-180), MaxValueValidator(180)])
    zone = models.CharField("time zone", max_length=64, choices=zone_choices)
    opens = models.TimeField("cattle handled from", default=time(6, 0))
    closes = models.TimeField("cattle handled until", default=time(20, 0))
    treat_rate = models.FloatField(
        "head treated per hour", default=60, validators=[MinValueValidator(1), MaxValueValidator(400)]
    )
    ai_rate = models.FloatField(
        "head inseminated per hour by the ranch itself",
        default=20,
        validators=[MinValueValidator(1), MaxValueValidator(200)],
    )
    ai_stalls = models.PositiveSmallIntegerField(
        "stalls where AI can be done at once", default=1, validators=[MinValueValidator(1), MaxValueValidator(10)]
    )
    directions = models.CharField("directions and gate", max_length=300, blank=True)
    people = models.ManyToManyField(User, blank=True, related_name="ranches", verbose_name="ranchers")
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        verbose_name_plural = "ranches"
        ordering = ("name",)
        constraints = [
            models.UniqueConstraint(fields=("cooperative", "slug"), name="ranch_slug_once_per_coop"),
            models.CheckConstraint(
                condition=models.Q(opens__lt=models.F("closes")), name="ranch_opens_before_it_closes"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ClosedDay(models.Model):
    """A day on which the ranch handles no cattle."""

    ranch = models.ForeignKey(Ranch, on_delete=models.CASCADE, related_name="closed_days")
    day = models.DateField("day")
    reason = models.CharField("reason", max_length=120, blank=True)

    class Meta:
        ordering = ("day",)
        constraints = [models.UniqueConstraint(fields=("ranch", "day"), name="closed_day_once")]

    def __str__(self) -> str:
        return f"{self.ranch}: {self.day:%a %d %b %Y}"


class Herd(models.Model):
    """Cattle of a ranch that are kept and looked after together."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    ranch = models.ForeignKey(Ranch, on_delete=models.CASCADE, related_name="herds")
    name = models.CharField("name", max_length=120)
    notes = models.TextField("notes", blank=True)

    class Meta:
        ordering = ("ranch__name", "name")
        constraints = [
            models.UniqueConstraint(
                "ranch",
                Lower("name"),
                name="herd_name_once_per_ranch",
                violation_error_message="The ranch has a herd of this name already; choose another.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.ranch.name}, {self.name}"


class BreedingGroup(models.Model):
    """Females of one class that go through the chute together under one protocol."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    herd = models.ForeignKey(Herd, on_delete=models.CASCADE, related_name="groups")
    name = models.CharField("name", max_length=120)
    animal_class = models.CharField("class", max_length=30, choices=AnimalClass)
    head = models.PositiveIntegerField("head", validators=[MinValueValidator(1), MaxValueValidator(5000)])
    notes = models.TextField("notes", blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ("herd__ranch__name", "herd__name", "name")
        constraints = [
            models.UniqueConstraint(
                "herd",
                Lower("name"),
                name="group_name_once_per_herd",
                violation_error_message="The herd has a group of this name already; choose another.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.herd.ranch.name}: {self.name}"


class Female(models.Model):
    """One cow or heifer."""

    class Status(models.TextChoices):
        """Where she is in the herd's book."""

        ACTIVE = "active", "In the herd"
        SOLD = "sold", "Sold"
        DEAD = "dead", "Dead"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    herd = models.ForeignKey(Herd, on_delete=models.CASCADE, related_name="females")
    group = models.ForeignKey(
        BreedingGroup,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="females",
        verbose_name="breeding group",
    )
    tag = models.CharField("tag", max_length=40)
    official_id = models.CharField("official ID", max_length=40, blank=True)
    animal_class = models.CharField("class", max_length=30, choices=AnimalClass)
    breed = models.CharField("breed", max_length=80, blank=True)
    born = models.DateField("born", null=True, blank=True)
    last_calved = models.DateField("last calved", null=True, blank=True)
    status = models.CharField("status", max_length=10, choices=Status, default=Status.ACTIVE)
    notes = models.CharField("notes", max_length=300, blank=True)

    class Meta:
        ordering = ("tag",)
        constraints = [
            models.UniqueConstraint(
                "herd",
                Lower("tag"),
                name="tag_once_per_herd",
                violation_error_message="The herd has a female with this tag already.",
            )
        ]

    def __str__(self) -> str:
        return self.tag
