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

from accounts.permissions import Permission, Reach, Role
from accounts.tenancy import Member, member_page
from herdplan.technicians.models import Technician
from herdplan.technicians.queries import technician_for, technicians_for
from scheduling import queries
from scheduling.forms import DoneForm
from scheduling.models import PlannedStep
from scheduling.services import RecordError, record_step, undo_record
from scheduling.services.agenda import Agenda, agenda_of, is_handling, week_of
from scheduling.services.done_hours import off_hours
from scheduling.services.first_steps import first_steps
from scheduling.services.heat import HeatBook
from scheduling.services.lookout import concerns_of
from scheduling.services.release import first_of_two, too_many_left
from scheduling.services.waiting import session_at, session_of, waits_at

_YEARS = (2000, 2200)


@member_page(Permission.SEASON_VIEW)
def today(request: HttpRequest, member: Member) -> HttpResponse:
    """The first page of a co-op: my herd's next steps, my stops, or the co-op's; what waits; the seasons."""
    now = timezone.now()
    mine = Technician.objects.filter(cooperative=member.cooperative, user=member.user).first()
    agenda: Agenda | None = None
    if "RANCH_EDIT" in member.allowed and member.user.ranches.filter(cooperative=member.cooperative).exists():
        steps = [*queries.next_steps(member, now), *queries.visits_after_heat(member, now)]
        steps.sort(key=lambda step: (step.starts, step.key))
        agenda = _agenda(steps, _book(member, steps), waits=True)
    seasons = queries.latest_seasons(member)
    context: dict[str, Any] = {
        "agenda": agenda,
        "asks": list(queries.answers_for(member).filter(state="waiting", ranch__people=member.user)),
        "seasons": seasons,
        "concerns": concerns_of(seasons, now) if member.may(Permission.SEASON_EDIT, Reach.COOP) else (),
        "coming": _coming(member, now) if agenda is None and mine is None else None,
        "ticks_for_all": member.may(Permission.STEP_DONE, Reach.COOP),
        "steps": first_steps(member.cooperative) if member.may(Permission.SEASON_EDIT, Reach.COOP) else None,
        "not_linked": _not_linked(member, has_ranch=agenda is not None, technician=mine),
        "to_tick": _to_tick(member, now, agenda is not None),
        "technician": mine,
        "technicians": list(technicians_for(member)) if mine is None else [],
    }
    if mine is not None:
        context["week"] = _week(member, mine, _monday(mine, now, None))
    return render(request, "scheduling/today.html", context)


def _not_linked(member: Member, *, has_ranch: bool, technician: Technician | None) -> str:
    """What the coordinator has yet to say of a person who has joined: without it the person sees no dates."""
    if Role.RANCHER in member.roles and not has_ranch:
        return "ranch"
    return "technician" if Role.TECHNICIAN in member.roles and technician is None else ""


def _to_tick(member: Member, now: datetime, has_ranch: bool) -> Agenda | None:
    """What should be over by now and is not ticked off, for whoever may tick; None where there is nothing."""
    if not has_ranch and not member.may(Permission.STEP_DONE, Reach.COOP):
        return None
    steps = [step for step in queries.steps_to_tick(member, now) if is_handling(step)]
    return _agenda(steps) if steps else None


def _coming(member: Member, now: datetime) -> Agenda | None:
    """The next week with work in it, for whoever looks after the whole co-op."""
    if member.reach(Permission.SEASON_VIEW) is not Reach.COOP:
        return None
    steps = queries.coming_steps(member, now)
    return _agenda(steps, _book(member, steps))


@member_page(Permission.TECHNICIAN_VIEW)
def technician_week(request: HttpRequest, member: Member, technician: uuid.UUID) -> HttpResponse:
    """A technician's week: stops in order with driving times."""
    person = technician_for(member, technician)
    first = _monday(person, timezone.now(), request.GET.get("from"))
    context = {
        "technician": person,
        "week": _week(member, person, first),
        "may_tick": person.user_id == member.user.pk or member.may(Permission.STEP_DONE, Reach.COOP),
        "before": first - timedelta(days=7),
        "after": first + timedelta(days=7),
    }
    return render(request, "scheduling/technician_week.html", context)


def _monday(person: Technician, now: datetime, wanted: str | None) -> date:
    """The Monday of the week asked for; without one, of the technician's next live booking (or of today)."""
    try:
        day = date.fromisoformat(wanted or "")
        if not _YEARS[0] <= day.year <= _YEARS[1]:
            raise ValueError("no calendar is turned that far")
    except ValueError:
        following = queries.first_live_booking_after(person, now)
        day = (following.starts if following else now).astimezone(ZoneInfo(person.cooperative.zone)).date()
    return day - timedelta(days=day.weekday())


def _agenda(steps: list[PlannedStep], book: HeatBook | None = None, *, waits: bool = False) -> Agenda:
    """Steps by day, with who comes and which lot is meant; for whoever stands at the chute also who has to wait there."""
    lots = queries.lots_at(step.entry_id for step in steps)
    return agenda_of(steps, lots, book, queries.hands_at(steps), waits_at(map(session_of, steps)) if waits else None)


def _book(member: Member, steps: list[PlannedStep]) -> HeatBook | None:
    """The weather of the ranches and days of some steps."""
    if not steps:
        return None
    days = [step.starts.date() for step in steps]
    ranches = {step.ranch_id: step.ranch for step in steps}
    return HeatBook(member.user, ranches.values(), min(days), max(days))


def _week(member: Member, person: Technician, first: date) -> Any:
    zone = ZoneInfo(person.cooperative.zone)
    start = datetime.combine(first, time(), zone)
    stops = list(queries.stops_for(person, start, datetime.combine(first + timedelta(days=7), time(), zone)))
    ranches = {stop.entry.group.herd.ranch_id: stop.entry.group.herd.ranch for stop in stops}
    book = HeatBook(member.user, ranches.values(), first, first + timedelta(days=7)) if stops else None
    lots = queries.lots_at(stop.entry_id for stop in stops)
    return week_of(person, stops, first, zone, lots, book, queries.steps_of(stops), waits_at(map(session_at, stops)))


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
        most = row.entry.head if first_of_two(row.entry, row.key) else None
        form = DoneForm(request.POST or None, most=most, initial={"at": min(row.starts, now).astimezone(zone)})
        if request.method == "POST" and form.is_valid():
            try:
                values = form.cleaned_data
                new = record_step(member=member, entry=row.entry, step=row.key, lot=row.lot, now=now, **values)
            except RecordError as fault:
                form.add_error("at", str(fault))
            else:
                kept = (
                    "X-Kept" in request.headers
                )  # sent by the phone that kept it; the messages stand on its next page
                if new or not kept:
                    messages.success(request, "Ticked off. Later plans keep this step where it is.")
                    _say_what_is_off(request, row, now)
                if kept:
                    return HttpResponse(status=204)
                return redirect("scheduling:today", coop=member.cooperative.slug)
        lots = queries.lots_at([row.entry_id])
        agenda = agenda_of([row], lots, waits=waits_at([session_of(row)]))
        context = {"form": form, "step": row, "agenda": agenda, "lots": lots[row.entry_id]}
        return render(request, "scheduling/step_done.html", context)


def _say_what_is_off(request: HttpRequest, step: PlannedStep, now: datetime) -> None:
    """A step done at another hour may leave AI outside of the programme's hours: say so at once, and what to do."""
    counted = step.entry.records.filter(step=step.key).exclude(head=None).values_list("head", flat=True).first()
    if counted is not None and too_many_left(step.entry, counted):
        text = f"{step.entry.head - counted} head are left, more than the second session is reserved for."
        messages.warning(request, f"{text} Call the coordinator: a technician needs more time.")
    found = off_hours(step.entry.season, now, step.entry)
    if found:
        text = "If the hour is wrong, take the tick back. If it is right, the coordinator sees this on the first page and plans"
        messages.warning(request, f"{' '.join(found)} {text} around it; call where AI is near.")


@require_POST
@member_page(Permission.STEP_DONE)
def step_undo(request: HttpRequest, member: Member, step: uuid.UUID) -> HttpResponse:
    """Take a tick back."""
    row = _step(member, step)
    undo_record(member=member, entry=row.entry, step=row.key, now=timezone.now())
    messages.success(request, "The tick is taken back.")
    return redirect("scheduling:today", coop=member.cooperative.slug)
