"""How the authentication library behaves here: accounts are made from invitations only."""

from allauth.account.adapter import DefaultAccountAdapter
from django.core.exceptions import ValidationError
from django.http import HttpRequest

INVITED_EMAIL = "invited_email"


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # the library ships no types
    """Sign-up is open only to somebody who came through an invitation link, with the invited address."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """True while the session holds an invitation."""
        return INVITED_EMAIL in request.session

    def clean_email(self, email: str) -> str:
        """At sign-up, the invited address and no other."""
        match = self.request.resolver_match
        invited = self.request.session.get(INVITED_EMAIL)
        if match and match.url_name == "account_signup" and invited and email.lower() != invited.lower():
            raise ValidationError(f"The invitation is for {invited}; use that address.")
        return email.lower()
