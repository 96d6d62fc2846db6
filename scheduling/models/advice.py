"""Rows that the advice rests on: a co-op's prices and how it shares costs, and the weather that people bring in."""

import uuid
from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User
from herdplan.herds.models import Ranch


class SplitBy(models.TextChoices):
    """How a cost that ranches share is split."""

    HEAD = "head", "By head"
    EQUAL = "equal", "In equal parts"
    KM = "km", "By road distance from the technician's base"
    HALF = "half", "Half in equal parts, half by head"


# Of a barn nobody counts the way from a technician's base.
BARN_SPLITS = [choice for choice in SplitBy.choices if choice[0] != SplitBy.KM]


def _price(words: str) -> "models.DecimalField[Decimal | str | float | None, Decimal | None]":
    return models.DecimalField(
        words,
        max_digits=10,
        decimal_places=4,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100_000)],
    )


class CoopPrices(models.Model):
    """What things cost in a co-op. An empty price means the program's default, or for shared costs that none is charged."""

    cooperative = models.OneToOneField(Cooperative, on_delete=models.CASCADE, primary_key=True, related_name="prices")
    currency = models.CharField("currency sign", max_length=5, default="$")
    insert = _price("progesterone insert")
    gnrh = _price("GnRH, a dose")
    pg = _price("PG, a dose")
    mga_day = _price("MGA, a head and day")
    patch = _price("heat-detection patch")
    semen = _price("semen, a straw")
    semen_sexed = _price("sex-sorted semen, a straw")
    sheath = _price("AI sheath")
    glove = _price("AI glove")
    hour = _price("an hour of work")
    technician_head = _price("technician's fee a head inseminated")
    technician_visit = _price("technician's fee a visit")
    technician_day = _price("a technician's day")
    # Typed by the mile or the km; kept by the km, with places enough to come back unchanged.
    km = models.DecimalField(
        "a km of a technician's road",
        max_digits=14,
        decimal_places=8,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(1_000)],
    )
    barn_day = _price("a day of the breeding barn")
    technician_day_by = models.CharField(
        "technician days are split", max_length=6, choices=SplitBy, default=SplitBy.HEAD
    )
    km_by = models.CharField("the road is split", max_length=6, choices=SplitBy, default=SplitBy.HEAD)
    barn_by = models.CharField("barn days are split", max_length=6, choices=BARN_SPLITS, default=SplitBy.HEAD)
    changed_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")

    class Meta:
        verbose_name_plural = "co-op prices"

    def __str__(self) -> str:
        return f"Prices of {self.cooperative}"


class WeatherFile(models.Model):
    """A forecast or a station's file that somebody brought in, for a ranch or (without one) for every ranch of the co-op."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="weather_files")
    ranch = models.ForeignKey(Ranch, on_delete=models.CASCADE, null=True, blank=True, related_name="weather_files")
    name = models.CharField("file", max_length=200)
    first_hour = models.DateTimeField()
    last_hour = models.DateTimeField()
    count = models.PositiveIntegerField("hours")
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    brought_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("-brought_at",)

    def __str__(self) -> str:
        return self.name


class WeatherReading(models.Model):
    """One hour of a weather file: when it begins, temperature in °C, humidity in per cent."""

    file = models.ForeignKey(WeatherFile, on_delete=models.CASCADE, related_name="readings")
    at = models.DateTimeField()
    celsius = models.FloatField()
    humidity = models.FloatField()

    class Meta:
        ordering = ("at",)
        constraints = [models.UniqueConstraint(fields=("file", "at"), name="reading_once_an_hour")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.celsius:.1f} °C"


class MonthWeather(models.Model):
    """A month's normal day at a ranch, or (without one) at every ranch of the co-op."""

    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="month_weather")
    ranch = models.ForeignKey(Ranch, on_delete=models.CASCADE, null=True, blank=True, related_name="month_weather")
    month = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(12)])
    low_c = models.FloatField("lowest, °C", validators=[MinValueValidator(-60), MaxValueValidator(60)])
    high_c = models.FloatField("highest, °C", validators=[MinValueValidator(-60), MaxValueValidator(60)])
    morning_humidity = models.FloatField(
        "morning humidity, %", validators=[MinValueValidator(1), MaxValueValidator(100)]
    )
    afternoon_humidity = models.FloatField(
        "afternoon humidity, %", validators=[MinValueValidator(1), MaxValueValidator(100)]
    )

    class Meta:
        verbose_name_plural = "month weather"
        ordering = ("month",)
        constraints = [
            models.UniqueConstraint(fields=("ranch", "month"), name="normal_once_per_ranch_and_month"),
            models.UniqueConstraint(
                fields=("cooperative", "month"), condition=models.Q(ranch=None), name="normal_once_per_coop_and_month"
            ),
            models.CheckConstraint(condition=models.Q(low_c__lte=models.F("high_c")), name="normal_low_not_above_high"),
        ]

    def __str__(self) -> str:
        return f"{self.month}: {self.low_c:.1f} to {self.high_c:.1f} °C"
