"""The only fetches of seasons, plans, steps and bookings that pages and API may use. Each respects the caller's reach."""

import uuid
from datetime import datetime

from django.db.models import Q, QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlanJob, PlannedStep, PlanVersion, ProtocolAdjustment, Season, SeasonEntry


def seasons_for(member: Member) -> QuerySet[Season]:
    """Seasons of the co-op."""
    if not member.may(Permission.SEASON_VIEW):
        return Season.objects.none()
    return Season.objects.filter(cooperative=member.cooperative).select_related("plan", "published_plan")


def season_for(member: Member, identity: uuid.UUID) -> Season:
    """One season, or 404."""
    season = seasons_for(member).filter(pk=identity).first()
    if season is None:
        raise Http404("No such season.")
    return season


def entries_for(member: Member, season: Season) -> QuerySet[SeasonEntry]:
    """The season's entries that the caller may see: all of them, or those of the caller's ranches."""
    entries = season.entries.select_related("group__herd__ranch", "season")
    if member.reach(Permission.SEASON_VIEW) is Reach.COOP:
        return entries
    return entries.filter(group__herd__ranch__people=member.user)


def entry_for(member: Member, season: Season, identity: uuid.UUID) -> SeasonEntry:
    """One entry, or 404."""
    entry = entries_for(member, season).filter(pk=identity).first()
    if entry is None:
        raise Http404("No such group in this season.")
    return entry


def plan_for(member: Member, season: Season, number: int | None = None) -> PlanVersion | None:
    """A plan version: the one of that number (404 where there is none), or the one in work.

    Whoever sees only their own ranches sees the published plan and no drafts.
    """
    if member.reach(Permission.SEASON_VIEW) is not Reach.COOP:
        return season.published_plan
    if number is None:
        return season.plan or season.published_plan
    plan = season.plans.filter(number=number).first()
    if plan is None:
        raise Http404("No such plan.")
    return plan


def job_for(member: Member, identity: uuid.UUID) -> PlanJob:
    """One planning job of the co-op, or 404."""
    job = PlanJob.objects.filter(pk=identity, season__cooperative=member.cooperative).select_related("season").first()
    if job is None or not member.may(Permission.SEASON_VIEW):
        raise Http404("No such job.")
    return job


def open_job(season: Season) -> PlanJob | None:
    """The job that is waiting or running for the season."""
    return season.jobs.filter(state__in=("queued", "running")).first()


def steps_for(member: Member) -> QuerySet[PlannedStep]:
    """Published steps that the caller may see."""
    steps = PlannedStep.objects.filter(ranch__cooperative=member.cooperative)
    steps = steps.select_related("ranch", "entry__group__herd")
    reach = member.reach(Permission.SEASON_VIEW)
    if reach is Reach.COOP:
        return steps
    return steps.filter(ranch__people=member.user) if reach is Reach.OWN else steps.none()


def next_steps(member: Member, now: datetime, most: int = 60) -> QuerySet[PlannedStep]:
    """Steps that are not over yet on the ranches that the caller belongs to, the next first."""
    steps = steps_for(member).filter(ends__gte=now, ranch__people=member.user).exclude(status="cancelled")
    return steps.order_by("starts", "key")[:most]


def bookings_for(member: Member) -> QuerySet[Booking]:
    """Published bookings that the caller may see."""
    bookings = Booking.objects.filter(technician__cooperative=member.cooperative)
    bookings = bookings.select_related("technician", "barn", "entry__group__herd__ranch", "entry__season")
    reach = member.reach(Permission.SEASON_VIEW)
    if reach is Reach.COOP:
        return bookings
    if reach is Reach.NONE:
        return bookings.none()
    mine = Q(entry__group__herd__ranch__people=member.user) | Q(technician__user=member.user)
    return bookings.filter(mine).distinct()


def stops_for(technician: Technician, start: datetime, end: datetime) -> QuerySet[Booking]:
    """A technician's live bookings between two moments, in order."""
    stops = Booking.objects.filter(technician=technician, starts__gte=start, starts__lt=end).exclude(status="cancelled")
    return stops.select_related("entry__group__herd__ranch", "barn").order_by("starts", "lot")


def first_live_booking_after(technician: Technician, now: datetime) -> Booking | None:
    """The technician's next live booking."""
    return Booking.objects.filter(technician=technician, ends__gte=now).exclude(status="cancelled").first()


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
