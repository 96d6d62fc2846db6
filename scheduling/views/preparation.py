"""Preparation before AI and what follows it: dated items of a group or a season, ticked, moved and dropped."""

import uuid
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.herds.queries import group_for
from scheduling import queries
from scheduling.forms.preparation import CalvingForm, CareForm, DropItemForm, MoveItemForm
from scheduling.models import Season, SeasonEntry
from scheduling.services.calving import calving_of
from scheduling.services.catalogue import protocol_name
from scheduling.services.entries import may_change, require_ranch
from scheduling.services.heat import breeding_heat
from scheduling.services.item_acts import ItemError, drop_item, move_item, put_back, save_care, tick, untick
from scheduling.services.planned_moves import check_planned
from scheduling.services.season_basis import Basis, bases_of, calving_basis, care_of, draft_days
from scheduling.services.season_items import SeasonItem, bulls_for, by_time, items_of

SOON = timedelta(days=45)
# Cards of a season's page in each of its lists: a phone with one bar gets no more.
MOST = 40


def drafts_of(member: Member, season: Season) -> dict[str, date]:
    """AI days of the plan that the member may see."""
    plan = queries.plan_for(member, season)
    return draft_days(plan.document if plan else None)


def found(member: Member, season: uuid.UUID, entry: uuid.UUID) -> tuple[Season, SeasonEntry, Basis]:
    """A group in a season with what its items follow from, or 404."""
    row = queries.season_for(member, season)
    subject = queries.entry_for(member, row, entry)
    return row, subject, bases_of([subject], drafts_of(member, row))[subject.pk]


@member_page(Permission.SEASON_VIEW)
def preparation(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """Everything to prepare and to do in a season, by day, for the groups that the member may see."""
    row = queries.season_for(member, season)
    entries = list(queries.entries_for(member, row).select_related("care"))
    ranches = sorted({entry.group.herd.ranch for entry in entries}, key=str)
    wanted = request.GET.get("ranch", "")
    shown = [entry for entry in entries if not wanted or entry.group.herd.ranch.slug == wanted]
    today = timezone.localdate(timezone=ZoneInfo(member.cooperative.zone))
    bases = bases_of(shown, drafts_of(member, row))
    rows = by_time(_asked(item for basis in bases.values() for item in items_of(basis)), today)
    horizon = today + SOON
    everything = "all" in request.GET or not any(item.first <= horizon for item in rows.coming)
    coming = [item for item in rows.coming if everything or item.first <= horizon]
    context = {
        "season": row,
        "ranches": ranches,
        "wanted": wanted,
        "rows": rows,
        "coming": coming,
        "later": len(rows.coming) - len(coming),
        "most": MOST,
        "soon": SOON.days,
        "may_tick": _whose(member, shown),
        "groups": len(shown),
        "whole": True,
    }
    return render(request, "scheduling/preparation.html", context)


def _asked(items: Any) -> list[SeasonItem]:
    """Items that ask somebody to do something."""
    return [item for item in items if not item.settled]


def _whose(member: Member, entries: list[SeasonEntry]) -> frozenset[uuid.UUID]:
    """Entries whose items the member may tick. One query at most."""
    reach = member.reach(Permission.ENTRY_EDIT)
    if reach is Reach.NONE:
        return frozenset()
    mine = {ranch.pk for ranch in member.user.ranches.all()} if reach is Reach.OWN else set()
    return frozenset(row.pk for row in entries if reach is Reach.COOP or row.group.herd.ranch_id in mine)


@member_page(Permission.SEASON_VIEW)
def entry_preparation(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """What to prepare for one group, by day."""
    row, subject, basis = found(member, season, entry)
    ranch = subject.group.herd.ranch
    may = may_change(member, ranch)
    context = {
        "season": row,
        "entry": subject,
        "basis": basis,
        "protocol": protocol_name(subject.protocol),
        "rows": by_time(
            [item for item in items_of(basis) if item.before and not item.settled], ranch.day_at(timezone.now())
        ),
        "may_tick": frozenset([subject.pk] if may else []),
        "may_edit": may,
        "most": MOST,
    }
    context["coming"] = context["rows"].coming  # type: ignore[attr-defined]
    return render(request, "scheduling/entry_preparation.html", context)


@member_page(Permission.SEASON_VIEW)
def after_ai(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """What follows AI for one group: bands, bulls, watch, checks, planned moves, and when its calves come."""
    row, subject, basis = found(member, season, entry)
    ranch = subject.group.herd.ranch
    items = items_of(basis)
    after = [item for item in items if not item.before]
    may = may_change(member, ranch)
    moves = list(queries.moves_for(member, row).filter(entry=subject, withdrawn=False))
    context = {
        "season": row,
        "entry": subject,
        "basis": basis,
        "today": ranch.day_at(timezone.now()),
        "protocol": protocol_name(subject.protocol),
        "bands": [item for item in after if item.band],
        "work": [item for item in after if not item.band],
        "lines": _timeline(basis, after),
        "bulls": bulls_for(basis) if any(item.key == "bulls" for item in after) else None,
        "calving": calving_of(basis, items) if after else None,
        "heat": breeding_heat(ranch, basis.ai_day) if after else None,
        "moves": check_planned(member.user, moves, {subject.pk: basis}, [ranch]),
        "may_tick": frozenset([subject.pk] if may else []),
        "may_edit": may,
    }
    return render(request, "scheduling/after_ai.html", context)


def _timeline(basis: Basis, items: list[SeasonItem]) -> list[tuple[SeasonItem, int, int, int]]:
    """Items on one line of days, 30 before to 100 after AI: the item, place and width in per mille, days after AI."""
    first, whole = basis.ai_day - timedelta(days=30), 130
    rows = []
    for item in items:
        start, days = (item.first - first).days, (item.last - item.first).days + 1
        if 0 <= start < whole and item.standing.dropped is None:
            place = round(start * 1000 / whole)
            width = min(round(days * 1000 / whole), 1000 - place)
            rows.append((item, place, max(8, width), (item.first - basis.ai_day).days))
    return rows


def _item(basis: Basis, key: str) -> SeasonItem:
    item = next((row for row in items_of(basis) if row.key == key and not row.settled), None)
    if item is None:
        raise Http404("No such item.")
    return item


@member_page(Permission.SEASON_VIEW)
def item(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID, item: str) -> HttpResponse:
    """One item: who did what to it, and for those who may, another day or none."""
    row, subject, basis = found(member, season, entry)
    one = _item(basis, item)
    what = request.POST.get("what", "")
    move = MoveItemForm(request.POST if what == "move" else None, prefix="move", initial={"day": one.first})
    drop = DropItemForm(request.POST if what == "drop" else None, prefix="drop")
    if request.method == "POST":
        require_ranch(member, subject.group.herd.ranch)
        said = _act(member, subject, one, what, move, drop)
        if said:
            messages.success(request, said)
            return redirect(_page_of(member, subject, one))
    context = {
        "season": row,
        "entry": subject,
        "item": one,
        "acts": basis.acts.get(one.key, ()),
        "move": move,
        "drop": drop,
        "may_edit": may_change(member, subject.group.herd.ranch),
    }
    return render(request, "scheduling/item.html", context)


def _act(member: Member, entry: SeasonEntry, one: SeasonItem, what: str, move: MoveItemForm, drop: DropItemForm) -> str:
    """Do what was asked; returns what to say, or nothing where the form has to be put right."""
    asked: dict[str, Any] = {"member": member, "entry": entry, "item": one, "now": timezone.now()}
    if what == "back":
        return f"{one.title} stands where it counts again." if put_back(**asked) else "It stands there already."
    form = move if what == "move" else drop
    if not form.is_valid():
        return ""
    try:
        if what == "move":
            move_item(**asked, **form.cleaned_data)
        else:
            drop_item(**asked, **form.cleaned_data)
    except ItemError as fault:
        form.add_error(fault.field if fault.field in form.fields else None, fault.text)
        return ""
    return f"{one.title} is {'moved' if what == 'move' else 'dropped'}. Calendars show it so from now on."


def _page_of(member: Member, entry: SeasonEntry, one: SeasonItem) -> str:
    name = "scheduling:entry_preparation" if one.before else "scheduling:after_ai"
    return redirect(name, coop=member.cooperative.slug, season=entry.season_id, entry=entry.pk)["Location"]


@require_POST
@member_page(Permission.ENTRY_EDIT)
def item_tick(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID, item: str) -> HttpResponse:
    """Tick an item as done, or take the tick back."""
    _, subject, basis = found(member, season, entry)
    one = _item(basis, item)
    undo = "undo" in request.POST
    try:
        (untick if undo else tick)(member=member, entry=subject, item=one, now=timezone.now())
    except ItemError as fault:
        messages.error(request, f"{fault.text} Nothing was changed.")
    else:
        messages.success(request, f"{one.title}, {subject.group.name}: {'the tick is taken back' if undo else 'done'}.")
    back = request.POST.get("next", "")
    safe = url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}, require_https=request.is_secure())
    return redirect(back if safe else _page_of(member, subject, one))


@member_page(Permission.ENTRY_EDIT)
def care(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """A group's wishes around AI."""
    row, subject, _ = found(member, season, entry)
    require_ranch(member, subject.group.herd.ranch)
    form = CareForm(request.POST or None, instance=care_of(subject))
    if request.method == "POST" and form.is_valid():
        try:
            save_care(member=member, entry=subject, values=form.cleaned_data, now=timezone.now())
        except ItemError as fault:
            form.add_error(fault.field if fault.field in form.fields else None, fault.text)
        else:
            messages.success(request, "Saved. Dates, calendars and reminders follow it.")
            return redirect("scheduling:after_ai", coop=member.cooperative.slug, season=row.pk, entry=subject.pk)
    return render(request, "scheduling/care.html", {"form": form, "season": row, "entry": subject})


@member_page(Permission.SEASON_VIEW)
def group_preparation(request: HttpRequest, member: Member, group: uuid.UUID) -> HttpResponse:
    """Counted back from a wanted start of calving, before the group is entered anywhere."""
    row = group_for(member, group)
    form = CalvingForm(request.GET if "first_calves" in request.GET else None, group=row)
    context: dict[str, Any] = {"group": row, "form": form}
    if form.is_bound and form.is_valid():
        basis = calving_basis(row, form.cleaned_data["protocol"], form.ai_day)
        today = row.herd.ranch.day_at(timezone.now())
        items = [item for item in items_of(basis) if item.before]
        taken = {entry.season_id for entry in row.entries.filter(withdrawn_at=None)}
        seasons = [
            one
            for one in queries.seasons_for(member)
            if one.state != "closed" and one.pk not in taken and one.first_day <= basis.ai_day <= one.last_day
        ]
        context |= {
            "basis": basis,
            "rows": by_time(items, today),
            "coming": by_time(items, today).coming,
            "protocol": protocol_name(basis.protocol),
            "seasons": seasons if may_change(member, row.herd.ranch) else [],
            "may_tick": frozenset(),
            "most": MOST,
        }
    return render(request, "scheduling/group_preparation.html", context)
