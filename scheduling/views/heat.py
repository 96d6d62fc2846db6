"""Heat: weather in, cool hours and warnings out."""

import uuid
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from accounts.units import Units
from herdplan.herds.models import Ranch
from herdplan.herds.queries import ranch_for, ranches_for
from scheduling import queries
from scheduling.forms.heat import HaulForm, NormalsForm, WeatherFileForm
from scheduling.models import PlannedStep
from scheduling.services.heat import HeatBook, cattle_lines, days_of_heat, full_sun, hot_steps, people_lines, today_at
from scheduling.services.weather import (
    WeatherError,
    bring_file,
    may_bring,
    normals_of,
    remove_file,
    require_weather,
    save_normals,
)

SPAN = 10


@member_page(Permission.RANCH_VIEW)
def heat(request: HttpRequest, member: Member) -> HttpResponse:
    """Choose a ranch; one's only ranch is opened at once."""
    ranches = list(ranches_for(member))
    if len(ranches) == 1:
        return redirect("scheduling:heat_ranch", coop=member.cooperative.slug, ranch=ranches[0].slug)
    context = {
        "ranches": ranches,
        "files": list(queries.weather_files_for(member, None)),
        "months": len(normals_of(member.cooperative, None)),
        "may_bring": may_bring(member, None),
    }
    return render(request, "scheduling/heat.html", context)


@member_page(Permission.RANCH_VIEW)
def heat_ranch(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """A ranch's days: cool hours, bands for cattle and people, sun, the work that is planned, and a move one thinks of."""
    row = ranch_for(member, ranch)
    now = timezone.now()
    first = _first_day(member, row, now, request.GET.get("from"))
    last = first + timedelta(days=SPAN - 1)
    book = HeatBook(member.user, [row], first, last)
    weather = book.weather[row.pk]
    steps = _steps(member, row, first, last)
    hot: dict[date, list[Any]] = {}
    for step in hot_steps(book, steps, queries.lots_at(step.entry_id for step in steps)):
        hot.setdefault(step.starts.date(), []).append(step)
    days = [(day, hot.get(day.day, [])) for day in days_of_heat(weather, member.user, first, last)]
    move, move_notes, move_known = _move(request, member, row)
    context = {
        "ranch": row,
        "days": days,
        "first": first,
        "last": last,
        "before": first - timedelta(days=SPAN),
        "after": last + timedelta(days=1),
        "known": weather.known,
        "files": list(queries.weather_files_for(member, row)),
        "may_bring": may_bring(member, row),
        "cattle": cattle_lines(),
        "people": people_lines(member.user),
        "full_sun": full_sun(member.user),
        "move": move,
        "move_notes": move_notes,
        "move_known": move_known,
    }
    return render(request, "scheduling/heat_ranch.html", context)


def _first_day(member: Member, ranch: Ranch, now: datetime, wanted: str | None) -> date:
    """The day asked for; without one today, or the day of the next planned step where that is further off."""
    try:
        return min(max(date.fromisoformat(wanted or ""), date(1990, 1, 1)), date(2200, 1, 1))
    except ValueError:
        today = today_at(ranch, now)
    step = queries.steps_for(member).filter(ranch=ranch, ends__gte=now).exclude(status="cancelled").first()
    if step is None:
        return today
    day = today_at(ranch, step.starts)
    return today if (day - today).days < SPAN else day


def _steps(member: Member, ranch: Ranch, first: date, last: date) -> list[PlannedStep]:
    zone = ZoneInfo(ranch.zone)
    begin, end = datetime.combine(first, time(), zone), datetime.combine(last + timedelta(days=1), time(), zone)
    rows = queries.steps_for(member).filter(ranch=ranch, starts__gte=begin, starts__lt=end)
    return list(rows.exclude(status="cancelled"))


def _move(request: HttpRequest, member: Member, ranch: Ranch) -> tuple[HaulForm, Any, bool]:
    """The move that is asked about, its warnings, and whether its day's weather is known."""
    form = HaulForm(request.GET if "move_day" in request.GET else None)
    if not form.is_bound or not form.is_valid():
        return form, None, False
    values = form.cleaned_data
    day = values["move_day"]
    book = HeatBook(member.user, [ranch], day, day)
    notes = book.haul(ranch.pk, day, "Hauling", values["move_from"], values["move_to"])
    return form, notes, book.knows(ranch.pk, day)


def _file_page(request: HttpRequest, member: Member, ranch: Ranch | None) -> HttpResponse:
    require_weather(member, ranch)
    posted = request.method == "POST"
    form = WeatherFileForm(
        request.POST if posted else None,
        request.FILES if posted else None,
        initial={"unit": member.user.temperature_unit},
    )
    if posted and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            kept = bring_file(
                member=member,
                ranch=ranch,
                name=file.name,
                content=file.read(),
                unit=form.cleaned_data["unit"],
                columns=form.columns,
                now=timezone.now(),
            )
        except WeatherError as fault:
            form.add_error(fault.field, fault.texts)
        else:
            zone = ZoneInfo(ranch.zone if ranch else member.cooperative.zone)
            first, last = kept.first_hour.astimezone(zone), kept.last_hour.astimezone(zone)
            words = f"{first:%a} {first.day} {first:%b %Y}, {first:%H:%M} to {last:%a} {last.day} {last:%b %Y}, {last:%H:%M}"
            messages.success(request, f"{kept.count} hours of {kept.name} are in: {words}.")
            return _back(member, ranch, first.date())
    return render(request, "scheduling/weather_file.html", {"form": form, "ranch": ranch})


def _back(member: Member, ranch: Ranch | None, day: date | None = None) -> HttpResponse:
    if ranch is None:
        return redirect("scheduling:heat", coop=member.cooperative.slug)
    answer = redirect("scheduling:heat_ranch", coop=member.cooperative.slug, ranch=ranch.slug)
    if day is not None:
        answer["Location"] += f"?from={day.isoformat()}"
    return answer


def _normals_page(request: HttpRequest, member: Member, ranch: Ranch | None) -> HttpResponse:
    require_weather(member, ranch)
    rows = normals_of(member.cooperative, ranch)
    form = NormalsForm(request.POST if request.method == "POST" else None, units=Units.of(member.user), rows=rows)
    if request.method == "POST" and form.is_valid():
        try:
            count = save_normals(member=member, ranch=ranch, months=form.months)
        except WeatherError as fault:
            form.add_error(fault.field if fault.field in form.fields else None, fault.texts)
        else:
            said = f"{count} month{'s are' if count > 1 else ' is'} saved." if count else "No month is kept now."
            messages.success(request, said)
            return _back(member, ranch)
    return render(request, "scheduling/weather_normals.html", {"form": form, "ranch": ranch})


@member_page(Permission.WEATHER_EDIT)
def weather_file_new(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """Bring in a file for one ranch."""
    return _file_page(request, member, ranch_for(member, ranch))


@member_page(Permission.WEATHER_EDIT, Reach.COOP)
def weather_file_coop(request: HttpRequest, member: Member) -> HttpResponse:
    """Bring in a file for every ranch."""
    return _file_page(request, member, None)


@member_page(Permission.WEATHER_EDIT)
def weather_normals(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """Type monthly normals for one ranch."""
    return _normals_page(request, member, ranch_for(member, ranch))


@member_page(Permission.WEATHER_EDIT, Reach.COOP)
def weather_normals_coop(request: HttpRequest, member: Member) -> HttpResponse:
    """Type monthly normals for every ranch."""
    return _normals_page(request, member, None)


@require_POST
@member_page(Permission.WEATHER_EDIT)
def weather_file_remove(request: HttpRequest, member: Member, weather: uuid.UUID) -> HttpResponse:
    """Take a file out again."""
    file = queries.weather_file_for(member, weather)
    ranch = file.ranch
    remove_file(member=member, file=file)
    messages.success(request, f"{file.name} is taken out; nothing is told from it any more.")
    return _back(member, ranch)
