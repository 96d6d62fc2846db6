"""The tenant fence: who the caller is in a co-op. A stranger gets 404, a weak role 403; every app's queries start here."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase

from accounts.models import Cooperative, Membership, User
from accounts.permissions import Permission, Reach, Role, reach_of


@dataclass(frozen=True)
class Member:
    """A person in one co-op, with every role held there."""

    user: User
    cooperative: Cooperative
    roles: frozenset[Role]

    def reach(self, permission: Permission) -> Reach:
        """How far the permission goes for this person."""
        return reach_of(self.roles, permission)

    def may(self, permission: Permission, at_least: Reach = Reach.OWN) -> bool:
        """Whether the permission reaches at least that far."""
        return self.reach(permission) >= at_least

    @property
    def allowed(self) -> frozenset[str]:
        """Names of the permissions that reach anything at all; templates ask this for what to show."""
        return frozenset(permission.name for permission in Permission if self.may(permission))

    def require(self, permission: Permission, at_least: Reach = Reach.OWN) -> None:
        """Raise PermissionDenied (403) where the reach is too short."""
        if not self.may(permission, at_least):
            raise PermissionDenied(f"Your role in {self.cooperative} does not let you {permission.value}.")


def members_of(user: User) -> list[Member]:
    """The person in every co-op where at least one role is held, by co-op name. One query."""
    rows = Membership.objects.filter(user=user).select_related("cooperative").order_by("cooperative__name")
    roles: dict[Cooperative, set[Role]] = {}
    for row in rows:
        roles.setdefault(row.cooperative, set()).add(Role(row.role))
    return [Member(user, cooperative, frozenset(held)) for cooperative, held in roles.items()]


def member_in(user: User, slug: str) -> Member:
    """The person in the co-op of that address; Http404 for a stranger, as if the co-op did not exist."""
    rows = list(Membership.objects.filter(user=user, cooperative__slug=slug).select_related("cooperative"))
    if not rows:
        raise Http404("No such co-op.")
    return Member(user, rows[0].cooperative, frozenset(Role(row.role) for row in rows))


def member_page(permission: Permission, at_least: Reach = Reach.OWN) -> Callable[..., Callable[..., HttpResponseBase]]:
    """Decorate a page below /c/<coop>/: the view is called as view(request, member, ...).

    404 for strangers, 403 for roles whose reach is too short.
    """

    def decorate(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def page(request: HttpRequest, coop: str, **kwargs: Any) -> HttpResponseBase:
            assert isinstance(request.user, User)
            member = member_in(request.user, coop)
            member.require(permission, at_least)
            request.member = member  # type: ignore[attr-defined]  # templates read it for the navigation
            return view(request, member, **kwargs)

        return login_required(page)

    return decorate
