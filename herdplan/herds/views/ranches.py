"""Ranches and their closed days."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.herds import queries
from herdplan.herds.forms import ClosedDayForm, RanchForm
from herdplan.herds.models import Ranch
from herdplan.herds.services import make_ranch_usable, require_edit


@member_page(Permission.RANCH_VIEW)
def ranches(request: HttpRequest, member: Member) -> HttpResponse:
    """The ranches that the caller may see."""
    return render(request, "herds/ranches.html", {"ranches": queries.ranch_list(member)})


@member_page(Permission.RANCH_VIEW)
def ranch_page(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """A ranch: place, hours, closed days, herds and groups."""
    row = queries.ranch_for(member, ranch)
    may_type = queries.may_edit(member, row, Permission.FEMALE_EDIT)
    context = {
        "ranch": row,
        "may_type": may_type,
        "herds": row.herds.prefetch_related("groups"),
        "closed_days": row.closed_days.all(),
        "closed_form": ClosedDayForm(),
        "may_edit": queries.may_edit(member, row),
        "may_see_females": queries.females_for(member).filter(herd__ranch=row).exists()
        or may_type
        or member.may(Permission.FEMALE_VIEW, Reach.COOP),
    }
    return render(request, "herds/ranch.html", context)


@member_page(Permission.RANCH_EDIT)
def ranch_form(request: HttpRequest, member: Member, ranch: str | None = None) -> HttpResponse:
    """Make a ranch (coordinator) or change one."""
    if ranch is None:
        member.require(Permission.RANCH_ADD, Reach.COOP)
        row = Ranch(cooperative=member.cooperative, zone=member.cooperative.zone)
    else:
        row = queries.ranch_for(member, ranch)
        require_edit(member, row)
    whole = member.may(Permission.RANCH_ADD, Reach.COOP)
    form = RanchForm(request.POST or None, instance=row, cooperative=member.cooperative, choose_people=whole)
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        make_ranch_usable(ranch=saved)
        messages.success(request, f"{saved} is saved.")
        return redirect("herds:ranch", coop=member.cooperative.slug, ranch=saved.slug)
    return render(request, "herds/ranch_form.html", {"form": form, "ranch": row, "new": ranch is None})


@require_POST
@member_page(Permission.RANCH_EDIT)
def closed_day_add(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """Add a day on which no cattle are handled."""
    row = queries.ranch_for(member, ranch)
    require_edit(member, row)
    form = ClosedDayForm(request.POST)
    form.instance.ranch = row
    try:
        if form.is_valid():
            form.instance.validate_constraints()
            form.save()
            messages.success(
                request, f"{row} is closed on {form.instance.day:%a %d %b %Y}. Plans made from now on keep it free."
            )
        else:
            messages.error(request, "Choose a day. Nothing was saved.")
    except ValidationError:
        messages.error(request, f"{form.instance.day:%a %d %b %Y} is on the list already.")
    return redirect("herds:ranch", coop=member.cooperative.slug, ranch=row.slug)


@require_POST
@member_page(Permission.RANCH_EDIT)
def closed_day_remove(request: HttpRequest, member: Member, ranch: str, day: int) -> HttpResponse:
    """Open the ranch again on a day."""
    row = queries.ranch_for(member, ranch)
    require_edit(member, row)
    closed = get_object_or_404(row.closed_days, pk=day)
    closed.delete()
    messages.success(request, f"{row} is open on {closed.day:%a %d %b %Y}.")
    return redirect("herds:ranch", coop=member.cooperative.slug, ranch=row.slug)
