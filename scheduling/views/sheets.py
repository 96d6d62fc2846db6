"""What is printed: a ranch's days in a season with room to tick, and a sheet a group for the chute."""

import uuid

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from herdplan.herds.models import Ranch
from herdplan.herds.queries import tags_by_group
from scheduling import queries
from scheduling.services.board import board_of
from scheduling.services.board_waits import say_waits
from scheduling.services.day_sheet import MOST_LINES, group_sheets


def _chosen(ranches: list[Ranch], slug: str) -> Ranch | None:
    """The ranch that is asked for; the only one without asking; 404 for one that is not the member's to see."""
    if not slug:
        return ranches[0] if len(ranches) == 1 else None
    found = next((ranch for ranch in ranches if ranch.slug == slug), None)
    if found is None:
        raise Http404("No such ranch in this season.")
    return found


@member_page(Permission.SEASON_VIEW)
def day_sheet(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """A ranch's days and its groups' sheets, to be printed or saved as PDF by the browser."""
    row = queries.season_for(member, season)
    entries = list(queries.entries_for(member, row).prefetch_related("records"))
    ranches = sorted({entry.group.herd.ranch for entry in entries}, key=str)
    ranch = _chosen(ranches, request.GET.get("ranch", ""))
    shown = [entry for entry in entries if ranch is not None and entry.group.herd.ranch_id == ranch.pk]
    plan = queries.plan_for(member, row)
    board = board_of(plan, shown) if plan and shown else None
    if board and plan:
        say_waits(board, plan, member.cooperative)
    tags = tags_by_group(member, [entry.group_id for entry in shown]) if board else {}
    context = {
        "season": row,
        "ranches": ranches,
        "ranch": ranch,
        "plan": plan,
        "draft": plan is not None and plan.pk != row.published_plan_id,
        "days": board.by_day() if board else [],
        "sheets": group_sheets(board, tags) if board else [],
        "most": MOST_LINES,
        "printed": ranch.day_at(timezone.now()) if ranch else None,
    }
    return render(request, "scheduling/day_sheet.html", context)
