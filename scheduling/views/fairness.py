"""How moves and rest days were shared out over the seasons, who gave way, and the co-op's holidays."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.herds.queries import ranches_for
from scheduling import queries
from scheduling.forms.replanning import HolidayForm
from scheduling.services import HolidayError, add_holiday, remove_holiday
from scheduling.services.fairness import shares


@member_page(Permission.SEASON_VIEW)
def shares_page(request: HttpRequest, member: Member) -> HttpResponse:
    """Every ranch's share of the published seasons, and the log of who gave way."""
    context = {
        "shares": shares(cooperative=member.cooperative, ranches=ranches_for(member)),
        "log": queries.gave_way_for(member)[:200],
        "may_plan": member.may(Permission.SEASON_EDIT, Reach.COOP),
    }
    return render(request, "scheduling/shares.html", context)


@member_page(Permission.SEASON_VIEW)
def holidays(request: HttpRequest, member: Member) -> HttpResponse:
    """The days that count like a weekend; the coordinator adds to them."""
    form = HolidayForm(request.POST or None)
    if request.method == "POST":
        member.require(Permission.SEASON_EDIT, Reach.COOP)
        if form.is_valid():
            try:
                made = add_holiday(member=member, **form.cleaned_data)
            except HolidayError as fault:
                form.add_error(fault.field if fault.field in form.fields else None, fault.text)
            else:
                messages.success(request, f"{made} is in the list.")
                return redirect("scheduling:holidays", coop=member.cooperative.slug)
    context = {
        "rows": queries.holidays_for(member),
        "form": form,
        "may_edit": member.may(Permission.SEASON_EDIT, Reach.COOP),
    }
    return render(request, "scheduling/holidays.html", context)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def holiday_remove(request: HttpRequest, member: Member, holiday: int) -> HttpResponse:
    """Take a day off the list."""
    row = queries.holiday_for(member, holiday)
    remove_holiday(member=member, holiday=row)
    messages.success(request, f"{row.name} counts like any other day again.")
    return redirect("scheduling:holidays", coop=member.cooperative.slug)
