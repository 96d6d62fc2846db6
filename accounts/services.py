"""Invitations, roles and members."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction

from accounts.models import Cooperative, Invitation, Membership, User
from accounts.permissions import Permission, Reach, Role
from accounts.tenancy import Member

INVITATION_LASTS = timedelta(days=14)
_TOKEN_BYTES = 32


class InvitationError(ValueError):
    """An invitation that cannot be made or accepted; the text says why and what to do."""


class MemberError(ValueError):
    """A change of members that cannot be made; the text says why."""


def digest(token: str) -> str:
    """The SHA-256 under which a token is kept. A token has 256 random bits, so a plain hash is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def invite(*, member: Member, email: str, role: Role, now: datetime) -> tuple[Invitation, str]:
    """Invite somebody; an open invitation of the same address and role gets a new link. Returns it with the token."""
    member.require(Permission.MEMBERS_MANAGE, Reach.COOP)
    address = email.strip().lower()
    if Membership.objects.filter(cooperative=member.cooperative, user__email=address, role=role).exists():
        raise InvitationError(f"{address} is {role.label.lower()} here already.")
    return open_invitation(cooperative=member.cooperative, email=address, role=role, by=member.user, now=now)


def open_invitation(
    *, cooperative: Cooperative, email: str, role: Role, by: User | None, now: datetime
) -> tuple[Invitation, str]:
    """Make or renew an invitation without asking who may; for the command that makes a co-op."""
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    with transaction.atomic():
        Invitation.objects.filter(
            cooperative=cooperative, email__iexact=email, role=role, accepted_at=None, withdrawn_at=None
        ).update(withdrawn_at=now)
        invitation = Invitation.objects.create(
            cooperative=cooperative,
            email=email.lower(),
            role=role,
            token_hash=digest(token),
            invited_by=by,
            created_at=now,
            expires_at=now + INVITATION_LASTS,
        )
    return invitation, token


def find_invitation(*, token: str, now: datetime) -> Invitation:
    """The open invitation of a link; InvitationError where it is used, withdrawn, too old or unknown."""
    found = Invitation.objects.filter(token_hash=digest(token)).select_related("cooperative").first()
    if found is None or found.withdrawn_at is not None:
        raise InvitationError("This link is not valid (any more). Ask the coordinator for a new invitation.")
    if found.accepted_at is not None:
        raise InvitationError("This invitation has been accepted already. Sign in.")
    if found.expires_at < now:
        raise InvitationError("This invitation is older than 14 days. Ask the coordinator for a new one.")
    return found


def accept(*, invitation: Invitation, user: User, now: datetime) -> Membership:
    """Accept an invitation; only the invited address may."""
    if user.email.lower() != invitation.email.lower():
        raise InvitationError(
            f"This invitation is for {invitation.email}, and you are signed in as {user.email}. "
            "Sign out, open the link again, and sign in or make an account with the invited address."
        )
    with transaction.atomic():
        updated = Invitation.objects.filter(pk=invitation.pk, accepted_at=None, withdrawn_at=None)
        if not updated.update(accepted_at=now, accepted_by=user):
            raise InvitationError("This invitation has just been used or withdrawn.")
        membership, _ = Membership.objects.get_or_create(
            cooperative=invitation.cooperative, user=user, role=invitation.role
        )
    return membership


def withdraw(*, member: Member, invitation: Invitation, now: datetime) -> None:
    """Make an invitation's link useless."""
    member.require(Permission.MEMBERS_MANAGE, Reach.COOP)
    Invitation.objects.filter(pk=invitation.pk, accepted_at=None).update(withdrawn_at=now)


def end_role(*, member: Member, membership: Membership) -> None:
    """Take a role away; never the last coordinator's."""
    member.require(Permission.MEMBERS_MANAGE, Reach.COOP)
    with transaction.atomic():
        coordinators = Membership.objects.select_for_update().filter(
            cooperative=member.cooperative, role=Role.COORDINATOR
        )
        if membership.role == Role.COORDINATOR and coordinators.count() == 1:
            raise MemberError("A co-op needs a coordinator. Make somebody else coordinator first.")
        membership.delete()
