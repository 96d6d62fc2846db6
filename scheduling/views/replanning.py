"""Something has happened: say it, look at the plan that would follow, accept or drop it."""

import uuid

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms.replanning import ReplanForm
from scheduling.models import Replanning
from scheduling.services import (
    DoubleBooked,
    EntryError,
    PlanBroken,
    ReplanError,
    StalePlan,
    TrialError,
    accept_replanning,
    drop_replanning,
    request_replanning,
)
from scheduling.services.trials import outcome


@member_page(Permission.SEASON_EDIT, Reach.COOP)
def replan(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """What can happen, and what has happened in this season."""
    row = queries.season_for(member, season)
    context = {
        "season": row,
        "kinds": Replanning.Kind.choices,
        "rows": queries.replannings_for(member, row),
        "plan": queries.plan_for(member, row),
    }
    return render(request, "scheduling/replan.html", context)


@member_page(Permission.SEASON_EDIT, Reach.COOP)
def replan_form(request: HttpRequest, member: Member, season: uuid.UUID, kind: str) -> HttpResponse:
    """Say what happened; the plan that follows is tried out at once."""
    row = queries.season_for(member, season)
    if kind not in Replanning.Kind.values:
        raise Http404("Nothing of this kind happens.")
    form = ReplanForm(request.POST or None, kind=kind, member=member, season=row)
    if request.method == "POST" and form.is_valid():
        try:
            made = request_replanning(
                member=member, season=row, happening=form.happening(), now=timezone.now(), **form.options()
            )
        except ReplanError as fault:
            form.add_error(fault.field if fault.field in form.fields else None, fault.text)
        except TrialError as fault:
            form.add_error(None, str(fault))
        else:
            return redirect("scheduling:replanning", coop=member.cooperative.slug, replanning=made.pk)
    context = {"season": row, "form": form, "kind": Replanning.Kind(kind).label}
    return render(request, "scheduling/replan_form.html", context)


@member_page(Permission.SEASON_EDIT, Reach.COOP)
def replanning(request: HttpRequest, member: Member, replanning: uuid.UUID) -> HttpResponse:
    """The plan that would follow beside the one that stands."""
    row = queries.replanning_for(member, replanning)
    found = outcome(row.trial, row.season) if row.trial.document is not None else None
    context = {"row": row, "season": row.season, "job": row.trial.job, "outcome": found}
    return render(request, "scheduling/replanning.html", context)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def replanning_accept(request: HttpRequest, member: Member, replanning: uuid.UUID) -> HttpResponse:
    """Write what happened and take the new plan over; publish it where asked."""
    row = queries.replanning_for(member, replanning)
    publish_it = request.POST.get("publish") == "yes"
    try:
        plan = accept_replanning(member=member, replanning=row, now=timezone.now(), publish_it=publish_it)
    except (TrialError, EntryError, PlanBroken, StalePlan, DoubleBooked) as fault:
        messages.error(request, f"Not accepted. {fault}")
        return redirect("scheduling:replanning", coop=member.cooperative.slug, replanning=row.pk)
    done = (
        "published: calendar feeds show it from now on"
        if publish_it
        else "the plan in work now; publish it when it is right"
    )
    messages.success(request, f"Plan {plan.number} is {done}.")
    return redirect("scheduling:season", coop=member.cooperative.slug, season=row.season_id)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def replanning_drop(request: HttpRequest, member: Member, replanning: uuid.UUID) -> HttpResponse:
    """Leave everything as it is."""
    row = queries.replanning_for(member, replanning)
    drop_replanning(member=member, replanning=row, now=timezone.now())
    messages.success(request, "Dropped. The plan and everybody's dates stay as they are.")
    return redirect("scheduling:replan", coop=member.cooperative.slug, season=row.season_id)
