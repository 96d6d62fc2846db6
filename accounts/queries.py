"""Members and invitations of a co-op."""

import uuid

from django.db.models import QuerySet
from django.http import Http404

from accounts.models import Invitation, Membership
from accounts.permissions import Permission
from accounts.tenancy import Member


def memberships_for(member: Member) -> QuerySet[Membership]:
    """Who is what in the co-op."""
    if not member.may(Permission.MEMBERS_VIEW):
        return Membership.objects.none()
    return Membership.objects.filter(cooperative=member.cooperative).select_related("user")


def membership_for(member: Member, identity: uuid.UUID) -> Membership:
    """One role of one person, or 404."""
    found = memberships_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such member.")
    return found


def invitations_for(member: Member) -> QuerySet[Invitation]:
    """Invitations that wait for an answer."""
    if not member.may(Permission.MEMBERS_MANAGE):
        return Invitation.objects.none()
    return Invitation.objects.filter(cooperative=member.cooperative, accepted_at=None, withdrawn_at=None)


def invitation_for(member: Member, identity: uuid.UUID) -> Invitation:
    """One open invitation, or 404."""
    found = invitations_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such invitation.")
    return found
