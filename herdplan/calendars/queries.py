"""Feeds of a member, and what a coordinator sees of everybody's."""

import uuid
from datetime import datetime

from django.db.models import OuterRef, QuerySet, Subquery
from django.http import Http404

from accounts.models import User
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.calendars.models import Attendance, FeedToken, Letter, OwnCollection
from herdplan.technicians.models import Technician


def feeds_for(member: Member) -> QuerySet[FeedToken]:
    """The member's own feeds in this co-op."""
    feeds = FeedToken.objects.filter(cooperative=member.cooperative, owner=member.user)
    return feeds.select_related("herd__ranch", "technician")


def own_collection(user: User) -> OwnCollection | None:
    """The calendar of the person's own that we write into, if any."""
    return OwnCollection.objects.filter(user=user, leaving=False).first()


def feed_for(member: Member, identity: uuid.UUID) -> FeedToken:
    """One of them, or 404."""
    found = feeds_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such feed.")
    return found


def askings_for(member: Member, now: datetime) -> QuerySet[Attendance]:
    """Who is asked to what that is not over, with what became of the latest letter (`mail`)."""
    if not member.may(Permission.SEASON_EDIT, Reach.COOP):
        return Attendance.objects.none()
    latest = Letter.objects.filter(attendance=OuterRef("pk")).order_by("-sequence").values("message__state")[:1]
    rows = Attendance.objects.filter(cooperative=member.cooperative, state="asked", ends__gt=now)
    return rows.select_related("user", "booking__technician").annotate(mail=Subquery(latest)).order_by("starts", "name")


def all_feeds_for(member: Member) -> QuerySet[FeedToken]:
    """Open feeds of the whole co-op, those that were fetched longest ago first."""
    if not member.may(Permission.MEMBERS_MANAGE, Reach.COOP):
        return FeedToken.objects.none()
    feeds = FeedToken.objects.filter(cooperative=member.cooperative, revoked_at=None)
    return feeds.select_related("owner", "herd__ranch", "technician").order_by("last_fetch_at", "name")


def unreachable_for(member: Member, now: datetime) -> QuerySet[Technician]:
    """Booked technicians whom no message reaches, because nobody signs in as them."""
    people = Technician.objects.filter(cooperative=member.cooperative, user=None, bookings__ends__gt=now)
    return people.exclude(bookings__status="cancelled").distinct()
