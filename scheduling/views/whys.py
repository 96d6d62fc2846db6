"""Every rule with its explanation, its source and what happens if it is ignored; and a co-op's own limits."""

import uuid

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from accounts.units import Units
from scheduling import queries
from scheduling.forms.readiness import LimitForm
from scheduling.services.readiness_limits import (
    LimitError,
    limit_lines,
    limit_of,
    past_lines,
    rules_of,
    set_limit,
    withdraw_limit,
)
from scheduling.services.reasons import reason_of, reasons_by_theme


@member_page(Permission.SEASON_VIEW)
def whys(request: HttpRequest, member: Member) -> HttpResponse:
    """Every rule, by what it is about."""
    return render(request, "scheduling/whys.html", {"themes": reasons_by_theme()})


@member_page(Permission.SEASON_VIEW)
def why(request: HttpRequest, member: Member, code: str) -> HttpResponse:
    """One rule: why, what if it is ignored, where sources disagree, who printed it, and the co-op's limits under it."""
    found = reason_of(code)
    if found is None:
        raise Http404("No such rule.")
    standing = rules_of(member.cooperative.pk)
    lines = [line for line in limit_lines(standing, Units.of(member.user)) if line.why == code]
    return render(request, "scheduling/why.html", {"why": found, "lines": lines})


@member_page(Permission.SEASON_VIEW)
def limits(request: HttpRequest, member: Member) -> HttpResponse:
    """The limits of readiness: what is in force beside what is printed; `?change=` opens one."""
    standing = rules_of(member.cooperative.pk)
    may_set = member.may(Permission.READINESS_LIMITS, Reach.COOP)
    field = request.GET.get("change", "")
    form = None
    if limit_of(field) and may_set:
        form = LimitForm(
            request.POST if request.method == "POST" else None, field=field, standing=standing, user=member.user
        )
    if request.method == "POST":
        member.require(Permission.READINESS_LIMITS, Reach.COOP)
        if form is None:
            messages.error(request, "Choose one of the limits of the list. Nothing was saved.")
            return redirect("scheduling:limits", coop=member.cooperative.slug)
        if form.is_valid():
            values = form.cleaned_data
            try:
                set_limit(
                    member=member, field=field, typed=values["value"], reason=values["reason"], now=timezone.now()
                )
            except LimitError as fault:
                form.add_error(fault.field if fault.field in form.fields else None, fault.text)
            else:
                messages.success(request, "The limit is in force. Every verdict uses it from now on.")
                return redirect("scheduling:limits", coop=member.cooperative.slug)
    context = {
        "lines": limit_lines(standing, Units.of(member.user)),
        "fault": standing.fault,
        "form": form,
        "field": field if form else "",
        "past": past_lines(queries.readiness_limits_for(member), Units.of(member.user)),
        "may_set": may_set,
    }
    return render(request, "scheduling/limits.html", context)


@require_POST
@member_page(Permission.READINESS_LIMITS, Reach.COOP)
def limit_withdraw(request: HttpRequest, member: Member, limit: uuid.UUID) -> HttpResponse:
    """Back to the printed limit."""
    row = queries.readiness_limit_for(member, limit)
    try:
        withdraw_limit(member=member, row=row, now=timezone.now())
        messages.success(request, "The printed limit is in force again.")
    except LimitError as fault:
        messages.error(request, fault.text)
    return redirect("scheduling:limits", coop=member.cooperative.slug)
