"""Changes to ranches, herds, groups and females that are more than saving a form."""

from django.core.exceptions import PermissionDenied
from django.db import transaction

from accounts.permissions import Permission
from accounts.tenancy import Member
from herdplan.herds.models import BreedingGroup, Herd, Ranch
from herdplan.herds.queries import may_edit


class InUse(ValueError):
    """Something that cannot be removed because something else needs it; the text says what and the way out."""


def require_edit(member: Member, ranch: Ranch, permission: Permission = Permission.RANCH_EDIT) -> None:
    """403 where the caller may not change this ranch."""
    if not may_edit(member, ranch, permission):
        raise PermissionDenied(f"Your role in {member.cooperative} does not let you change {ranch}.")


def remove_group(*, member: Member, group: BreedingGroup) -> None:
    """Remove a group; its females stay in the herd. Refused while it is entered in a season."""
    require_edit(member, group.herd.ranch)
    # Whatever is above the herds points at the group by a relation of this name; nothing above is imported here.
    entries = group.entries.count()
    if entries:
        text = f"{group.name} is entered in {entries} season{'s' if entries > 1 else ''}. Take it out of there first;"
        raise InUse(f"{text} where its dates were published, it stays for the record.")
    group.delete()


def remove_herd(*, member: Member, herd: Herd) -> None:
    """Remove an empty herd."""
    require_edit(member, herd.ranch)
    if herd.females.exists() or herd.groups.exists():
        raise InUse(f"{herd.name} still holds females or groups. Move or remove them first.")
    herd.delete()


def make_ranch_usable(*, ranch: Ranch) -> None:
    """Give a new ranch its first herd, so that groups and females have a place."""
    with transaction.atomic():
        if not ranch.herds.exists():
            Herd.objects.create(ranch=ranch, name="Home herd")
