"""Protocol hours, weather, moves, statements."""

import uuid

from django.db.models import Q, QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import Ranch
from herdplan.herds.queries import ranches_for
from scheduling.models import PlannedMove, ProtocolAdjustment, Season, WeatherFile
from scheduling.queries.seasons import entries_for


def adjustments_for(member: Member, protocol: str) -> QuerySet[ProtocolAdjustment]:
    """The co-op's adjustments of a protocol, in force and withdrawn."""
    rows = ProtocolAdjustment.objects.filter(cooperative=member.cooperative, protocol=protocol)
    return rows.select_related("by")


def adjustment_for(member: Member, identity: uuid.UUID) -> ProtocolAdjustment:
    """One adjustment of the co-op, or 404."""
    found = ProtocolAdjustment.objects.filter(cooperative=member.cooperative, pk=identity).first()
    if found is None:
        raise Http404("No such adjustment.")
    return found


def statement_ranches_for(member: Member) -> QuerySet[Ranch]:
    """Ranches whose statement the caller may see: all of the co-op, or the caller's own."""
    ranches = Ranch.objects.filter(cooperative=member.cooperative)
    reach = member.reach(Permission.STATEMENT_VIEW)
    if reach is Reach.COOP:
        return ranches
    return ranches.filter(people=member.user) if reach is Reach.OWN else ranches.none()


def weather_files_for(member: Member, ranch: Ranch | None) -> QuerySet[WeatherFile]:
    """Weather files of a ranch, or (None) of the whole co-op; the ranch must be one that the caller may see."""
    return WeatherFile.objects.filter(cooperative=member.cooperative, ranch=ranch).select_related("by")


def weather_file_for(member: Member, identity: uuid.UUID) -> WeatherFile:
    """One weather file of the co-op, of a ranch that the caller may see, or 404."""
    files = WeatherFile.objects.filter(cooperative=member.cooperative, pk=identity).select_related("ranch")
    found = files.filter(Q(ranch=None) | Q(ranch__in=ranches_for(member))).first()
    if found is None:
        raise Http404("No such weather file.")
    return found


def moves_for(member: Member, season: Season) -> QuerySet[PlannedMove]:
    """Planned moves of the season's groups that the caller may see, withdrawn ones too."""
    rows = PlannedMove.objects.filter(entry__in=entries_for(member, season))
    return rows.select_related("entry__group__herd__ranch", "entry__season", "entry__care", "by")


def move_for(member: Member, identity: uuid.UUID) -> PlannedMove:
    """One planned move that still stands, of a group that the caller may see, or 404."""
    rows = PlannedMove.objects.filter(pk=identity, withdrawn=False, entry__season__cooperative=member.cooperative)
    found = rows.select_related("entry__season__plan", "entry__season__published_plan").first()
    if found is None or not entries_for(member, found.entry.season).filter(pk=found.entry_id).exists():
        raise Http404("No such move.")
    return found
