"""Today: what each person does next; a technician's week; ticking steps off."""

import uuid
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from herdplan.technicians.models import Technician
from herdplan.technicians.queries import technician_for, technicians_for
from scheduling import queries
from scheduling.forms import DoneForm
from scheduling.models import PlannedStep
from scheduling.services import RecordError, record_step, undo_record
from scheduling.services.agenda import Agenda, agenda_of, week_of


@member_page(Permission.SEASON_VIEW)
def today(request: HttpRequest, member: Member) -> HttpResponse:
    """The first page of a co-op: my herd's next steps, my stops, the seasons."""
    now = timezone.now()
    mine = Technician.objects.filter(cooperative=member.cooperative, user=member.user).first()
    agenda: Agenda | None = None
    if "RANCH_EDIT" in member.allowed and member.user.ranches.filter(cooperative=member.cooperative).exists():
        agenda = agenda_of(list(queries.next_steps(member, now)))
    context: dict[str, Any] = {
        "agenda": agenda,
        "seasons": list(queries.seasons_for(member)[:5]),
        "technician": mine,
        "technicians": list(technicians_for(member)) if mine is None else [],
    }
    if mine is not None:
        context["week"] = _week(mine, _monday(mine, now, None))
    return render(request, "scheduling/today.html", context)


@member_page(Permission.TECHNICIAN_VIEW)
def technician_week(request: HttpRequest, member: Member, technician: uuid.UUID) -> HttpResponse:
    """A technician's week: stops in order with driving times."""
    person = technician_for(member, technician)
    first = _monday(person, timezone.now(), request.GET.get("from"))
    context = {
        "technician": person,
        "week": _week(person, first),
        "before": first - timedelta(days=7),
        "after": first + timedelta(days=7),
    }
    return render(request, "scheduling/technician_week.html", context)


def _monday(person: Technician, now: datetime, wanted: str | None) -> date:
    """The Monday of the week asked for; without one, of the technician's next live booking (or of today)."""
    try:
        day = date.fromisoformat(wanted or "")
    except ValueError:
        following = queries.first_live_booking_after(person, now)
        day = (following.starts if following else now).astimezone(ZoneInfo(person.cooperative.zone)).date()
    return day - timedelta(days=day.weekday())


def _week(person: Technician, first: date) -> Any:
    zone = ZoneInfo(person.cooperative.zone)
    start = datetime.combine(first, time(), zone)
    stops = queries.stops_for(person, start, datetime.combine(first + timedelta(days=7), time(), zone))
    return week_of(person, list(stops), first, zone)


def _step(member: Member, identity: uuid.UUID) -> PlannedStep:
    step = queries.steps_for(member).filter(pk=identity).select_related("entry__season", "ranch").first()
    if step is None:
        raise Http404("No such step.")
    return step


@member_page(Permission.STEP_DONE)
def step_done(request: HttpRequest, member: Member, step: uuid.UUID) -> HttpResponse:
    """Tick a step off with the hour at which it was begun."""
    row = _step(member, step)
    zone, now = ZoneInfo(row.ranch.zone), timezone.now()
    with timezone.override(zone):
        form = DoneForm(request.POST or None, initial={"at": min(row.starts, now).astimezone(zone)})
        if request.method == "POST" and form.is_valid():
            try:
                record_step(member=member, entry=row.entry, step=row.key, at=form.cleaned_data["at"], now=now)
            except RecordError as fault:
                form.add_error("at", str(fault))
            else:
                messages.success(request, "Ticked off. Later plans keep this step where it is.")
                return redirect("scheduling:today", coop=member.cooperative.slug)
        agenda = agenda_of([row])
        return render(request, "scheduling/step_done.html", {"form": form, "step": row, "agenda": agenda})


@require_POST
@member_page(Permission.STEP_DONE)
def step_undo(request: HttpRequest, member: Member, step: uuid.UUID) -> HttpResponse:
    """Take a tick back."""
    row = _step(member, step)
    undo_record(member=member, entry=row.entry, step=row.key)
    messages.success(request, "The tick is taken back.")
    return redirect("scheduling:today", coop=member.cooperative.slug)
