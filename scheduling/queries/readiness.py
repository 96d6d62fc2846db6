"""Females judged one by one, and what people said of them."""

import uuid
from collections.abc import Iterable

from django.db.models import Exists, OuterRef, QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import Female, Ranch
from scheduling.models import ReadinessLimit, ReadinessWord, Season, SeasonEntry
from scheduling.queries.seasons import entries_for


def readiness_entries_for(member: Member, season: Season) -> QuerySet[SeasonEntry]:
    """The season's entries whose females the caller may see one by one; `known` ones, with a female in the book, first."""
    entries = entries_for(member, season).select_related("group__herd__ranch", "season__cooperative")
    females = Female.objects.filter(group=OuterRef("group"), status=Female.Status.ACTIVE)
    entries = entries.annotate(known=Exists(females)).order_by("-known", "group__herd__ranch__name", "group__name")
    reach = member.reach(Permission.FEMALE_VIEW)
    if reach is Reach.COOP:
        return entries
    return entries.filter(group__herd__ranch__people=member.user) if reach is Reach.OWN else entries.none()


def ranches_judged(member: Member, entries: Iterable[SeasonEntry]) -> frozenset[uuid.UUID]:
    """Ranches of these entries whose females the caller may see one by one: others have no readiness to link to.

    One query for whoever sees only their own.
    """
    found = {entry.group.herd.ranch_id for entry in entries}
    reach = member.reach(Permission.FEMALE_VIEW)
    if reach is Reach.OWN:
        found &= set(Ranch.objects.filter(people=member.user).values_list("pk", flat=True))
    return frozenset() if reach is Reach.NONE else frozenset(found)


def readiness_entry_for(member: Member, season: Season, identity: uuid.UUID) -> SeasonEntry:
    """One of them, or 404."""
    found = readiness_entries_for(member, season).filter(pk=identity).first()
    if found is None:
        raise Http404("No such group in this season.")
    return found


def readiness_words_for(member: Member, entry: SeasonEntry) -> QuerySet[ReadinessWord]:
    """What was said of an entry and its females, withdrawn or not, the latest first."""
    rows = ReadinessWord.objects.filter(entry=entry, entry__season__cooperative=member.cooperative)
    return rows.select_related("by", "withdrawn_by", "female")


def readiness_word_for(member: Member, identity: uuid.UUID) -> ReadinessWord:
    """One word of the co-op, or 404."""
    rows = ReadinessWord.objects.filter(pk=identity, entry__season__cooperative=member.cooperative)
    found = rows.select_related("entry__season").first()
    if found is None or not member.may(Permission.FEMALE_VIEW):
        raise Http404("Nothing of this kind was said.")
    return found


def readiness_limits_for(member: Member) -> QuerySet[ReadinessLimit]:
    """The co-op's own limits, in force and withdrawn, the latest first."""
    return ReadinessLimit.objects.filter(cooperative=member.cooperative).select_related("by", "withdrawn_by")


def readiness_limit_for(member: Member, identity: uuid.UUID) -> ReadinessLimit:
    """One of them, or 404."""
    found = readiness_limits_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such limit.")
    return found
