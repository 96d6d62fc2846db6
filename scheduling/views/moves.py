"""Planned moves of cattle and changes of feed."""

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms.preparation import PlannedMoveForm
from scheduling.models import PlannedMove, Season, SeasonEntry
from scheduling.services.entries import require_ranch
from scheduling.services.item_acts import ItemError
from scheduling.services.planned_moves import Checked, check_planned, drafted, save_move, withdraw_move
from scheduling.services.season_basis import Basis, bases_of
from scheduling.views.preparation import drafts_of, found


@member_page(Permission.SEASON_VIEW)
def moves(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """Planned moves of a season, each held against the bands and the heat of its day."""
    row = queries.season_for(member, season)
    planned = list(queries.moves_for(member, row).filter(withdrawn=False))
    entries = {move.entry_id: move.entry for move in planned}
    bases = bases_of(entries.values(), drafts_of(member, row)) if entries else {}
    ranches = {entry.group.herd.ranch_id: entry.group.herd.ranch for entry in entries.values()}
    checked = check_planned(member.user, planned, bases, ranches.values())
    return render(request, "scheduling/moves.html", {"season": row, "moves": checked, "whole": True})


@member_page(Permission.ENTRY_EDIT)
def move_new(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Type a move of a group."""
    row, subject, basis = found(member, season, entry)
    return _move_page(request, member, row, subject, basis, None)


@member_page(Permission.ENTRY_EDIT)
def move_edit(request: HttpRequest, member: Member, planned: uuid.UUID) -> HttpResponse:
    """Change a move."""
    move = queries.move_for(member, planned)
    season = move.entry.season
    basis = bases_of([move.entry], drafts_of(member, season))[move.entry_id]
    return _move_page(request, member, season, move.entry, basis, move)


def _move_page(
    request: HttpRequest, member: Member, season: Season, entry: SeasonEntry, basis: Basis, move: PlannedMove | None
) -> HttpResponse:
    ranch = entry.group.herd.ranch
    require_ranch(member, ranch)
    first: dict[str, Any] = {}
    if move is not None:
        first = {name: getattr(move, name) for name in PlannedMoveForm.base_fields if name != "seen"}
    form = PlannedMoveForm(request.POST or None, initial=first)
    checked: Checked | None = None
    if request.method == "POST" and form.is_valid():
        values = {name: value for name, value in form.cleaned_data.items() if name != "seen"}
        try:
            row = drafted(entry=entry, basis=basis, values=values, move=move)
        except ItemError as fault:
            form.add_error(fault.field if fault.field in form.fields else None, fault.text)
        else:
            (checked,) = check_planned(member.user, [row], {entry.pk: basis}, [ranch])
            if not checked.warned or form.cleaned_data["seen"] == checked.digest:
                save_move(member=member, entry=entry, move=row, now=timezone.now())
                messages.success(request, "The move is kept, and stands in the herd's calendar.")
                return redirect("scheduling:after_ai", coop=member.cooperative.slug, season=season.pk, entry=entry.pk)
            form.data = form.data.copy()  # type: ignore[attr-defined]
            form.data["seen"] = checked.digest  # type: ignore[index]
    context = {"form": form, "season": season, "entry": entry, "basis": basis, "move": move, "checked": checked}
    return render(request, "scheduling/move_form.html", context)


@require_POST
@member_page(Permission.ENTRY_EDIT)
def move_withdraw(request: HttpRequest, member: Member, planned: uuid.UUID) -> HttpResponse:
    """Take a move out."""
    move = queries.move_for(member, planned)
    require_ranch(member, move.entry.group.herd.ranch)
    withdraw_move(member=member, move=move, now=timezone.now())
    messages.success(request, "The move is taken out; calendars show it as cancelled.")
    return redirect(
        "scheduling:after_ai", coop=member.cooperative.slug, season=move.entry.season_id, entry=move.entry_id
    )
