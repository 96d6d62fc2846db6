"""Feeds of a member."""

import uuid

from django.db.models import QuerySet
from django.http import Http404

from accounts.tenancy import Member
from herdplan.calendars.models import FeedToken


def feeds_for(member: Member) -> QuerySet[FeedToken]:
    """The member's own feeds in this co-op."""
    feeds = FeedToken.objects.filter(cooperative=member.cooperative, owner=member.user)
    return feeds.select_related("herd__ranch", "technician")


def feed_for(member: Member, identity: uuid.UUID) -> FeedToken:
    """One of them, or 404."""
    found = feeds_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such feed.")
    return found
