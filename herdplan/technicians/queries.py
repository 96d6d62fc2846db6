"""The only fetches of technicians and barns that pages and API may use."""

import uuid

from django.db.models import QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.technicians.models import Barn, Technician


def technicians_for(member: Member) -> QuerySet[Technician]:
    """Technicians of the co-op, where the caller may see them."""
    if not member.may(Permission.TECHNICIAN_VIEW):
        return Technician.objects.none()
    return Technician.objects.filter(cooperative=member.cooperative).select_related("cooperative")


def technician_for(member: Member, identity: uuid.UUID) -> Technician:
    """One technician, or 404."""
    technician = technicians_for(member).filter(pk=identity).first()
    if technician is None:
        raise Http404("No such technician.")
    return technician


def may_edit(member: Member, technician: Technician) -> bool:
    """Whether the caller may change the technician: for the whole co-op, or because it is the caller."""
    reach = member.reach(Permission.TECHNICIAN_EDIT)
    return reach is Reach.COOP or (reach is Reach.OWN and technician.user_id == member.user.pk)


def barns_for(member: Member) -> QuerySet[Barn]:
    """Barns of the co-op, where the caller may see them."""
    if not member.may(Permission.TECHNICIAN_VIEW):
        return Barn.objects.none()
    return Barn.objects.filter(cooperative=member.cooperative)


def barn_for(member: Member, identity: uuid.UUID) -> Barn:
    """One barn, or 404."""
    barn = barns_for(member).filter(pk=identity).first()
    if barn is None:
        raise Http404("No such barn.")
    return barn
