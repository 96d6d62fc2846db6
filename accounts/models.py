"""People, co-operatives (the tenants) and who is what in which."""

import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone

from accounts.permissions import Role
from accounts.zones import zone_choices


class UserManager(BaseUserManager["User"]):
    """People are created by e-mail address."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """Create a person; the address is kept in lower case so that one person is one account."""
        if not email:
            raise ValidationError({"email": "An e-mail address is needed."})
        user = self.model(email=email.lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """Create the person who runs this installation."""
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)


class User(AbstractBaseUser, PermissionsMixin):
    """A person. Co-ops and roles come from memberships."""

    class WeightUnit(models.TextChoices):
        """How weights are shown."""

        POUND = "lb", "pounds (lb)"
        KILOGRAM = "kg", "kilograms (kg)"

    class LengthUnit(models.TextChoices):
        """How lengths are shown."""

        INCH = "in", "inches (in)"
        CENTIMETRE = "cm", "centimetres (cm)"

    class TemperatureUnit(models.TextChoices):
        """How temperatures are shown."""

        FAHRENHEIT = "F", "Fahrenheit (°F)"
        CELSIUS = "C", "Celsius (°C)"

    class DistanceUnit(models.TextChoices):
        """How road distances are shown."""

        MILE = "mi", "miles"
        KILOMETRE = "km", "kilometres"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField("e-mail", unique=True)
    name = models.CharField("name", max_length=120, blank=True)
    phone = models.CharField("telephone", max_length=40, blank=True)
    weight_unit = models.CharField("weights in", max_length=2, choices=WeightUnit, default=WeightUnit.POUND)
    length_unit = models.CharField("lengths in", max_length=2, choices=LengthUnit, default=LengthUnit.INCH)
    temperature_unit = models.CharField(
        "temperatures in", max_length=1, choices=TemperatureUnit, default=TemperatureUnit.FAHRENHEIT
    )
    distance_unit = models.CharField("distances in", max_length=2, choices=DistanceUnit, default=DistanceUnit.MILE)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    date_joined = models.DateTimeField(default=timezone.now)

    objects: ClassVar[UserManager] = UserManager()
    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    def __str__(self) -> str:
        return self.name or self.email

    def get_short_name(self) -> str:
        """The name to greet with."""
        return self.name or self.email


class Cooperative(models.Model):
    """A breeding co-op: the tenant. Nothing of one co-op is ever shown in another."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField("name", max_length=120)
    slug = models.SlugField("short name in addresses", max_length=60, unique=True)
    zone = models.CharField("time zone", max_length=64, choices=zone_choices)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    """One role of one person in one co-op; a person may hold several."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField("role", max_length=20, choices=[(role.value, role.label) for role in Role])
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ("user__name", "role")
        constraints = [
            models.UniqueConstraint(fields=("cooperative", "user", "role"), name="one_membership_per_role"),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {Role(self.role).label}, {self.cooperative}"


class Invitation(models.Model):
    """An invitation by e-mail link. Only a hash of the link's token is kept."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    cooperative = models.ForeignKey(Cooperative, on_delete=models.CASCADE, related_name="invitations")
    email = models.EmailField("e-mail")
    role = models.CharField("role", max_length=20, choices=[(role.value, role.label) for role in Role])
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    invited_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-created_at",)
        constraints = [
            models.UniqueConstraint(
                Lower("email"),
                "cooperative",
                "role",
                condition=models.Q(accepted_at=None, withdrawn_at=None),
                name="one_open_invitation",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.email} as {Role(self.role).label}"
