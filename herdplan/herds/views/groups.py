"""Herds and breeding groups."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from accounts.units import Units
from herdplan.herds import queries
from herdplan.herds.forms import GroupForm, HerdForm
from herdplan.herds.models import BreedingGroup, Herd, Ranch
from herdplan.herds.services import InUse, remove_group, remove_herd, require_edit


def _save_herd(request: HttpRequest, member: Member, herd: Herd) -> HttpResponse:
    require_edit(member, herd.ranch)
    form = HerdForm(request.POST or None, instance=herd, units=Units.of(member.user))
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        messages.success(request, f"{saved.name} is saved.")
        return redirect("herds:ranch", coop=member.cooperative.slug, ranch=herd.ranch.slug)
    return render(
        request, "herds/herd_form.html", {"form": form, "ranch": herd.ranch, "herd": herd, "new": herd._state.adding}
    )


@member_page(Permission.RANCH_EDIT)
def herd_form(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """Make a herd."""
    return _save_herd(request, member, Herd(ranch=queries.ranch_for(member, ranch)))


@member_page(Permission.RANCH_EDIT)
def herd_edit(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """Change a herd."""
    return _save_herd(request, member, queries.herd_for(member, herd))


@require_POST
@member_page(Permission.RANCH_EDIT)
def herd_remove(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """Remove an empty herd."""
    row = queries.herd_for(member, herd)
    try:
        remove_herd(member=member, herd=row)
        messages.success(request, f"{row.name} is removed.")
    except InUse as fault:
        messages.error(request, str(fault))
    return redirect("herds:ranch", coop=member.cooperative.slug, ranch=row.ranch.slug)


def _save_group(request: HttpRequest, member: Member, ranch: Ranch, group: BreedingGroup) -> HttpResponse:
    require_edit(member, ranch)
    form = GroupForm(request.POST or None, instance=group, ranch=ranch)
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        messages.success(request, f"{saved.name} is saved. Enter it in a season to give it AI days.")
        return redirect("herds:ranch", coop=member.cooperative.slug, ranch=ranch.slug)
    return render(
        request, "herds/group_form.html", {"form": form, "ranch": ranch, "group": group, "new": group._state.adding}
    )


@member_page(Permission.RANCH_EDIT)
def group_form(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """Make a breeding group."""
    return _save_group(request, member, queries.ranch_for(member, ranch), BreedingGroup())


@member_page(Permission.RANCH_EDIT)
def group_edit(request: HttpRequest, member: Member, group: uuid.UUID) -> HttpResponse:
    """Change a breeding group."""
    row = queries.group_for(member, group)
    return _save_group(request, member, row.herd.ranch, row)


@require_POST
@member_page(Permission.RANCH_EDIT)
def group_remove(request: HttpRequest, member: Member, group: uuid.UUID) -> HttpResponse:
    """Remove a group that no season needs."""
    row = queries.group_for(member, group)
    try:
        remove_group(member=member, group=row)
        messages.success(request, f"{row.name} is removed; its females stay in the herd.")
    except InUse as fault:
        messages.error(request, str(fault))
    return redirect("herds:ranch", coop=member.cooperative.slug, ranch=row.herd.ranch.slug)
