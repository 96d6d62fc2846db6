"""The catalogue: every protocol with its steps and sources, and the co-op's own hours."""

import uuid

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms import AdjustForm
from scheduling.services import AdjustmentError, adjust, withdraw_adjustment
from scheduling.services.editions import edition, protocols_of
from scheduling.services.reasons import codes_of


@member_page(Permission.SEASON_VIEW)
def protocols(request: HttpRequest, member: Member) -> HttpResponse:
    """Every protocol, by class and way of timing AI."""
    rows = sorted(
        protocols_of(member.cooperative).values(), key=lambda item: (item.animal_class, item.category, item.name)
    )
    return render(request, "scheduling/protocols.html", {"protocols": rows, "edition": edition()})


@member_page(Permission.SEASON_VIEW)
def protocol(request: HttpRequest, member: Member, protocol: str) -> HttpResponse:
    """One protocol: steps, hours, doses by class, cautions, sources, other printed forms, adjustments on record."""
    row = protocols_of(member.cooperative).get(protocol)
    if row is None:
        raise Http404("No such protocol.")
    form = AdjustForm(request.POST or None, protocol=row)
    if request.method == "POST":
        member.require(Permission.PROTOCOL_ADJUST, Reach.COOP)
        if form.is_valid():
            try:
                adjust(member=member, protocol=protocol, now=timezone.now(), **form.cleaned_data)
            except AdjustmentError as fault:
                form.add_error(fault.field if fault.field in form.fields else None, fault.text)
            else:
                messages.success(request, "The hours are adjusted. Plan again: plans made before may break them.")
                return redirect("scheduling:protocol", coop=member.cooperative.slug, protocol=protocol)
    context = {
        "protocol": row,
        "steps": [(step, row.by_key[step.after.step].label if step.after else "") for step in row.steps],
        "watches": [(watch, row.by_key[watch.anchor].label) for watch in row.heat_watches],
        "form": form,
        "adjustments": queries.adjustments_for(member, protocol),
        "why_codes": codes_of(row),
        "may_adjust": member.may(Permission.PROTOCOL_ADJUST, Reach.COOP),
    }
    return render(request, "scheduling/protocol.html", context)


@require_POST
@member_page(Permission.PROTOCOL_ADJUST, Reach.COOP)
def adjustment_withdraw(request: HttpRequest, member: Member, adjustment: uuid.UUID) -> HttpResponse:
    """Back to the printed hours."""
    row = queries.adjustment_for(member, adjustment)
    withdraw_adjustment(member=member, row=row, now=timezone.now())
    messages.success(request, "The printed hours are in force again.")
    return redirect("scheduling:protocol", coop=member.cooperative.slug, protocol=row.protocol)
