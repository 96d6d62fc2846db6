"""The clash desk: what collides, remedies side by side, what members are asked."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms.replanning import AnswerForm, ClashForm
from scheduling.services import EntryError, TrialError, answer_ask, choose_remedy, drop_case, open_case
from scheduling.services.clashes import FAR_DAYS, suggestions
from scheduling.services.desk import desk_of


@member_page(Permission.SEASON_EDIT, Reach.COOP)
def clashes(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """What the plan leaves out or moves far, a form for two that collide, and earlier clashes."""
    row = queries.season_for(member, season)
    entries = queries.entries_for(member, row)
    form = ClashForm(request.POST or None, entries=entries)
    if request.method == "POST" and form.is_valid():
        try:
            case = open_case(
                member=member,
                season=row,
                entry=form.cleaned_data["entry"],
                rival=form.cleaned_data["rival"],
                now=timezone.now(),
            )
        except TrialError as fault:
            form.add_error(None, str(fault))
        else:
            return redirect("scheduling:clash", coop=member.cooperative.slug, case=case.pk)
    far = request.GET.get("days", "")
    days = min(60, max(1, int(far))) if far.isascii() and far.isdigit() else FAR_DAYS
    plan = queries.plan_for(member, row)
    context = {
        "season": row,
        "form": form,
        "days": days,
        "plan": plan,
        "suggestions": suggestions(row, plan, entries, days) if plan else [],
        "cases": queries.clashes_for(member, row),
    }
    return render(request, "scheduling/clashes.html", context)


@member_page(Permission.SEASON_EDIT, Reach.COOP)
def clash(request: HttpRequest, member: Member, case: uuid.UUID) -> HttpResponse:
    """Remedies side by side, the coordinator's choice, and the answers."""
    row = queries.clash_for(member, case)
    context = {"case": row, "season": row.season, "job": row.job, "desk": desk_of(row)}
    return render(request, "scheduling/clash.html", context)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def remedy_choose(request: HttpRequest, member: Member, remedy: uuid.UUID) -> HttpResponse:
    """Ask the members concerned, or apply at once where nobody is."""
    row = queries.remedy_for(member, remedy)
    try:
        case = choose_remedy(member=member, remedy=row, now=timezone.now())
    except (TrialError, EntryError) as fault:
        messages.error(request, f"Not chosen. {fault}")
    else:
        text = "The members concerned are asked. It is applied when all of them accept."
        done = "Nobody had to be asked: the remedy is applied. It is the plan in work now."
        messages.success(request, done if case.state == case.State.APPLIED else text)
    return redirect("scheduling:clash", coop=member.cooperative.slug, case=row.case_id)


@require_POST
@member_page(Permission.SEASON_EDIT, Reach.COOP)
def clash_drop(request: HttpRequest, member: Member, case: uuid.UUID) -> HttpResponse:
    """Leave the plan as it stands."""
    row = queries.clash_for(member, case)
    try:
        drop_case(member=member, case=row, now=timezone.now())
        messages.success(request, "Dropped. The plan stays as it stands, and nobody is asked any more.")
    except TrialError as fault:
        messages.error(request, str(fault))
    return redirect("scheduling:clashes", coop=member.cooperative.slug, season=row.season_id)


@member_page(Permission.CLASH_ANSWER)
def asks(request: HttpRequest, member: Member) -> HttpResponse:
    """What my ranches are asked, and what they answered."""
    rows = list(queries.answers_for(member)[:60])
    context = {
        "waiting": [row for row in rows if row.state == row.State.WAITING],
        "answered": [row for row in rows if row.state != row.State.WAITING],
    }
    return render(request, "scheduling/asks.html", context)


@member_page(Permission.CLASH_ANSWER)
def ask(request: HttpRequest, member: Member, answer: uuid.UUID) -> HttpResponse:
    """One question: accept or decline."""
    row = queries.answer_for(member, answer)
    form = AnswerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        accept = form.cleaned_data["answer"] == "accept"
        try:
            case = answer_ask(
                member=member, answer=row, accept=accept, reason=form.cleaned_data["reason"], now=timezone.now()
            )
        except TrialError as fault:
            messages.error(request, str(fault))
        else:
            messages.success(request, _thanks(accept, str(case.state)))
        return redirect("scheduling:asks", coop=member.cooperative.slug)
    return render(request, "scheduling/ask.html", {"row": row, "form": form})


def _thanks(accept: bool, state: str) -> str:
    if not accept:
        return "You have declined. The coordinator looks for another way."
    if state == "applied":
        return "You have accepted, and so has everybody: the plan is changed. Dates are sent when it is published."
    if state == "open":
        return "You have accepted, but the season has changed meanwhile. The coordinator looks again."
    return "You have accepted. The plan is changed when the others have accepted too."
