"""Forms for what happens in the middle of a season, for clashes, and for what ranches are asked."""

from typing import Any

from django import forms

from accounts.tenancy import Member
from accounts.units import KM_PER_MILE
from accounts.widgets import DayInput
from herdplan.herds.models import Ranch
from herdplan.herds.queries import ranches_for
from herdplan.technicians.queries import technicians_for
from scheduling import queries
from scheduling.models import Replanning, Season, SeasonEntry
from scheduling.services import Happening
from scheduling.services.replanning import ranches_near


class _Days(forms.Form):
    """From one day to another."""

    first_day = forms.DateField(label="From", widget=DayInput())
    last_day = forms.DateField(label="To", widget=DayInput())


class ReplanForm(forms.Form):
    """Something that happened; each kind has the fields that it needs."""

    past_is_done = forms.BooleanField(
        label="Count published steps before this hour as done",
        required=False,
        initial=True,
        help_text="What lies in the past cannot be moved, ticked off or not. Take the tick away only if nothing was done.",
    )
    base = forms.ChoiceField(label="Change least against", required=False)

    def __init__(self, *args: Any, kind: str, member: Member, season: Season, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind, self.member, self.season = Replanning.Kind(kind), member, season
        self.miles = member.user.distance_unit == "mi"
        more = {
            Replanning.Kind.TECHNICIAN_ILL: self._technician,
            Replanning.Kind.RANCH_CLOSED: self._ranch,
            Replanning.Kind.WEATHER: self._weather,
            Replanning.Kind.LATE_HEADCOUNT: self._headcount,
            Replanning.Kind.LOST_SLOT: self._slot,
            Replanning.Kind.STEPS_DONE: dict,
        }[self.kind]()
        own = {name: self.fields.pop(name) for name in ("past_is_done", "base")}
        self.fields |= more
        if season.published_plan is not None:
            self.fields["past_is_done"] = own["past_is_done"]
        if season.published_plan is not None and season.plan is not None and season.plan != season.published_plan:
            base = own["base"]
            assert isinstance(base, forms.ChoiceField)
            base.choices = [
                ("published", f"Plan {season.published_plan.number}, published"),
                ("work", f"Plan {season.plan.number}, the draft in work"),
            ]
            self.fields["base"] = base

    @staticmethod
    def _span() -> dict[str, forms.Field]:
        return dict(_Days().fields)

    @staticmethod
    def _reason() -> dict[str, forms.Field]:
        return {"reason": forms.CharField(label="Reason", max_length=120, required=False)}

    def _technician(self) -> dict[str, forms.Field]:
        people = forms.ModelChoiceField(technicians_for(self.member), empty_label="Choose a technician")
        return {"technician": people, **self._span(), **self._reason()}

    def _ranch(self) -> dict[str, forms.Field]:
        return {
            "ranch": forms.ModelChoiceField(ranches_for(self.member), empty_label="Choose a ranch"),
            **self._span(),
            **self._reason(),
        }

    def _weather(self) -> dict[str, forms.Field]:
        around = forms.ModelChoiceField(
            ranches_for(self.member),
            label="Around the ranch",
            required=False,
            empty_label="All ranches of the co-op",
            help_text="Leave it at all ranches, or choose the middle of the region.",
        )
        unit = "miles" if self.miles else "km"
        within = forms.IntegerField(label=f"Within, {unit} in a straight line", min_value=0, max_value=2000, initial=30)
        within.required = False
        return {"around": around, "within": within, **self._span(), **self._reason()}

    def _entry(self) -> forms.Field:
        rows = queries.entries_for(self.member, self.season)
        field = forms.ModelChoiceField(rows, label="Group", empty_label="Choose a group")
        field.label_from_instance = lambda entry: f"{entry.group}, {entry.head} head"  # type: ignore[method-assign,assignment]
        return field

    def _headcount(self) -> dict[str, forms.Field]:
        head = forms.IntegerField(label="Head now", min_value=1, max_value=5000)
        return {"entry": self._entry(), "head": head}

    def _slot(self) -> dict[str, forms.Field]:
        first = forms.DateField(label="AI possible from", widget=DayInput())
        last = forms.DateField(label="AI possible until", widget=DayInput())
        restart = forms.BooleanField(
            label="The programme starts again",
            required=False,
            help_text="Steps done so far do not count any more. Ask the veterinarian first: PG ends a pregnancy.",
        )
        return {"entry": self._entry(), "first_day": first, "last_day": last, "restart": restart}

    def happening(self) -> Happening:
        """What happened, as the service takes it."""
        values = self.cleaned_data
        return Happening(
            kind=self.kind,
            technician=values.get("technician"),
            ranches=self._ranches(),
            entry=values.get("entry"),
            first_day=values.get("first_day"),
            last_day=values.get("last_day"),
            head=values.get("head"),
            restart=values.get("restart", False),
            reason=values.get("reason", ""),
        )

    def _ranches(self) -> tuple[Ranch, ...]:
        values = self.cleaned_data
        if self.kind == Replanning.Kind.RANCH_CLOSED:
            return (values["ranch"],)
        if self.kind != Replanning.Kind.WEATHER:
            return ()
        if values["around"] is None:
            return tuple(ranches_for(self.member))
        km = (values["within"] or 0) * (KM_PER_MILE if self.miles else 1)
        return ranches_near(member=self.member, middle=values["around"], km=km)

    def options(self) -> dict[str, Any]:
        """How it is to be replanned."""
        work = self.cleaned_data.get("base") == "work"
        return {
            "past_is_done": self.cleaned_data.get("past_is_done", False),
            "base": self.season.plan if work else None,
        }


class ClashForm(forms.Form):
    """A group to lay on the desk, alone or with the one that it collides with."""

    entry = forms.ModelChoiceField(SeasonEntry.objects.none(), label="Group", empty_label="Choose a group")
    rival = forms.ModelChoiceField(
        SeasonEntry.objects.none(), label="Collides with", required=False, empty_label="Nobody in particular"
    )

    def __init__(self, *args: Any, entries: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("entry", "rival"):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = entries
            field.label_from_instance = _with_wish  # type: ignore[method-assign,assignment]


def _with_wish(entry: SeasonEntry) -> str:
    return f"{entry.group}, wishes for {entry.ai_wanted:%a %d %b}"


class AnswerForm(forms.Form):
    """Yes or no to what a ranch is asked."""

    answer = forms.ChoiceField(choices=[("accept", "Accept"), ("decline", "Decline")])
    reason = forms.CharField(
        label="A word to the coordinator", max_length=300, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )


class HolidayForm(forms.Form):
    """A day that counts like a weekend."""

    day = forms.DateField(label="Day", widget=DayInput())
    name = forms.CharField(label="Holiday", max_length=80)
