"""Forms of people and invitations."""

from typing import TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model

from accounts.models import User
from accounts.permissions import Role

_Row = TypeVar("_Row", bound=Model)


class OwnedForm(forms.ModelForm[_Row]):
    """A row that belongs to an owner whom the form does not ask for: what is unique with the owner is checked with it.

    Django leaves out constraints on fields that are not in the form, so that a form sent twice would meet the database.
    """

    def full_clean(self) -> None:
        """Validate; what the database would refuse is said at the top of the form."""
        super().full_clean()
        if not self.is_bound or self.errors:
            return
        try:
            self.instance.validate_constraints()
        except ValidationError as fault:
            self.add_error(None, fault.messages)


class InviteForm(forms.Form):
    """Whom to invite as what."""

    email = forms.EmailField(label="E-mail")
    role = forms.ChoiceField(label="As", choices=[(role.value, role.label) for role in Role])


class ProfileForm(forms.ModelForm[User]):
    """What a person says of himself or herself."""

    class Meta:
        model = User
        fields = ("name", "phone", "weight_unit", "length_unit", "temperature_unit", "distance_unit")
