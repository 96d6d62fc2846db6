"""Forms of readiness: a word on a group or a female, a co-op's own limit, a second group."""

from typing import Any

from django import forms

from accounts.models import User
from accounts.units import Units
from accounts.widgets import DayInput
from scheduling.models import ReadinessWord
from scheduling.services.late_calvers import Proposal
from scheduling.services.readiness_limits import Standing, limit_of, shown, unit_words

_GROUP_WORDS = [(ReadinessWord.Verdict.READY, "Ready: signed off"), (ReadinessWord.Verdict.NOT_READY, "Not ready yet")]


class WordForm(forms.Form):
    """What an adviser says, with the reason."""

    verdict = forms.ChoiceField(label="You say", widget=forms.RadioSelect, choices=ReadinessWord.Verdict.choices)
    reason = forms.CharField(label="Reason", max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, whole_group: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if whole_group:
            field = self.fields["verdict"]
            assert isinstance(field, forms.ChoiceField)
            field.choices = _GROUP_WORDS


class LimitForm(forms.Form):
    """One limit: the figure in the person's unit, and why."""

    def __init__(self, *args: Any, field: str, standing: Standing, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        limit = limit_of(field)
        assert limit is not None
        units = Units.of(user)
        now = shown(limit, float(getattr(standing.rules, field)), units)
        if isinstance(getattr(standing.rules, field), bool):
            self.fields["value"] = forms.TypedChoiceField(
                label=limit.words, choices=[("1", "Yes"), ("0", "No")], coerce=float, initial=now
            )
        else:
            self.fields["value"] = forms.FloatField(label=limit.words, help_text=unit_words(limit, units), initial=now)
        self.fields["reason"] = forms.CharField(
            label="Reason, and who advised it", max_length=300, widget=forms.TextInput()
        )


class SecondGroupForm(forms.Form):
    """The late calvers' own group: its name and AI day. `token` holds what the page showed."""

    name = forms.CharField(label="Name of the new group", max_length=120)
    ai_wanted = forms.DateField(label="AI wanted on", widget=DayInput())
    token = forms.CharField(widget=forms.HiddenInput(), max_length=40)

    def __init__(self, *args: Any, proposal: Proposal | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if proposal is not None:
            self.initial = {"name": proposal.name, "ai_wanted": proposal.ai_day, "token": proposal.token}
