"""Pages of technicians and barns."""

import uuid

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.technicians import queries
from herdplan.technicians.forms import BarnForm, DayOffForm, TechnicianForm
from herdplan.technicians.models import Barn, Technician


def _require_edit(member: Member, technician: Technician) -> None:
    if not queries.may_edit(member, technician):
        raise PermissionDenied(f"Your role in {member.cooperative} does not let you change {technician}.")


@member_page(Permission.TECHNICIAN_VIEW)
def technicians(request: HttpRequest, member: Member) -> HttpResponse:
    """Technicians and barns of the co-op."""
    context = {"technicians": queries.technicians_for(member), "barns": queries.barns_for(member)}
    return render(request, "technicians/technicians.html", context)


@member_page(Permission.TECHNICIAN_VIEW)
def technician_page(request: HttpRequest, member: Member, technician: uuid.UUID) -> HttpResponse:
    """A technician: base, hours, days off, limits."""
    row = queries.technician_for(member, technician)
    context = {
        "technician": row,
        "days_off": row.days_off.all(),
        "form": DayOffForm(),
        "may_edit": queries.may_edit(member, row),
    }
    return render(request, "technicians/technician.html", context)


@member_page(Permission.TECHNICIAN_EDIT)
def technician_form(request: HttpRequest, member: Member, technician: uuid.UUID | None = None) -> HttpResponse:
    """Add a technician (coordinator) or change one."""
    whole = member.may(Permission.TECHNICIAN_ADD, Reach.COOP)
    if technician is None:
        member.require(Permission.TECHNICIAN_ADD, Reach.COOP)
        row = Technician(cooperative=member.cooperative)
    else:
        row = queries.technician_for(member, technician)
        _require_edit(member, row)
    form = TechnicianForm(request.POST or None, instance=row, cooperative=member.cooperative, choose_user=whole)
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        messages.success(request, f"{saved} is saved. Plans made from now on use it.")
        return redirect("technicians:technician", coop=member.cooperative.slug, technician=saved.pk)
    context = {"form": form, "technician": row, "new": technician is None}
    return render(request, "technicians/technician_form.html", context)


@require_POST
@member_page(Permission.TECHNICIAN_EDIT)
def day_off_add(request: HttpRequest, member: Member, technician: uuid.UUID) -> HttpResponse:
    """Add days off."""
    row = queries.technician_for(member, technician)
    _require_edit(member, row)
    form = DayOffForm(request.POST)
    form.instance.technician = row
    if not form.is_valid():
        context = {"technician": row, "days_off": row.days_off.all(), "form": form, "may_edit": True}
        return render(request, "technicians/technician.html", context)
    form.save()
    messages.success(request, "The days off are saved. Plan again where they touch a published plan.")
    return redirect("technicians:technician", coop=member.cooperative.slug, technician=row.pk)


@require_POST
@member_page(Permission.TECHNICIAN_EDIT)
def day_off_remove(request: HttpRequest, member: Member, technician: uuid.UUID, day: int) -> HttpResponse:
    """Remove days off."""
    row = queries.technician_for(member, technician)
    _require_edit(member, row)
    get_object_or_404(row.days_off, pk=day).delete()
    messages.success(request, "The days off are removed.")
    return redirect("technicians:technician", coop=member.cooperative.slug, technician=row.pk)


@member_page(Permission.TECHNICIAN_ADD, Reach.COOP)
def barn_form(request: HttpRequest, member: Member, barn: uuid.UUID | None = None) -> HttpResponse:
    """Add or change a barn."""
    row = queries.barn_for(member, barn) if barn else Barn(cooperative=member.cooperative)
    row.cooperative = member.cooperative
    form = BarnForm(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        messages.success(request, f"{saved} is saved.")
        return redirect("technicians:technicians", coop=member.cooperative.slug)
    return render(request, "technicians/barn_form.html", {"form": form, "barn": row})
