"""Planning, moving by hand, remedies, publishing."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms import MoveForm
from scheduling.models import Season
from scheduling.services import (
    DoubleBooked,
    EntryError,
    MoveError,
    PlanBroken,
    StalePlan,
    apply_remedy,
    move_group,
    publish,
    published_words,
    request_plan,
    stop_job,
)


def _back(member: Member, season: Season) -> HttpResponse:
    return redirect("scheduling:season", coop=member.cooperative.slug, season=season.pk)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def plan_season(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """Ask for a plan; the page shows its progress."""
    row = queries.season_for(member, season)
    if not row.entered.exists() and row.published_plan_id is None:
        messages.error(request, "No group is entered yet. Enter the groups first, then plan.")
        return _back(member, row)
    request_plan(member=member, season=row, now=timezone.now(), keep=request.POST.get("keep") == "yes")
    return _back(member, row)


@member_page(Permission.SEASON_VIEW, Reach.COOP)
def job_progress(request: HttpRequest, member: Member, job: uuid.UUID) -> HttpResponse:
    """The progress of a job, asked for again and again by the page."""
    row = queries.job_for(member, job)
    response = render(request, "scheduling/job.html", {"job": row, "season": row.season})
    if row.state not in ("queued", "running"):
        response["HX-Refresh"] = "true"
    return response


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def job_stop(request: HttpRequest, member: Member, job: uuid.UUID) -> HttpResponse:
    """Stop searching and keep the best plan."""
    row = queries.job_for(member, job)
    stop_job(member=member, job=row, now=timezone.now())
    messages.success(request, "Planning stops and keeps the best plan found so far.")
    return _back(member, row.season)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def move(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """Move a group to another AI day and show what breaks."""
    row = queries.season_for(member, season)
    form = MoveForm(request.POST)
    plan = queries.plan_for(member, row)
    if not form.is_valid() or plan is None:
        messages.error(request, "Choose a group and a day. Nothing was moved.")
        return _back(member, row)
    entry = queries.entry_for(member, row, form.cleaned_data["entry"])
    try:
        made = move_group(member=member, plan=plan, entry=entry, ai_day=form.cleaned_data["ai_day"], now=timezone.now())
    except MoveError as fault:
        messages.error(request, str(fault))
        return _back(member, row)
    if made.broken:
        messages.warning(request, f"{made.note}. This breaks {len(made.broken)} rules; they are listed under the plan.")
    else:
        messages.success(request, f"{made.note}. No rule is broken.")
    return _back(member, row)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def remedy(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """Apply a remedy of an unplaced group and plan again, changing as little as possible."""
    row = queries.season_for(member, season)
    plan = queries.plan_for(member, row)
    number = request.POST.get("number", "")
    try:
        if plan is None or not (number.isascii() and number.isdigit()):
            raise MoveError("This remedy is no longer offered; plan the season again.")
        entry = apply_remedy(member=member, plan=plan, group=request.POST.get("group", ""), number=int(number))
    except (MoveError, EntryError) as fault:
        messages.error(request, str(fault))
        return _back(member, row)
    request_plan(member=member, season=row, now=timezone.now(), keep=True)
    messages.success(
        request, f"The wishes of {entry.group} are changed; the season is planned again around what stands."
    )
    return _back(member, row)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def use_plan(request: HttpRequest, member: Member, season: uuid.UUID, number: int) -> HttpResponse:
    """Take an earlier version as the plan in work."""
    row = queries.season_for(member, season)
    row.plan = queries.plan_for(member, row, number)
    row.save(update_fields=["plan"])
    messages.success(request, f"Plan {number} is the plan in work now.")
    return _back(member, row)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def publish_plan(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """Publish the plan in work."""
    row = queries.season_for(member, season)
    plan = queries.plan_for(member, row)
    if plan is None:
        messages.error(request, "There is no plan yet. Plan the season first.")
        return _back(member, row)
    try:
        changes = publish(member=member, season=row, plan=plan, now=timezone.now())
    except (PlanBroken, StalePlan, DoubleBooked) as fault:
        messages.error(request, f"Not published. {fault}")
        return _back(member, row)
    text = f"Plan {plan.number} is published: {published_words(changes)}. Calendar feeds show it from now on."
    messages.success(request, text)
    return _back(member, row)
