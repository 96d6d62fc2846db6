"""Feed tokens, the one channel by which dates reach a person's calendar, and who was asked to what."""

import uuid

from django.db import models
from django.utils import timezone

from accounts.models import Cooperative, User
from herdplan.herds.models import Herd, Ranch
from herdplan.reminders.models import OutboxMessage
from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlannedStep


class FeedToken(models.Model):
    """One subscription address. The token itself is shown once; only its SHA-256 is kept.

    The `built_` fields say what the last answer was made from, so that an unchanged feed is answered without its rows.
    """

    class Kind(models.TextChoices):
        """What the feed shows."""

        HERD = "herd", "One herd"
        TECHNICIAN = "technician", "One technician"
        COOP = "coop", "The whole co-op"

    class Alarm(models.IntegerChoices):
        """Minutes before an event at which a calendar may ring; many calendars drop it."""

        NONE = 0, "No alarm (most calendars drop it; messages come from here)"
        HOUR = 60, "One hour before"
        THREE_HOURS = 180, "Three hours before"
        EVENING = 720, "Twelve hours before"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="feeds")
    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="feeds")
    name = models.CharField("name", max_length=80)
    kind = models.CharField("shows", max_length=10, choices=Kind)
    herd = models.ForeignKey(Herd, on_delete=models.CASCADE, null=True, blank=True, related_name="feeds")
    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, null=True, blank=True, related_name="feeds")
    alarm = models.PositiveSmallIntegerField("alarm", choices=Alarm, default=Alarm.NONE)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_fetch_at = models.DateTimeField(null=True, blank=True)
    last_client = models.CharField(max_length=120, blank=True)
    hour = models.PositiveIntegerField("hour of the last fetch, since 1970", default=0, editable=False)
    fetches = models.PositiveIntegerField("fetches in that hour", default=0, editable=False)
    built_for = models.CharField(max_length=64, blank=True, editable=False)
    built_hash = models.CharField(max_length=64, blank=True, editable=False)
    built_tag = models.CharField(max_length=64, blank=True, editable=False)
    built_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind="herd", herd__isnull=False, technician=None)
                | models.Q(kind="technician", herd=None, technician__isnull=False)
                | models.Q(kind="coop", herd=None, technician=None),
                name="feed_has_its_subject",
            )
        ]

    def __str__(self) -> str:
        return self.name


class CalendarChoice(models.Model):
    """By which one channel dates reach a person's calendar: two would show every date twice."""

    class Channel(models.TextChoices):
        """The channels."""

        FEED = "feed", "Feeds: my calendar subscribes to an address"
        INVITATIONS = "invitations", "Invitations by e-mail that I accept or decline"
        PUSH = "push", "Written into a calendar of my own (CalDAV)"

    user = models.OneToOneField(User, on_delete=models.CASCADE, primary_key=True, related_name="calendar_choice")
    channel = models.CharField("dates reach my calendar by", max_length=12, choices=Channel)
    chosen_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.user}: {self.get_channel_display()}"


class Place(models.Model):
    """How often what calendars say of a ranch (name, directions, position, its groups' names) has changed."""

    ranch = models.OneToOneField(Ranch, on_delete=models.CASCADE, primary_key=True, related_name="calendar_place")
    digest = models.CharField(max_length=64)
    number = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.ranch}: {self.number}"


class Attendance(models.Model):
    """One person asked by mail to one booking or one step. What was said last is kept, so that it can be taken back."""

    class State(models.TextChoices):
        """Whether the asking stands."""

        ASKED = "asked", "Asked"
        WITHDRAWN = "withdrawn", "Taken back"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="attendances")
    user = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="attendances")
    booking = models.ForeignKey(Booking, on_delete=models.SET_NULL, null=True, blank=True, related_name="attendances")
    step = models.ForeignKey(PlannedStep, on_delete=models.SET_NULL, null=True, blank=True, related_name="attendances")
    uid = models.CharField("UID", max_length=200)
    address = models.EmailField("e-mail")
    name = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.ASKED)
    version = models.PositiveIntegerField("of the row and its place, as told")
    row_sequence = models.PositiveIntegerField("of the row, as told")
    sequence = models.PositiveIntegerField("SEQUENCE, as told")
    starts = models.DateTimeField()
    ends = models.DateTimeField()
    zone = models.CharField(max_length=64)
    summary = models.CharField(max_length=200)
    place = models.CharField(max_length=500, blank=True)
    answer = models.CharField(max_length=10, choices=Booking.Answer, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.CharField(max_length=10, blank=True, choices=[("mail", "by mail"), ("link", "by the link")])
    comment = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("starts", "name")
        indexes = [models.Index(fields=("state", "ends")), models.Index(fields=("uid",))]
        constraints = [
            models.UniqueConstraint(fields=("booking", "user"), name="asked_once_to_a_booking"),
            models.UniqueConstraint(fields=("step", "user"), name="asked_once_to_a_step"),
        ]

    def __str__(self) -> str:
        return f"{self.name or self.address}: {self.summary}"


class Letter(models.Model):
    """An iTIP message as it was written, with the outbox row that carries it. Its Message-ID never changes."""

    class Method(models.TextChoices):
        """What it asks of the receiving calendar."""

        REQUEST = "REQUEST", "Asked"
        CANCEL = "CANCEL", "Cancelled"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    attendance = models.ForeignKey(Attendance, on_delete=models.CASCADE, related_name="letters")
    message = models.OneToOneField(OutboxMessage, on_delete=models.SET_NULL, null=True, related_name="letter")
    address = models.EmailField("e-mail")
    method = models.CharField(max_length=7, choices=Method)
    sequence = models.PositiveIntegerField()
    text = models.TextField()
    written_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("sequence",)
        constraints = [models.UniqueConstraint(fields=("attendance", "sequence"), name="one_letter_a_sequence")]

    def __str__(self) -> str:
        return f"{self.method} {self.sequence}: {self.attendance}"


class OwnCollection(models.Model):
    """A person's own calendar on a CalDAV server that we write into. The secret is encrypted at rest."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="own_collections")
    address = models.URLField("address of the calendar", max_length=400)
    username = models.CharField("user name there", max_length=200)
    secret = models.TextField(editable=False)
    generation = models.PositiveIntegerField("raised when everything must be written again", default=0)
    leaving = models.BooleanField("our events are being taken out", default=False)
    stored_at = models.DateTimeField("last written to", null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=("user",), condition=models.Q(leaving=False), name="one_own_collection_in_use"
            )
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.address}"


class PushedItem(models.Model):
    """One event in a person's own calendar: what should be there (`text`, or `gone`), and what the server said last."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    collection = models.ForeignKey(OwnCollection, on_delete=models.CASCADE, related_name="items")
    message = models.OneToOneField(OutboxMessage, on_delete=models.SET_NULL, null=True, related_name="pushed")
    uid = models.CharField("UID", max_length=200)
    version = models.PositiveIntegerField()
    generation = models.PositiveIntegerField()
    ends = models.DateTimeField()
    gone = models.BooleanField(default=False)
    text = models.TextField()
    etag = models.CharField(max_length=200, blank=True)
    stored_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=("collection", "uid"), name="pushed_once")]

    def __str__(self) -> str:
        return self.uid


class HighWater(models.Model):
    """How often this database was looked at: the same count stands beside it, so that an older database is noticed."""

    looks = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return str(self.looks)
