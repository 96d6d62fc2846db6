"""Forms of people and invitations."""

from django import forms

from accounts.models import User
from accounts.permissions import Role


class InviteForm(forms.Form):
    """Whom to invite as what."""

    email = forms.EmailField(label="E-mail")
    role = forms.ChoiceField(label="As", choices=[(role.value, role.label) for role in Role])


class ProfileForm(forms.ModelForm[User]):
    """What a person says of himself or herself."""

    class Meta:
        model = User
        fields = ("name", "phone", "weight_unit", "length_unit", "temperature_unit", "distance_unit")
