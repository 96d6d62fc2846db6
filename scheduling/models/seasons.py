"""Seasons, the groups entered in them, plan versions, and the published steps and bookings."""

import uuid

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User
from accounts.zones import zone_choices
from herdplan.herds.models import BreedingGroup, Ranch
from herdplan.technicians.models import Barn, Technician


class Season(models.Model):
    """A stretch of days that is planned as one."""

    class State(models.TextChoices):
        """How far the season has come."""

        OPEN = "open", "Taking entries"
        PUBLISHED = "published", "Published"
        CLOSED = "closed", "Closed"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="seasons")
    name = models.CharField("name", max_length=120)
    first_day = models.DateField("first day")
    last_day = models.DateField("last day")
    zone = models.CharField("time zone", max_length=64, choices=zone_choices)
    road_factor = models.FloatField(
        "road km per straight-line km", default=1.3, validators=[MinValueValidator(1), MaxValueValidator(5)]
    )
    speed_kmh = models.FloatField(
        "driving speed, km/h", default=70, validators=[MinValueValidator(10), MaxValueValidator(130)]
    )
    weights = models.JSONField("cost weights", default=dict, blank=True)
    state = models.CharField("state", max_length=10, choices=State, default=State.OPEN)
    plan = models.ForeignKey(
        "PlanVersion", on_delete=models.SET_NULL, null=True, blank=True, related_name="+", verbose_name="plan in work"
    )
    published_plan = models.ForeignKey(
        "PlanVersion", on_delete=models.SET_NULL, null=True, blank=True, related_name="+", verbose_name="published plan"
    )
    published_at = models.DateTimeField(null=True, blank=True)
    calendar_version = models.PositiveBigIntegerField(default=0, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ("-first_day", "name")
        constraints = [
            models.UniqueConstraint(fields=("cooperative", "name"), name="season_name_once_per_coop"),
            models.CheckConstraint(
                condition=models.Q(first_day__lte=models.F("last_day")), name="season_first_before_last"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def entered(self) -> "models.QuerySet[SeasonEntry]":
        """The groups that are in the season: without those that were taken out after publishing."""
        return SeasonEntry.objects.filter(season=self, withdrawn_at=None)


class Order(models.TextChoices):
    """Whether animals come to AI in the order of treatment."""

    KEPT = "kept", "Same order at AI as at treatment"
    ANY = "any", "Any order"


class Hands(models.TextChoices):
    """Who does the work."""

    RANCH = "ranch", "The ranch's own crew"
    TECHNICIAN = "technician", "A technician of the co-op"


class SeasonEntry(models.Model):
    """A breeding group entered in a season, with its wishes."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="entries")
    group = models.ForeignKey(BreedingGroup, on_delete=models.CASCADE, related_name="entries")
    protocol = models.CharField("protocol", max_length=60)
    head = models.PositiveIntegerField("head", validators=[MinValueValidator(1), MaxValueValidator(5000)])
    ai_from = models.DateField("AI from")
    ai_to = models.DateField("AI to")
    ai_wanted = models.DateField("AI wanted on")
    order = models.CharField("order through the chute", max_length=10, choices=Order, default=Order.KEPT)
    ai_by = models.CharField("AI by", max_length=10, choices=Hands, default=Hands.TECHNICIAN)
    steps_by = models.CharField("treatments by", max_length=10, choices=Hands, default=Hands.RANCH)
    skills = models.JSONField("skills asked for", default=list, blank=True)
    needs_barn = models.BooleanField("needs the breeding barn", default=False)
    # Of this season's entry and not of the group: bulls go in after AI, and next year's tick must be made anew.
    kept_from_bulls = models.BooleanField(
        "kept from bulls since they last calved or were weaned",
        default=False,
        help_text="Tick it only where no bull could reach any of them: PG makes a pregnant female abort.",
    )
    # A published group that is taken out keeps its row, so that its steps and bookings can be cancelled in every calendar.
    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        verbose_name_plural = "season entries"
        ordering = ("group__herd__ranch__name", "group__name")
        constraints = [
            models.UniqueConstraint(fields=("season", "group"), name="group_once_per_season"),
            models.CheckConstraint(
                condition=models.Q(ai_from__lte=models.F("ai_wanted"), ai_wanted__lte=models.F("ai_to")),
                name="ai_wanted_inside_window",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.group} in {self.season}"


class StepRecord(models.Model):
    """A step that was carried out: it stays where it is in every later plan."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="records")
    step = models.CharField("step", max_length=40)
    at = models.DateTimeField("done at")
    head = models.PositiveIntegerField("head inseminated", null=True, blank=True)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ("at",)
        constraints = [models.UniqueConstraint(fields=("entry", "step"), name="step_done_once")]

    def __str__(self) -> str:
        return f"{self.entry}: {self.step}"


class PlanVersion(models.Model):
    """One plan of a season, with the problem it answers: both as the documents of the file formats."""

    class Origin(models.TextChoices):
        """Where the plan came from."""

        SOLVER = "solver", "Planned"
        HAND = "hand", "Changed by hand"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="plans")
    number = models.PositiveIntegerField("version")
    origin = models.CharField(max_length=10, choices=Origin)
    parent = models.ForeignKey("self", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    problem = models.JSONField()
    document = models.JSONField()
    broken = models.JSONField(default=list)
    status = models.CharField(max_length=20)
    cost_total = models.FloatField()
    created_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ("-number",)
        constraints = [models.UniqueConstraint(fields=("season", "number"), name="plan_number_once")]

    def __str__(self) -> str:
        return f"{self.season}, plan {self.number}"


class PlanJob(models.Model):
    """A request to plan a season: claimed with a lease, so that a lost worker loses nothing."""

    class State(models.TextChoices):
        """Where the job is."""

        QUEUED = "queued", "Waiting"
        RUNNING = "running", "Planning"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"
        STOPPED = "stopped", "Stopped"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="jobs")
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    seed = models.PositiveIntegerField(default=1)
    rounds = models.PositiveIntegerField(null=True, blank=True)
    seconds = models.FloatField(null=True, blank=True)
    keep = models.ForeignKey(PlanVersion, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    progress = models.PositiveSmallIntegerField("per cent", default=0)
    best_cost = models.FloatField(null=True, blank=True)
    message = models.CharField(max_length=300, blank=True)
    stop_asked = models.BooleanField(default=False)
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_token = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    result = models.ForeignKey(PlanVersion, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    created_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-created_at",)
        constraints = [
            models.UniqueConstraint(
                fields=("season",), condition=models.Q(state__in=("queued", "running")), name="one_open_job_per_season"
            )
        ]

    def __str__(self) -> str:
        return f"{self.season}: {self.get_state_display()}"


class PlanPart(models.Model):
    """A part of a season that some worker plans while the job's own worker waits. Sealed, because it is unpickled."""

    class State(models.TextChoices):
        """How far it is."""

        QUEUED = "queued", "Waiting"
        RUNNING = "running", "Being planned"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    job = models.ForeignKey(PlanJob, on_delete=models.CASCADE, related_name="parts")
    number = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    given = models.BinaryField()
    given_seal = models.CharField(max_length=64)
    found = models.BinaryField(null=True)
    found_seal = models.CharField(max_length=64, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ("made_at", "number")
        indexes = [models.Index(fields=("state", "made_at"), name="parts_that_wait")]

    def __str__(self) -> str:
        return f"Part {self.number + 1} of {self.job}"


class PlannedStep(models.Model):
    """A published step of a lot, as the ranch sees it: one event in a calendar."""

    class Status(models.TextChoices):
        """What became of it."""

        PLANNED = "planned", "Planned"
        DONE = "done", "Done"
        CANCELLED = "cancelled", "Cancelled"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="steps")
    ranch = models.ForeignKey(Ranch, on_delete=models.CASCADE, related_name="planned_steps")
    lot = models.PositiveSmallIntegerField()
    key = models.CharField(max_length=40)
    starts = models.DateTimeField()
    ends = models.DateTimeField()
    head = models.PositiveIntegerField()
    by = models.CharField(max_length=10, choices=Hands)
    status = models.CharField(max_length=10, choices=Status, default=Status.PLANNED)
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ("starts", "key")
        indexes = [models.Index(fields=("ranch", "starts"))]
        constraints = [models.UniqueConstraint(fields=("entry", "lot", "key"), name="step_once_per_lot")]

    def __str__(self) -> str:
        return f"{self.entry}, lot {self.lot + 1}: {self.key}"


class Booking(models.Model):
    """A technician at a ranch. `busy` covers the work and the drive to it; the database lets no two live ones overlap."""

    class Status(models.TextChoices):
        """Held or confirmed bookings block the technician; cancelled ones do not."""

        HELD = "held", "Held"
        CONFIRMED = "confirmed", "Confirmed"
        CANCELLED = "cancelled", "Cancelled"

    class Answer(models.TextChoices):
        """What the technician said to the invitation; empty: nothing yet, or not to the times that stand now."""

        ACCEPTED = "accepted", "Accepted"
        DECLINED = "declined", "Declined"
        TENTATIVE = "tentative", "Maybe"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="bookings")
    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="bookings")
    barn = models.ForeignKey(Barn, on_delete=models.SET_NULL, null=True, blank=True, related_name="bookings")
    lot = models.PositiveSmallIntegerField()
    step = models.CharField(max_length=40)
    starts = models.DateTimeField()
    ends = models.DateTimeField()
    busy_starts = models.DateTimeField("leaves for it")
    busy_ends = models.DateTimeField("free again")
    km_before = models.FloatField("km driven to it", default=0)
    head = models.PositiveIntegerField()
    status = models.CharField(max_length=10, choices=Status, default=Status.CONFIRMED)
    answer = models.CharField(max_length=10, choices=Answer, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ("starts",)
        indexes = [models.Index(fields=("technician", "starts"))]
        constraints = [
            models.UniqueConstraint(fields=("entry", "lot", "step", "technician"), name="booking_once"),
            models.CheckConstraint(
                condition=models.Q(
                    busy_starts__lte=models.F("starts"), starts__lt=models.F("ends"), ends__lte=models.F("busy_ends")
                ),
                name="booking_times_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.technician}: {self.entry}"


class ProtocolAdjustment(models.Model):
    """A co-op's own hour window at a step of a protocol, with the reason on record. The latest one counts."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="protocol_adjustments")
    protocol = models.CharField("protocol", max_length=60)
    step = models.CharField("step", max_length=40)
    min_h = models.FloatField("not before, hours")
    target_h = models.FloatField("aimed at, hours")
    max_h = models.FloatField("not after, hours")
    reason = models.CharField("reason, and who advised it", max_length=300)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-made_at",)
        constraints = [
            models.UniqueConstraint(
                fields=("cooperative", "protocol", "step"),
                condition=models.Q(withdrawn_at=None),
                name="one_adjustment_in_force",
            )
        ]

    def __str__(self) -> str:
        return f"{self.protocol}, {self.step}: {self.min_h:g} to {self.max_h:g} h"


class EntryNote(models.Model):
    """A comment that somebody writes about a group's entry."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey(SeasonEntry, on_delete=models.CASCADE, related_name="notes")
    text = models.CharField("text", max_length=1000)
    by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    written_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("-written_at",)

    def __str__(self) -> str:
        return f"Note on {self.entry}"
