"""Forms of technicians and barns."""

from typing import Any

from django import forms

from accounts.forms import OwnedForm
from accounts.models import Cooperative, User
from accounts.permissions import Role
from accounts.widgets import DayInput, TimeInput
from herdplan.technicians.models import Barn, DayOff, Technician


class TechnicianForm(OwnedForm[Technician]):
    """A technician. Who signs in as the technician is chosen by the coordinator only."""

    skills_text = forms.CharField(
        label="Skills", required=False, help_text="Separate several with commas, for example: sexed semen"
    )

    class Meta:
        model = Technician
        fields = ("name", "phone", "lat", "lon", "starts", "ends", "ai_rate", "max_head_per_day", "user")
        widgets = {"starts": TimeInput(), "ends": TimeInput()}
        help_texts = {
            "lat": "Where the day begins and ends. Degrees, north positive.",
            "lon": "Degrees, east positive, so west is negative.",
            "ai_rate": "At a single chute 20 to 25 is common.",
            "max_head_per_day": "Arms tire: some slow down after 30, others after 50 or 100.",
        }

    def __init__(self, *args: Any, cooperative: Cooperative, choose_user: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.cooperative = cooperative
        if self.instance.name:
            self.initial["skills_text"] = ", ".join(self.instance.skills)
        if choose_user:
            field = self.fields["user"]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = User.objects.filter(
                memberships__cooperative=cooperative, memberships__role=Role.TECHNICIAN
            ).order_by("name")
        else:
            del self.fields["user"]

    def clean(self) -> dict[str, Any]:
        """Hours in order; skills as a list of different words."""
        values = super().clean() or {}
        if values.get("starts") and values.get("ends") and values["starts"] >= values["ends"]:
            self.add_error("ends", "Choose an hour after the first one.")
        words = (word.strip().lower() for word in values.get("skills_text", "").split(","))
        self.instance.skills = sorted({word for word in words if word})
        return values


class DayOffForm(forms.ModelForm[DayOff]):
    """A stretch of days off."""

    class Meta:
        model = DayOff
        fields = ("first_day", "last_day", "reason")
        widgets = {"first_day": DayInput(), "last_day": DayInput()}

    def clean(self) -> dict[str, Any]:
        """In order and of a length that somebody means."""
        values = super().clean() or {}
        first, last = values.get("first_day"), values.get("last_day")
        if first and last and first > last:
            self.add_error("last_day", "Choose a day that is not before the first one.")
        elif first and last and (last - first).days > 366:
            self.add_error("last_day", "At most a year at once.")
        return values


class BarnForm(OwnedForm[Barn]):
    """A shared breeding barn."""

    class Meta:
        model = Barn
        fields = ("name", "stalls", "clean_hours")
