"""The list of seasons, a season's frame, and the board."""

import re
import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms import SeasonForm
from scheduling.models import Season, SeasonEntry
from scheduling.services import SeasonFault, answers_of, save_season
from scheduling.services.board import board_of
from scheduling.services.board_waits import say_waits
from scheduling.services.heat import HeatBook
from scheduling.services.problem import differences


@member_page(Permission.SEASON_VIEW)
def seasons(request: HttpRequest, member: Member) -> HttpResponse:
    """Every season of the co-op."""
    return render(request, "scheduling/seasons.html", {"seasons": queries.seasons_for(member)})


@member_page(Permission.SEASON_EDIT, Reach.COOP)
def season_form(request: HttpRequest, member: Member, season: uuid.UUID | None = None) -> HttpResponse:
    """Make a season or change its frame."""
    row = (
        queries.season_for(member, season)
        if season
        else Season(cooperative=member.cooperative, zone=member.cooperative.zone)
    )
    form = SeasonForm(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        try:
            saved = save_season(member=member, season=row, values=form.values())
        except SeasonFault as fault:
            for name, texts in fault.faults.items():
                form.add_error(name if name in form.fields else None, texts)
        else:
            return redirect("scheduling:season", coop=member.cooperative.slug, season=saved.pk)
    return render(request, "scheduling/season_form.html", {"form": form, "season": row, "new": season is None})


def _book(member: Member, season: Season, entries: list[SeasonEntry]) -> HeatBook:
    """The weather of the season's days on the ranches that are shown."""
    ranches = {entry.group.herd.ranch_id: entry.group.herd.ranch for entry in entries}
    return HeatBook(member.user, ranches.values(), season.first_day, season.last_day)


@member_page(Permission.SEASON_VIEW)
def season_page(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """The season board: a draft for those who plan, the published plan for everybody."""
    row = queries.season_for(member, season)
    number = request.GET.get("plan", "")
    plan = queries.plan_for(member, row, int(number) if re.fullmatch(r"[0-9]{1,6}", number) else None)
    entries = list(queries.entries_for(member, row).prefetch_related("records"))
    if plan is not None:
        plan.season = row
    may_plan = member.may(Permission.SEASON_EDIT, Reach.COOP)
    answers = answers_of(row) if plan is not None and plan.pk == row.published_plan_id else {}
    board = board_of(plan, entries, answers, _book(member, row, entries)) if plan else None
    if board and plan:
        say_waits(board, plan, member.cooperative)
    context = {
        "season": row,
        "plan": plan,
        "board": board,
        "entries": entries,
        "job": queries.open_job(row),
        "last_job": row.jobs.first(),
        "may_plan": may_plan,
        "changed": differences(row, plan.problem) if plan is not None and may_plan else (),
        "judged": queries.ranches_judged(member, entries),
        "plans": row.plans.only("number", "origin", "note", "status", "cost_total", "created_at", "season_id")[:12],
    }
    return render(request, "scheduling/season.html", context)
