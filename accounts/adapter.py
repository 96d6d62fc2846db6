"""How the authentication library behaves here: accounts are made from invitations only."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest

INVITED_EMAIL = "invited_email"


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # the library ships no types
    """Sign-up is open only to somebody who came through an invitation link in this session."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """True while the session holds an invitation."""
        return INVITED_EMAIL in request.session
