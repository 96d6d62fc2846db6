"""Forms of the season pages."""

from typing import Any

from django import forms

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from accounts.widgets import DayInput
from herdplan.herds.models import BreedingGroup
from herdplan.herds.queries import groups_for
from scheduling.kernel.protocol import Protocol
from scheduling.models import EntryNote, Season, SeasonEntry
from scheduling.services.catalogue import choices_for


class SeasonForm(forms.ModelForm[Season]):
    """A season's frame."""

    class Meta:
        model = Season
        fields = ("name", "first_day", "last_day", "zone", "road_factor", "speed_kmh")
        widgets = {"first_day": DayInput(), "last_day": DayInput()}
        help_texts = {
            "first_day": "The first day on which any treatment may be given. Long programmes start five weeks before AI.",
            "last_day": "The last day on which AI may be done.",
            "zone": "Days and hours of technicians are counted in this zone; each ranch keeps its own.",
            "road_factor": "1.3 means that roads are 30 % longer than the straight line.",
        }


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
            choices=[("", "Choose a protocol"), *choices_for(group.animal_class if group else None)]
        )
        if group is not None:
            self.initial["skills_text"] = ", ".join(self.instance.skills)

    def _groups(self, member: Member) -> None:
        field = self.fields["group"]
        assert isinstance(field, forms.ModelChoiceField)
        groups = groups_for(member)
        if member.reach(Permission.ENTRY_EDIT) is not Reach.COOP:
            groups = groups.filter(herd__ranch__people=member.user)
        field.queryset = groups.exclude(entries__season=self.instance.season)
        field.empty_label = "Choose a group"

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
    """A comment; whoever may sign off chooses a verdict too."""

    kind = forms.ChoiceField(label="This is", choices=EntryNote.Kind.choices)
    text = forms.CharField(label="Text", max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, may_sign: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_sign:
            self.fields["kind"] = forms.CharField(widget=forms.HiddenInput(), initial=EntryNote.Kind.COMMENT)

    def clean_kind(self) -> str:
        """One of the kinds."""
        kind = str(self.cleaned_data["kind"])
        if kind not in EntryNote.Kind.values:
            raise forms.ValidationError("Choose what this is.")
        return kind
