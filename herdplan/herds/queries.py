"""The only fetches of ranches, herds, groups and females that pages and API may use. Each respects the caller's reach."""

import uuid

from django.db.models import Count, Q, QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import BreedingGroup, Female, Herd, Ranch


def ranches_for(member: Member) -> QuerySet[Ranch]:
    """Ranches that the caller may see: the co-op's, or the caller's own."""
    ranches = Ranch.objects.filter(cooperative=member.cooperative)
    reach = member.reach(Permission.RANCH_VIEW)
    if reach is Reach.COOP:
        return ranches
    return ranches.filter(people=member.user) if reach is Reach.OWN else ranches.none()


def ranch_list(member: Member) -> QuerySet[Ranch]:
    """Ranches with how many groups and females stand on them."""
    return ranches_for(member).annotate(
        group_count=Count("herds__groups", distinct=True),
        female_count=Count("herds__females", filter=Q(herds__females__status="active"), distinct=True),
    )


def ranch_for(member: Member, slug: str) -> Ranch:
    """One ranch by its short name, or 404."""
    ranch = ranches_for(member).filter(slug=slug).first()
    if ranch is None:
        raise Http404("No such ranch.")
    return ranch


def may_edit(member: Member, ranch: Ranch, permission: Permission = Permission.RANCH_EDIT) -> bool:
    """Whether the caller may change this ranch: for the whole co-op, or because it is the caller's own."""
    reach = member.reach(permission)
    return reach is Reach.COOP or (reach is Reach.OWN and ranch.people.filter(pk=member.user.pk).exists())


def herds_for(member: Member) -> QuerySet[Herd]:
    """Herds on the ranches that the caller may see."""
    return Herd.objects.filter(ranch__in=ranches_for(member)).select_related("ranch")


def herd_for(member: Member, identity: uuid.UUID) -> Herd:
    """One herd, or 404."""
    herd = herds_for(member).filter(pk=identity).first()
    if herd is None:
        raise Http404("No such herd.")
    return herd


def groups_for(member: Member) -> QuerySet[BreedingGroup]:
    """Breeding groups on the ranches that the caller may see."""
    return BreedingGroup.objects.filter(herd__ranch__in=ranches_for(member)).select_related("herd__ranch")


def group_for(member: Member, identity: uuid.UUID) -> BreedingGroup:
    """One group, or 404."""
    group = groups_for(member).filter(pk=identity).first()
    if group is None:
        raise Http404("No such group.")
    return group


def females_for(member: Member) -> QuerySet[Female]:
    """Females that the caller may see."""
    females = Female.objects.filter(herd__ranch__cooperative=member.cooperative).select_related("herd__ranch", "group")
    reach = member.reach(Permission.FEMALE_VIEW)
    if reach is Reach.COOP:
        return females
    return females.filter(herd__ranch__people=member.user) if reach is Reach.OWN else females.none()


def female_for(member: Member, identity: uuid.UUID) -> Female:
    """One female, or 404."""
    female = females_for(member).filter(pk=identity).first()
    if female is None:
        raise Http404("No such female.")
    return female
