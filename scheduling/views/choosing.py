"""The chooser: every programme of a group's class compared, with its reasons."""

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from herdplan.herds.queries import group_for
from scheduling import queries
from scheduling.forms.choice import ChooseForm
from scheduling.services.catalogue import protocol_name
from scheduling.services.choice_room import Subject, subject_of
from scheduling.services.choosing import compare_programmes, is_heifers, programme_now, use_programme
from scheduling.services.entries import EntryError, may_change, require_ranch

# Whys that the cards point to: shown once, below the cards, where the site has no page of its own for them.
WHY_CODES = ("expected_rate", "prices", "cost_per_pregnancy", "heat_detection", "lots")


def _page(request: HttpRequest, member: Member, subject: Subject, **more: Any) -> HttpResponse:
    asked = request.GET if "first" in request.GET else None
    form = ChooseForm(asked, heifers=is_heifers(subject), entered=subject.entry is not None)
    comparison = None
    if asked is None or form.is_valid():
        comparison = compare_programmes(member=member, subject=subject, wishes=form.wishes)
    context = {
        "form": form,
        "asked": asked is not None,
        "comparison": comparison,
        "subject": subject,
        "group": subject.group,
        "programme": programme_now(subject),
        "why_codes": WHY_CODES,
        "weights": form.weights if comparison else (),
        "may_use": may_change(member, subject.ranch),
        **more,
    }
    return render(request, "scheduling/choose.html", context)


@member_page(Permission.SEASON_VIEW)
def choose(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Programmes for a group that is entered in a season."""
    row = queries.season_for(member, season)
    found = queries.entry_for(member, row, entry)
    return _page(request, member, subject_of(found), season=row, entry=found)


@member_page(Permission.SEASON_VIEW)
def choose_group(request: HttpRequest, member: Member, group: uuid.UUID) -> HttpResponse:
    """Programmes for a group before it is entered anywhere; where it is entered, the way to that page."""
    found = group_for(member, group)
    entered = list(found.entries.filter(withdrawn_at=None).select_related("season").exclude(season__state="closed"))
    taken = {row.season_id for row in entered}
    open_seasons = [row for row in queries.seasons_for(member) if row.state != "closed" and row.pk not in taken][:3]
    return _page(request, member, Subject(found, found.head), entered=entered, open_seasons=open_seasons)


@require_POST
@member_page(Permission.ENTRY_EDIT)
def choose_use(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Make a programme the entry's own."""
    row = queries.season_for(member, season)
    found = queries.entry_for(member, row, entry)
    require_ranch(member, found.group.herd.ranch)
    protocol = request.POST.get("protocol", "")
    try:
        use_programme(member=member, entry=found, protocol=protocol)
    except EntryError as fault:
        texts = " ".join(text for texts in fault.faults.values() for text in texts)
        messages.error(request, f"{texts} Nothing was changed.")
        return redirect("scheduling:choose", coop=member.cooperative.slug, season=row.pk, entry=found.pk)
    name = protocol_name(protocol)
    messages.success(request, f"{found.group} now goes by {name}. It gets its dates when the season is planned again.")
    return redirect("scheduling:entry", coop=member.cooperative.slug, season=row.pk, entry=found.pk)
