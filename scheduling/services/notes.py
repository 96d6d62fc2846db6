"""Comments on a group's entry."""

from datetime import datetime, timedelta

from django.core.exceptions import PermissionDenied

from accounts.permissions import Permission
from accounts.tenancy import Member
from scheduling.models import EntryNote, SeasonEntry

_TAPPED_TWICE = timedelta(minutes=10)


def write_note(*, member: Member, entry: SeasonEntry, text: str, now: datetime) -> EntryNote:
    """Write a comment; the entry must be one that the member may see. The same words sent again are one comment."""
    member.require(Permission.COMMENT)
    if entry.season.cooperative_id != member.cooperative.pk:
        raise PermissionDenied(f"{entry} is not of {member.cooperative}.")
    again = entry.notes.filter(by=member.user, text=text.strip(), written_at__gt=now - _TAPPED_TWICE).first()
    return again or EntryNote.objects.create(entry=entry, text=text.strip(), by=member.user, written_at=now)
