"""The co-op's people."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts import queries
from accounts.forms import InviteForm
from accounts.permissions import ROLE_REACH, Permission, Reach, Role
from accounts.services import MemberError, end_role, withdraw
from accounts.tenancy import Member, member_page


@member_page(Permission.MEMBERS_VIEW)
def people(request: HttpRequest, member: Member) -> HttpResponse:
    """Members, roles, open invitations."""
    context = {
        "memberships": queries.memberships_for(member),
        "invitations": queries.invitations_for(member),
        "form": InviteForm(),
    }
    return render(request, "accounts/people.html", context)


@member_page(Permission.MEMBERS_VIEW)
def roles(request: HttpRequest, member: Member) -> HttpResponse:
    """Who may do what, from the table itself."""
    words = {Reach.NONE: "no", Reach.OWN: "their own", Reach.COOP: "whole co-op"}
    table = [
        (permission.value, [words[ROLE_REACH[role].get(permission, Reach.NONE)] for role in Role])
        for permission in Permission
    ]
    return render(request, "accounts/roles.html", {"roles": [role.label for role in Role], "table": table})


@require_POST
@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def role_end(request: HttpRequest, member: Member, membership: uuid.UUID) -> HttpResponse:
    """Take a role away."""
    row = queries.membership_for(member, membership)
    try:
        end_role(member=member, membership=row)
        messages.success(request, f"{row.user} is no longer {Role(row.role).label.lower()} here.")
    except MemberError as fault:
        messages.error(request, str(fault))
    if row.user_id == member.user.pk and not queries.memberships_for(member).filter(user=member.user).exists():
        return redirect("home")
    return redirect("accounts:people", coop=member.cooperative.slug)


@require_POST
@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def invitation_withdraw(request: HttpRequest, member: Member, invitation: uuid.UUID) -> HttpResponse:
    """Withdraw an invitation."""
    row = queries.invitation_for(member, invitation)
    withdraw(member=member, invitation=row, now=timezone.now())
    messages.success(request, f"The invitation of {row.email} is withdrawn; its link no longer works.")
    return redirect("accounts:people", coop=member.cooperative.slug)
