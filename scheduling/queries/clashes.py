"""What happened and what collides: replannings, the clash desk, who is asked, who gave way, holidays."""

import uuid

from django.db.models import QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.models import ClashAnswer, ClashCase, ClashRemedy, GaveWay, Holiday, Replanning, Season


def replannings_for(member: Member, season: Season) -> QuerySet[Replanning]:
    """What happened in a season and what was decided, without the large documents."""
    if member.reach(Permission.SEASON_VIEW) is not Reach.COOP:
        return Replanning.objects.none()
    return season.replannings.select_related("made_by", "decided_by")


def replanning_for(member: Member, identity: uuid.UUID) -> Replanning:
    """One replanning of the co-op with its trial, or 404."""
    rows = Replanning.objects.filter(pk=identity, season__cooperative=member.cooperative)
    found = rows.select_related("season__cooperative", "season__published_plan", "trial__base", "trial__job").first()
    if found is None:
        raise Http404("No such replanning.")
    return found


def clashes_for(member: Member, season: Season) -> QuerySet[ClashCase]:
    """Clashes that lie or lay on the season's desk."""
    if member.reach(Permission.SEASON_VIEW) is not Reach.COOP:
        return ClashCase.objects.none()
    return season.clashes.select_related("group__group__herd__ranch", "rival__group__herd__ranch", "chosen")


def clash_for(member: Member, identity: uuid.UUID) -> ClashCase:
    """One clash of the co-op, or 404."""
    rows = ClashCase.objects.filter(pk=identity, season__cooperative=member.cooperative)
    found = rows.select_related(
        "season__cooperative",
        "season__published_plan",
        "base",
        "job",
        "chosen",
        "result",
        "group__group__herd__ranch",
        "rival__group__herd__ranch",
    ).first()
    if found is None:
        raise Http404("No such clash.")
    return found


def remedy_for(member: Member, identity: uuid.UUID) -> ClashRemedy:
    """One remedy of the co-op, or 404."""
    rows = ClashRemedy.objects.filter(pk=identity, case__season__cooperative=member.cooperative)
    found = rows.select_related("case__season").first()
    if found is None:
        raise Http404("No such remedy.")
    return found


def answers_for(member: Member) -> QuerySet[ClashAnswer]:
    """What ranches are or were asked: of the whole co-op, or of the caller's own ranches."""
    rows = ClashAnswer.objects.filter(ranch__cooperative=member.cooperative)
    rows = rows.select_related("ranch", "by", "remedy__case__season", "remedy__case__group__group").order_by(
        "-asked_at"
    )
    reach = member.reach(Permission.CLASH_ANSWER)
    if reach is Reach.COOP:
        return rows
    return rows.filter(ranch__people=member.user) if reach is Reach.OWN else rows.none()


def answer_for(member: Member, identity: uuid.UUID) -> ClashAnswer:
    """One of them, or 404."""
    found = answers_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("Nothing of this kind is asked.")
    return found


def gave_way_for(member: Member) -> QuerySet[GaveWay]:
    """Who gave way: in the whole co-op, or on the caller's own ranches."""
    rows = GaveWay.objects.filter(season__cooperative=member.cooperative).select_related("ranch", "season")
    reach = member.reach(Permission.SEASON_VIEW)
    if reach is Reach.COOP:
        return rows
    return rows.filter(ranch__people=member.user) if reach is Reach.OWN else rows.none()


def holidays_for(member: Member) -> QuerySet[Holiday]:
    """The co-op's holidays, the latest first."""
    return Holiday.objects.filter(cooperative=member.cooperative).order_by("-day")


def holiday_for(member: Member, identity: int) -> Holiday:
    """One holiday, or 404."""
    found = holidays_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such holiday.")
    return found
