"""The form of a feed."""

from typing import Any

from django import forms

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.calendars.models import CalendarChoice, FeedToken
from herdplan.herds.models import Herd
from herdplan.technicians.models import Technician


class FeedForm(forms.Form):
    """A name and what it shows, chosen from what the member may see."""

    shows = forms.ChoiceField(label="Shows")
    name = forms.CharField(label="Name it", max_length=80, help_text="So that you know it again, for example: my phone")
    alarm = forms.TypedChoiceField(label="Alarm", choices=FeedToken.Alarm.choices, coerce=int, required=False)

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.herds = {str(herd.pk): herd for herd in _herds(member)}
        self.technicians = {str(person.pk): person for person in _technicians(member)}
        choices = [(f"herd:{key}", f"Herd: {herd}") for key, herd in self.herds.items()]
        choices += [(f"technician:{key}", f"Stops of {person}") for key, person in self.technicians.items()]
        if member.reach(Permission.SEASON_VIEW) is Reach.COOP:
            choices.insert(0, ("coop:", "The whole co-op"))
        field = self.fields["shows"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def values(self) -> dict[str, Any]:
        """Name, kind, herd and technician as the service takes them."""
        kind, _, key = self.cleaned_data["shows"].partition(":")
        return {
            "name": self.cleaned_data["name"],
            "alarm": self.cleaned_data["alarm"] or 0,
            "kind": FeedToken.Kind(kind),
            "herd": self.herds.get(key) if kind == "herd" else None,
            "technician": self.technicians.get(key) if kind == "technician" else None,
        }


class ChannelForm(forms.Form):
    """By which one channel dates reach my calendar."""

    channel = forms.ChoiceField(
        label="Dates reach my calendar by",
        choices=CalendarChoice.Channel.choices,
        widget=forms.RadioSelect,
        help_text="One of them: with two, every date shows twice.",
    )

    def __init__(self, *args: Any, has_own: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["channel"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [item for item in CalendarChoice.Channel.choices if has_own or item[0] != "push"]


class OwnCollectionForm(forms.Form):
    """A calendar of one's own on a CalDAV server."""

    address = forms.URLField(
        label="Address of the calendar",
        assume_scheme="https",
        max_length=400,
        help_text="The address of the calendar itself, as its server shows it; it begins with https://",
    )
    username = forms.CharField(label="User name there", max_length=200)
    password = forms.CharField(
        label="App password there",
        max_length=200,
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        help_text="Make an app password for this, not your main one. It is kept encrypted. Empty: the one we have.",
    )


def _herds(member: Member) -> list[Herd]:
    herds = Herd.objects.filter(ranch__cooperative=member.cooperative).select_related("ranch")
    if member.reach(Permission.SEASON_VIEW) is not Reach.COOP:
        herds = herds.filter(ranch__people=member.user)
    return list(herds)


def _technicians(member: Member) -> list[Technician]:
    people = Technician.objects.filter(cooperative=member.cooperative)
    if not member.may(Permission.TECHNICIAN_EDIT, Reach.COOP) and "MEMBERS_VIEW" not in member.allowed:
        people = people.filter(user=member.user)
    return list(people)
