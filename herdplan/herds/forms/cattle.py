"""Forms of ranches, herds, groups and females, with the checks that a person can act on."""

from datetime import date
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.text import slugify

from accounts.forms import OwnedForm
from accounts.models import Cooperative, User
from accounts.permissions import Role
from accounts.units import Units, figure
from accounts.widgets import DayInput, TimeInput
from herdplan.herds.models import BreedingGroup, ClosedDay, Female, Herd, Ranch
from herdplan.herds.plausible import MATURE_KG
from herdplan.herds.typed import TypingFault, read_weight

_OLDEST_YEARS = 25


class RanchForm(OwnedForm[Ranch]):
    """A ranch. `people` are chosen by the coordinator only."""

    class Meta:
        model = Ranch
        fields = (
            "name",
            "lat",
            "lon",
            "zone",
            "opens",
            "closes",
            "treat_rate",
            "ai_rate",
            "ai_stalls",
            "last_stop",
            "directions",
            "people",
        )
        widgets = {"opens": TimeInput(), "closes": TimeInput(), "people": forms.CheckboxSelectMultiple()}
        help_texts = {
            "lat": "Degrees, north positive: 44.92. Open a map, press long on the pens and copy the first number.",
            "lon": "Degrees, east positive, so west is negative: -103.85. The second number.",
            "treat_rate": "Head through the chute per hour for a shot or an insert; 60 is common for a crew of four.",
            "ai_rate": "Counts only where the ranch inseminates its own; 20 is common.",
            "directions": "What a technician must know at the gate.",
        }

    def __init__(self, *args: Any, cooperative: Cooperative, choose_people: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.cooperative = cooperative
        if choose_people:
            field = self.fields["people"]
            assert isinstance(field, forms.ModelMultipleChoiceField)
            field.queryset = User.objects.filter(
                memberships__cooperative=cooperative, memberships__role=Role.RANCHER
            ).order_by("name")
            field.required = False
        else:
            del self.fields["people"]

    def clean(self) -> dict[str, Any]:
        """Hours in order; coordinates that look swapped; a short name of its own."""
        values = super().clean() or {}
        opens, closes = values.get("opens"), values.get("closes")
        if opens and closes and opens >= closes:
            self.add_error("closes", "Choose an hour after the first one.")
        lat, lon, zone = values.get("lat"), values.get("lon"), str(values.get("zone", ""))
        if lat is not None and lon is not None and zone.startswith("America/") and lon > 0:
            self.add_error("lon", "This lies east of Greenwich; west is negative. Did the minus get lost?")
        if not self.instance.slug and values.get("name"):
            self.instance.slug = self._free_slug(values["name"])
        return values

    def _free_slug(self, name: str) -> str:
        base = slugify(name)[:50] or "ranch"
        taken = set(Ranch.objects.filter(cooperative=self.instance.cooperative).values_list("slug", flat=True))
        return next(s for s in [base, *(f"{base}-{i}" for i in range(2, 10_000))] if s not in taken)


class ClosedDayForm(forms.ModelForm[ClosedDay]):
    """A day on which the ranch is closed."""

    class Meta:
        model = ClosedDay
        fields = ("day", "reason")
        widgets = {"day": DayInput()}


class HerdForm(OwnedForm[Herd]):
    """A herd. The weight of its mature cows is typed in the person's unit."""

    field_order = ("name", "mature", "notes")

    class Meta:
        model = Herd
        fields = ("name", "notes")

    def __init__(self, *args: Any, units: Units, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units = units
        self.fields["mature"] = forms.CharField(
            label=f"Weight of a mature cow, {units.weight}",
            help_text="Five to ten years old, in condition 5, open or early in pregnancy. Heifers' targets are shares of it.",
            required=False,
            max_length=20,
            widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        )
        if self.instance.mature_kg:
            self.initial["mature"] = figure(units.from_kg(self.instance.mature_kg), 1)
        self.order_fields(self.field_order)

    def clean_mature(self) -> float | None:
        """The weight in kg."""
        text = str(self.cleaned_data["mature"]).strip()
        if not text:
            return None
        try:
            kg = read_weight(text, self.units)
        except TypingFault as fault:
            raise forms.ValidationError(f"Type {fault}") from None
        low, high = MATURE_KG
        if not low <= kg <= high:
            allowed = f"{self.units.weight_text(low)} to {self.units.weight_text(high)}"
            raise forms.ValidationError(f"A mature cow weighs {allowed}; check the figure and its unit.")
        return kg

    def save(self, commit: bool = True) -> Herd:
        """Save the herd with the weight in kg; a figure that was only read comes back unchanged."""
        if "mature" in self.changed_data:
            self.instance.mature_kg = self.cleaned_data["mature"]
        return super().save(commit)


class GroupForm(forms.ModelForm[BreedingGroup]):
    """A breeding group on one of the ranch's herds."""

    class Meta:
        model = BreedingGroup
        fields = ("herd", "name", "animal_class", "head", "notes")

    def __init__(self, *args: Any, ranch: Ranch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["herd"]
        assert isinstance(field, forms.ModelChoiceField)
        herds = field.queryset = ranch.herds.all()
        if self.instance._state.adding and herds.count() == 1:
            self.initial["herd"] = herds.get().pk


class FemaleForm(OwnedForm[Female]):
    """A cow or heifer of a herd."""

    class Meta:
        model = Female
        fields = ("tag", "official_id", "animal_class", "group", "breed", "born", "last_calved", "status", "notes")
        widgets = {"born": DayInput(), "last_calved": DayInput()}

    def __init__(self, *args: Any, herd: Herd, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.herd = herd
        field = self.fields["group"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = BreedingGroup.objects.filter(herd=herd)

    def clean(self) -> dict[str, Any]:
        """Dates that can be, and the group's class."""
        values = super().clean() or {}
        for name, text in date_faults(values.get("born"), values.get("last_calved"), timezone.localdate()).items():
            self.add_error(name, text)
        group = values.get("group")
        if group and values.get("animal_class") and group.animal_class != values["animal_class"]:
            self.add_error("group", f"{group.name} is a group of {group.get_animal_class_display().lower()}.")
        return values


def date_faults(born: date | None, calved: date | None, today: date) -> dict[str, str]:
    """What is wrong with a female's dates, by field."""
    faults = {}
    if born and born > today:
        faults["born"] = "This day lies in the future."
    elif born and (today - born).days > _OLDEST_YEARS * 365:
        faults["born"] = f"This is more than {_OLDEST_YEARS} years ago; check the year."
    if calved and calved > today:
        faults["last_calved"] = "This day lies in the future."
    elif calved and born and (calved - born).days < 500:
        faults["last_calved"] = "She would have calved at less than 500 days of age; check both dates."
    return faults


class ImportForm(forms.Form):
    """A spreadsheet of females."""

    herd = forms.ModelChoiceField(Herd.objects.none(), label="Into the herd")
    file = forms.FileField(label="CSV or XLSX file", help_text="First row: column names. At most 5 MB and 20,000 rows.")

    def __init__(self, *args: Any, ranch: Ranch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["herd"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = ranch.herds.all()
        field.initial = ranch.herds.first()
