"""Seasons, the groups entered in them, their plans and jobs."""

import uuid
from datetime import date

from django.db.models import QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import BreedingGroup
from scheduling.models import PlanJob, PlanVersion, Season, SeasonEntry


def seasons_for(member: Member) -> QuerySet[Season]:
    """Seasons of the co-op."""
    if not member.may(Permission.SEASON_VIEW):
        return Season.objects.none()
    return Season.objects.filter(cooperative=member.cooperative).select_related("plan", "published_plan")


def latest_seasons(member: Member, most: int = 5) -> list[Season]:
    """The latest seasons with their plans in work, without the large documents that a list does not show."""
    rows = seasons_for(member).defer("plan__problem", "published_plan__problem", "published_plan__document")
    return list(rows[:most])


def season_at(member: Member, today: date) -> Season | None:
    """The season that runs or comes next, else the last one."""
    rows = seasons_for(member)
    return rows.filter(last_day__gte=today).order_by("first_day").first() or rows.order_by("-last_day").first()


def season_for(member: Member, identity: uuid.UUID) -> Season:
    """One season, or 404."""
    season = seasons_for(member).filter(pk=identity).first()
    if season is None:
        raise Http404("No such season.")
    return season


def entries_for(member: Member, season: Season) -> QuerySet[SeasonEntry]:
    """The season's entries that the caller may see: all of them, or those of the caller's ranches."""
    entries = season.entered.select_related("group__herd__ranch", "season")
    if member.reach(Permission.SEASON_VIEW) is Reach.COOP:
        return entries
    return entries.filter(group__herd__ranch__people=member.user)


def entry_for(member: Member, season: Season, identity: uuid.UUID) -> SeasonEntry:
    """One entry, or 404."""
    entry = entries_for(member, season).filter(pk=identity).first()
    if entry is None:
        raise Http404("No such group in this season.")
    return entry


def entry_of_group(member: Member, group: BreedingGroup, today: date) -> SeasonEntry | None:
    """The entry of a group whose AI comes next, else the last one; None where it is in no season."""
    entries = SeasonEntry.objects.filter(group=group, withdrawn_at=None, season__cooperative=member.cooperative)
    entries = entries.select_related("season")
    coming = entries.filter(ai_to__gte=today).order_by("ai_wanted").first()
    return coming or entries.order_by("-ai_wanted").first()


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


def sees_drafts(member: Member) -> bool:
    """Whether the caller sees plans that are not published."""
    return member.reach(Permission.SEASON_VIEW) is Reach.COOP


def job_for(member: Member, identity: uuid.UUID) -> PlanJob:
    """One planning job of the co-op, or 404."""
    job = PlanJob.objects.filter(pk=identity, season__cooperative=member.cooperative).select_related("season").first()
    if job is None or not member.may(Permission.SEASON_VIEW):
        raise Http404("No such job.")
    return job


def open_job(season: Season) -> PlanJob | None:
    """The job that is waiting or running for the season."""
    return season.jobs.filter(state__in=("queued", "running")).first()
