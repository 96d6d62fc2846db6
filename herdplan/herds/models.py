"""Ranches, their herds, breeding groups, females and what was seen of them."""

import uuid
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

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
    last_stop = models.BooleanField(
        "a technician goes to no other ranch after this one on the same day",
        default=False,
        help_text="For a herd with a disease that boots and sleeves could carry; the veterinarian says when.",
    )
    directions = models.CharField("directions and gate", max_length=300, blank=True)
    people = models.ManyToManyField(User, blank=True, related_name="ranches", verbose_name="ranchers")
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        verbose_name_plural = "ranches"
        ordering = ("name",)
        constraints = [
            models.UniqueConstraint(fields=("cooperative", "slug"), name="ranch_slug_once_per_coop"),
            models.UniqueConstraint(
                "cooperative",
                Lower("name"),
                name="ranch_name_once_per_coop",
                violation_error_message="The co-op has a ranch of this name already; choose another.",
            ),
            models.CheckConstraint(
                condition=models.Q(opens__lt=models.F("closes")), name="ranch_opens_before_it_closes"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def day_at(self, now: datetime) -> date:
        """The day it is at the ranch: in the evening, UTC is a day ahead."""
        return now.astimezone(ZoneInfo(self.zone)).date()


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
    mature_kg = models.FloatField(
        "weight of a mature cow, kg",
        null=True,
        blank=True,
        validators=[MinValueValidator(200), MaxValueValidator(1_500)],
    )
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


# From conception to calving, over all breeds: "Gestation Length" (guideline), Beef Improvement Federation, undated.
GESTATION_DAYS = 283


class Record(models.Model):
    """One thing seen of one female on one day, in kg and cm. `kind` says which columns are filled.

    A record is never overwritten: a correction withdraws it and stands beside it, so that who said what when stays on
    record. For a calving `day` is the day she calved; for a hold, the day it begins (`until` is its last day, None while open).
    `days_pregnant` is how far along a pregnancy check found her, where it told.
    """

    class Kind(models.TextChoices):
        """What was seen."""

        WEIGHT = "weight", "Weight"
        TRACT = "tract", "Tract score"
        PELVIS = "pelvis", "Pelvis"
        CONDITION = "condition", "Body condition"
        CALVING = "calving", "Calving"
        VACCINATION = "vaccination", "Vaccination"
        PREGNANCY = "pregnancy", "Pregnancy check"
        HOLD = "hold", "Health hold"

    class Vaccine(models.TextChoices):
        """Kinds of vaccine that differ in how long before breeding they must be given; never a product."""

        VIRAL_LIVE = "viral_live", "Viral (IBR, BVD), modified-live"
        VIRAL_KILLED = "viral_killed", "Viral (IBR, BVD), killed"
        LEPTOSPIRA = "leptospira", "Leptospira"
        CAMPYLOBACTER = "campylobacter", "Campylobacter (vibrio)"
        CLOSTRIDIAL = "clostridial", "Clostridial"
        OTHER = "other", "Another vaccine"

    class Pregnancy(models.TextChoices):
        """What a pregnancy check said."""

        OPEN = "open", "Open"
        PREGNANT = "pregnant", "Pregnant"
        UNKNOWN = "unknown", "Not sure"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    female = models.ForeignKey(Female, on_delete=models.CASCADE, related_name="records")
    kind = models.CharField("kind", max_length=12, choices=Kind)
    day = models.DateField("day")
    weight_kg = models.FloatField("weight, kg", null=True, blank=True)
    tract_score = models.PositiveSmallIntegerField("tract score", null=True, blank=True)
    pelvic_height_cm = models.FloatField("pelvic height, cm", null=True, blank=True)
    pelvic_width_cm = models.FloatField("pelvic width, cm", null=True, blank=True)
    condition = models.FloatField("body condition", null=True, blank=True)
    vaccine = models.CharField("vaccine", max_length=20, choices=Vaccine, blank=True)
    pregnancy = models.CharField("pregnancy", max_length=10, choices=Pregnancy, blank=True)
    days_pregnant = models.PositiveSmallIntegerField("days pregnant", null=True, blank=True)
    reason = models.CharField("reason", max_length=200, blank=True)
    until = models.DateField("until", null=True, blank=True)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    at = models.DateTimeField(default=timezone.now, editable=False)
    withdrawn_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-day", "kind", "-at")
        indexes = [models.Index(fields=("female", "kind", "-day"), name="record_latest_by_kind")]
        constraints = [
            models.UniqueConstraint(
                fields=("female", "kind", "day", "vaccine"),
                condition=models.Q(withdrawn_at=None),
                name="one_record_of_a_kind_a_day",
            ),
            models.CheckConstraint(
                # A comparison with NULL would pass: each column is asked for first.
                name="record_holds_what_its_kind_says",
                condition=models.Q(kind="weight", weight_kg__isnull=False, weight_kg__gt=0)
                | models.Q(kind="tract", tract_score__isnull=False, tract_score__range=(1, 5))
                | models.Q(kind="pelvis", pelvic_height_cm__isnull=False, pelvic_width_cm__isnull=False)
                | models.Q(kind="condition", condition__isnull=False, condition__range=(1, 9))
                | models.Q(kind="calving")
                | (models.Q(kind="vaccination") & ~models.Q(vaccine=""))
                | (
                    models.Q(kind="pregnancy")
                    & ~models.Q(pregnancy="")
                    & (models.Q(days_pregnant=None) | models.Q(pregnancy="pregnant", days_pregnant__range=(1, 310)))
                )
                | (
                    models.Q(kind="hold")
                    & ~models.Q(reason="")
                    & (models.Q(until=None) | models.Q(until__gte=models.F("day")))
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.day:%a %d %b %Y}"

    @property
    def due(self) -> date | None:
        """When she is expected to calve by this check; None where it did not tell how far along she is."""
        if self.days_pregnant is None:
            return None
        return self.day + timedelta(days=GESTATION_DAYS - self.days_pregnant)


class ChuteDay(models.Model):
    """A day's typing at the chute: which animals, and what is typed of each."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    herd = models.ForeignKey(Herd, on_delete=models.CASCADE, related_name="chute_days")
    group = models.ForeignKey(
        BreedingGroup, on_delete=models.CASCADE, null=True, blank=True, related_name="chute_days", verbose_name="group"
    )
    day = models.DateField("day")
    asked = models.JSONField("typed today", default=list)
    vaccines = models.JSONField("vaccines given today", default=list, blank=True)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ("-day", "-created_at")

    def __str__(self) -> str:
        return f"{self.group.name if self.group else self.herd.name}, {self.day:%a %d %b %Y}"


class ChuteSave(models.Model):
    """One page of one animal as it was saved: a post that the phone repeats finds itself here and changes nothing."""

    chute = models.ForeignKey(ChuteDay, on_delete=models.CASCADE, related_name="saves")
    female = models.ForeignKey(Female, on_delete=models.CASCADE, related_name="+")
    key = models.UUIDField()
    digest = models.CharField(max_length=64)
    at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=("chute", "female", "key", "digest"), name="chute_page_saved_once")
        ]

    def __str__(self) -> str:
        return f"{self.chute}: {self.female}"


class RecordUpload(models.Model):
    """A sheet of records between being sent and being taken in. Its cells are dropped once it is in."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    herd = models.ForeignKey(Herd, on_delete=models.CASCADE, related_name="record_uploads")
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    name = models.CharField(max_length=200)
    table = models.JSONField(default=list)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    saved_at = models.DateTimeField(null=True, blank=True)
    saved_count = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("-created_at",)

    def __str__(self) -> str:
        return self.name
