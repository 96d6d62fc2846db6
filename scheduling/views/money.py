"""Money: the co-op's prices, whether AI pays for a group, and what each ranch pays of what is shared."""

import uuid
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.herds.models import Ranch
from herdplan.herds.tables import as_csv
from scheduling import queries
from scheduling.forms.money import BudgetForm, PricesForm, budget_wishes
from scheduling.models import CoopPrices, Season
from scheduling.services.budget import BudgetError, programmes_with_ai, work_out
from scheduling.services.catalogue import is_for_sexed
from scheduling.services.choice_room import subject_of
from scheduling.services.prices import PricesError, price_lines, prices_row, save_prices
from scheduling.services.statements import RanchStatement, SeasonCosts, season_costs, statement_rows


@member_page(Permission.PRICES_VIEW)
def prices(request: HttpRequest, member: Member) -> HttpResponse:
    """What things cost: a form for the coordinator, a list for everybody else."""
    row = prices_row(member.cooperative)
    may_edit = member.may(Permission.PRICES_EDIT, Reach.COOP)
    form = PricesForm(request.POST if request.method == "POST" else None, row=row, user=member.user)
    if request.method == "POST":
        member.require(Permission.PRICES_EDIT, Reach.COOP)
        if form.is_valid():
            try:
                save_prices(member=member, values=form.cleaned_data, now=timezone.now())
            except PricesError as fault:
                for name, texts in fault.faults.items():
                    form.add_error(name if name in form.fields else None, texts)
            else:
                messages.success(request, "The prices are saved. Every comparison and statement uses them from now on.")
                return redirect("scheduling:prices", coop=member.cooperative.slug)
    context = {"form": form, "row": row, "lines": price_lines(row, member.user), "may_edit": may_edit}
    return render(request, "scheduling/prices.html", context)


@member_page(Permission.SEASON_VIEW)
def budget(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Does AI pay for this group: against bulls alone, and between programmes."""
    row = queries.season_for(member, season)
    found = queries.entry_for(member, row, entry)
    subject = subject_of(found)
    wishes = budget_wishes(request.GET.get("semen"), is_for_sexed(found.protocol))
    options, row_of_prices = programmes_with_ai(member=member, subject=subject, wishes=wishes)
    asked = request.GET if "protocol" in request.GET else None
    form = BudgetForm(asked, options=options, subject=subject, user=member.user, semen=wishes.semen)
    worked = None
    fault_text = ""
    if asked is None or form.is_valid():
        try:
            worked = work_out(options, row_of_prices, subject, form.chosen, form.typed, form.own_share)
        except BudgetError as fault:
            fault_text = fault.text
            if form.is_bound:
                form.add_error(fault.field if fault.field in form.fields else None, fault.text)
    context = {
        "season": row,
        "entry": found,
        "form": form,
        "budget": worked,
        "fault": fault_text,
        "asked": asked is not None,
        "currency": row_of_prices.currency,
    }
    return render(request, "scheduling/budget.html", context)


def _costs(member: Member, season: Season) -> tuple[SeasonCosts | None, CoopPrices]:
    row = prices_row(member.cooperative)
    plan = season.published_plan
    return (season_costs(plan, row, member.user.distance_unit) if plan else None), row


@member_page(Permission.STATEMENT_VIEW)
def costs(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """What each ranch pays in a season: all of them for the coordinator, one's own for a rancher."""
    row = queries.season_for(member, season)
    found, row_of_prices = _costs(member, row)
    ranches = {str(ranch.pk): ranch for ranch in queries.statement_ranches_for(member)}
    mine = [(item, ranches[item.id]) for item in found.statements if item.id in ranches] if found else []
    context = {
        "season": row,
        "statements": mine,
        "costs": found,
        "everybody": member.may(Permission.STATEMENT_VIEW, Reach.COOP),
        "prices": row_of_prices,
    }
    return render(request, "scheduling/costs.html", context)


def _statement(member: Member, season: Season, slug: str) -> tuple[RanchStatement, Ranch, CoopPrices]:
    """A ranch's statement; 404 where the caller may not see the ranch's, an empty one where it is not in the plan."""
    ranch = queries.statement_ranches_for(member).filter(slug=slug).first()
    if ranch is None:
        raise Http404("No such statement.")
    found, prices_now = _costs(member, season)
    rows = found.statements if found else ()
    statement = next((row for row in rows if row.id == str(ranch.pk)), None)
    return statement or RanchStatement(str(ranch.pk), ranch.name, 0, ()), ranch, prices_now


@member_page(Permission.STATEMENT_VIEW)
def statement(request: HttpRequest, member: Member, season: uuid.UUID, ranch: str) -> HttpResponse:
    """What one ranch pays, ready to be printed."""
    row = queries.season_for(member, season)
    found, place, prices_now = _statement(member, row, ranch)
    now = timezone.now().astimezone(ZoneInfo(place.zone))
    context = {"season": row, "statement": found, "ranch": place, "currency": prices_now.currency, "today": now.date()}
    return render(request, "scheduling/statement.html", context)


@member_page(Permission.STATEMENT_VIEW)
def statement_csv(request: HttpRequest, member: Member, season: uuid.UUID, ranch: str) -> HttpResponse:
    """The same as a sheet."""
    row = queries.season_for(member, season)
    found, place, prices_now = _statement(member, row, ranch)
    response = HttpResponse(as_csv(statement_rows(found, prices_now.currency)), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{place.slug}-costs.csv"'
    return response
