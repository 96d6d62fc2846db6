"""Comments on a group's entry, and an adviser's word on its readiness."""

from datetime import datetime

from django.core.exceptions import PermissionDenied

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.models import EntryNote, SeasonEntry


def write_note(*, member: Member, entry: SeasonEntry, kind: str, text: str, now: datetime) -> EntryNote:
    """Write a comment, or sign readiness off (advisers); the entry must be one that the member may see."""
    if kind == EntryNote.Kind.COMMENT:
        member.require(Permission.COMMENT)
    else:
        member.require(Permission.READINESS_SIGN, Reach.COOP)
    if entry.season.cooperative_id != member.cooperative.pk:
        raise PermissionDenied(f"{entry} is not of {member.cooperative}.")
    return EntryNote.objects.create(entry=entry, kind=kind, text=text.strip(), by=member.user, written_at=now)
