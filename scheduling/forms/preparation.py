"""Forms around a group's AI: an item moved or dropped, wishes, a planned move, a wanted start of calving."""

from typing import Any

from django import forms

from accounts.widgets import DayInput, TimeInput
from herdplan.herds.models import BreedingGroup
from scheduling.kernel.advice.preparation import HEIFERS_AHEAD_DAYS, ai_day_for_calving
from scheduling.kernel.calving import GESTATION_DAYS, GESTATION_DAYS_ALTERNATIVE
from scheduling.models import CheckWay, GroupCare, PlannedMove
from scheduling.services.catalogue import choices_for
from scheduling.services.item_acts import CARE_FIELDS


class MoveItemForm(forms.Form):
    """Another day for an item, with a reason."""

    day = forms.DateField(label="Do it on", widget=DayInput())
    reason = forms.CharField(label="Why", min_length=3, max_length=300, widget=forms.TextInput())


class DropItemForm(forms.Form):
    """An item that is not needed, with a reason."""

    reason = forms.CharField(label="Why it is not needed", min_length=3, max_length=300, widget=forms.TextInput())


class CareForm(forms.ModelForm[GroupCare]):
    """Wishes around AI."""

    class Meta:
        model = GroupCare
        fields = CARE_FIELDS
        labels = {
            "first_time_vaccine": "Some were never vaccinated before: they need a first dose and a booster",
            "needs_gain": "Some must gain before AI: rations may change",
            "bulls": "Bulls follow AI",
            "tell_apart": "Calves of AI and of bulls must be told apart",
            "resynchronize": "A second AI round for those that come back in heat",
        }
        help_texts = {
            "bull_months": "A young bull takes fewer females: about one for each month of age, until 25 to 35.",
            "bull_days": "A yearling stays in 60 days at most.",
            "check_way": "Without a choice the check stands 60 days after AI.",
            "expected_rate": "Counts bulls and calves. Left empty, the rate in print for the programme counts.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["check_way"] = forms.ChoiceField(
            label="Pregnancy check by",
            required=False,
            choices=[("", "The veterinarian chooses"), *CheckWay.choices],
            help_text=self.Meta.help_texts["check_way"],
        )

    def _post_clean(self) -> None:
        """The service writes the row; the form only reads what was typed."""


class PlannedMoveForm(forms.Form):
    """A move or haul, or a change of feed. `seen`: the warnings that were read before it is saved all the same."""

    kind = forms.ChoiceField(label="What", choices=PlannedMove.Kind.choices)
    day = forms.DateField(label="On", widget=DayInput())
    begins = forms.TimeField(label="From", widget=TimeInput(), initial="06:00", help_text="The ranch's own time.")
    ends = forms.TimeField(label="Until about", widget=TimeInput(), initial="10:00")
    origin = forms.CharField(label="From which place or feed", max_length=100)
    goal = forms.CharField(label="To which place or feed", max_length=100)
    supplement = forms.BooleanField(
        label="With a change of feed: a supplement is fed for six weeks from then", required=False
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput())

    def clean(self) -> dict[str, Any]:
        """An end after the beginning."""
        values = super().clean() or {}
        begins, ends = values.get("begins"), values.get("ends")
        if begins and ends and ends <= begins:
            self.add_error("ends", "Choose an hour after the beginning, on the same day.")
        return values


class CalvingForm(forms.Form):
    """When calves are wanted, for a group of a class. Asked with GET, so that an answer is an address to keep."""

    first_calves = forms.DateField(label="First calves wanted on", widget=DayInput())
    protocol = forms.ChoiceField(
        label="Programme", help_text="It tells how long before AI the work at the chute begins."
    )
    carries = forms.TypedChoiceField(
        label="Days that a cow carries",
        coerce=int,
        choices=[
            (GESTATION_DAYS, f"{GESTATION_DAYS}, the mean over breeds"),
            (GESTATION_DAYS_ALTERNATIVE, f"{GESTATION_DAYS_ALTERNATIVE}, as some sheets count"),
        ],
        initial=GESTATION_DAYS,
    )
    ahead = forms.BooleanField(
        label=f"Heifers calve {HEIFERS_AHEAD_DAYS} days before the cows: the day above is the cows'", required=False
    )

    def __init__(self, *args: Any, group: BreedingGroup, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["protocol"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices_for(group.animal_class)
        entered = group.entries.order_by("-season__first_day").values_list("protocol", flat=True).first()
        self.fields["protocol"].initial = entered
        if group.animal_class != "heifer":
            del self.fields["ahead"]

    @property
    def ai_day(self) -> Any:
        """The AI day that gives the wanted start."""
        values = self.cleaned_data
        ahead = HEIFERS_AHEAD_DAYS if values.get("ahead") else 0
        return ai_day_for_calving(values["first_calves"], values["carries"], ahead_days=ahead)
