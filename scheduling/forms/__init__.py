"""Forms of the season pages."""

from typing import Any

from django import forms

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from accounts.widgets import DayInput
from herdplan.herds.models import BreedingGroup
from herdplan.herds.queries import groups_for
from scheduling.kernel.protocol import Protocol
from scheduling.models import Season, SeasonEntry
from scheduling.services.catalogue import choices_by_class, choices_for

# Our own weights, in the points of a plan's cost: a day moved from a wish is 20.
_SHARES = (("0", "Not weighed"), ("10", "Weighed a little"), ("30", "Weighed strongly"))
_DAYS = (("0", "Not weighed"), ("1", "Weighed a little"), ("5", "Weighed strongly"))
_LOADS = (("0", "Not weighed"), ("1000", "Weighed a little"), ("5000", "Weighed strongly"))
_WEIGHED = ("rest_day", "day_before", "uneven_load")


class SeasonForm(forms.ModelForm[Season]):
    """A season's frame, and how much fair shares weigh when it is planned."""

    rest_day = forms.ChoiceField(
        label="Fair shares of weekends and holidays",
        choices=_SHARES,
        required=False,
        help_text="Ranches that had AI on weekends or holidays in earlier seasons are spared first.",
    )
    day_before = forms.ChoiceField(
        label="Fair shares of work between technicians",
        choices=_DAYS,
        required=False,
        help_text="Technicians who worked fewer days in earlier seasons are asked first.",
    )
    uneven_load = forms.ChoiceField(
        label="Even work between technicians in this season",
        choices=_LOADS,
        required=False,
        help_text="Days of work follow the days on which each technician can be booked. It takes some more driving.",
    )

    class Meta:
        model = Season
        fields = ("name", "first_day", "last_day", "zone", "road_factor", "speed_kmh")
        widgets = {"first_day": DayInput(), "last_day": DayInput()}
        help_texts = {
            "first_day": "The first day on which any treatment may be given. Long programmes start five weeks before AI.",
            "last_day": "The last day on which AI may be done.",
            "zone": "Days and hours of technicians are counted in this zone; each ranch keeps its own.",
            "speed_kmh": "70 km/h is 43 miles an hour, gates and gravel counted in.",
            "road_factor": "1.3 means that roads are 30 % longer than the straight line.",
        }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name in _WEIGHED:
            self.fields[name].initial = f"{self.instance.weights.get(name, 0):g}"

    def values(self) -> dict[str, Any]:
        """The season's fields, the weights among them; weights that the form does not ask for stay."""
        found = dict(self.cleaned_data)
        asked = {name: float(found.pop(name) or 0) for name in _WEIGHED}
        kept = {name: value for name, value in self.instance.weights.items() if name not in asked}
        return {**found, "weights": {**kept, **{name: value for name, value in asked.items() if value}}}


class EntryForm(forms.ModelForm[SeasonEntry]):
    """A group's wishes. The group is chosen when entering and fixed afterwards."""

    skills_text = forms.CharField(
        label="Skills asked for", required=False, help_text="Separate several with commas, for example: sexed semen"
    )

    class Meta:
        model = SeasonEntry
        fields = (
            "group",
            "protocol",
            "head",
            "ai_wanted",
            "ai_from",
            "ai_to",
            "order",
            "ai_by",
            "steps_by",
            "needs_barn",
            "kept_from_bulls",
        )
        widgets = {
            "ai_from": DayInput(),
            "ai_to": DayInput(),
            "ai_wanted": DayInput(),
            "protocol": forms.Select(),
        }
        labels = {
            "group": "Breeding group",
            "ai_wanted": "AI wanted on",
            "ai_from": "AI no earlier than",
            "ai_to": "AI no later than",
        }
        help_texts = {
            "order": "The same order at AI as at treatment gives every animal nearly the same wait.",
            "head": "Females that will go through the chute.",
        }

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        group = None if self.instance._state.adding else self.instance.group
        if group is not None:
            del self.fields["group"]
        else:
            self._groups(member)
        self.fields["protocol"].widget = forms.Select(
            choices=[("", "Choose a protocol"), *(choices_for(group.animal_class) if group else choices_by_class())]
        )
        if group is not None:
            self.initial["skills_text"] = ", ".join(self.instance.skills)

    def _groups(self, member: Member) -> None:
        field = self.fields["group"]
        assert isinstance(field, forms.ModelChoiceField)
        groups = groups_for(member)
        if member.reach(Permission.ENTRY_EDIT) is not Reach.COOP:
            groups = groups.filter(herd__ranch__people=member.user)
        field.queryset = groups.exclude(entries__in=self.instance.season.entered)
        field.empty_label = "Choose a group"
        if not field.queryset.exists():
            field.empty_label = "No group is left to enter"
            field.help_text = (
                "Every group is entered already, or none is made yet: groups are added on the page of their ranch."
            )
        self.fields["head"].required = False
        self.fields["head"].help_text = "Females that will go through the chute. Leave it empty for all of the group."

    def clean(self) -> dict[str, Any]:
        """The group's own head where none is said."""
        values = super().clean() or {}
        group = values.get("group")
        if "head" in values and values["head"] is None and isinstance(group, BreedingGroup):
            values["head"] = group.head
        return values

    def values(self) -> dict[str, Any]:
        """The cleaned wishes as the service takes them."""
        values = {name: value for name, value in self.cleaned_data.items() if name not in ("group", "skills_text")}
        words = (word.strip().lower() for word in self.cleaned_data.get("skills_text", "").split(","))
        values["skills"] = sorted({word for word in words if word})
        return values

    def chosen_group(self) -> BreedingGroup:
        """The group that was chosen."""
        group = self.cleaned_data["group"]
        assert isinstance(group, BreedingGroup)
        return group

    def _post_clean(self) -> None:
        """The service validates the whole entry; Django's own model validation would say it twice."""


class MoveForm(forms.Form):
    """Another AI day for a group."""

    entry = forms.UUIDField(widget=forms.HiddenInput())
    ai_day = forms.DateField(label="AI on", widget=DayInput())


class DoneForm(forms.Form):
    """When a step was begun."""

    at = forms.DateTimeField(
        label="Begun at", widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    )

    def __init__(self, *args: Any, most: int | None, **kwargs: Any) -> None:
        """`most`: the head of the group at the first of two AI sessions; else nothing is counted."""
        super().__init__(*args, **kwargs)
        if most is not None:
            self.fields["head"] = forms.IntegerField(
                label="Head inseminated at this session",
                min_value=0,
                max_value=most,
                required=False,
                help_text="What is held for the second session shrinks to the females that are left. "
                "Leave it empty where nobody counted.",
            )


class AdjustForm(forms.Form):
    """A co-op's own hours at a step."""

    step = forms.ChoiceField(label="Step")
    min_h = forms.FloatField(label="Not before, hours", min_value=0, max_value=2000)
    target_h = forms.FloatField(label="Aimed at, hours", min_value=0, max_value=2000)
    max_h = forms.FloatField(label="Not after, hours", min_value=0, max_value=2000)
    reason = forms.CharField(label="Why, and who advised it", max_length=300)

    def __init__(self, *args: Any, protocol: Protocol, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["step"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            (step.key, f"{step.label}, hours after {protocol.by_key[step.after.step].label}")
            for step in protocol.steps
            if step.after is not None and step.after.target_h > 0
        ]


class NoteForm(forms.Form):
    """A comment."""

    text = forms.CharField(label="Text", max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))
