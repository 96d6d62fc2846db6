"""Females: list, edit, import, export."""

import csv
import uuid

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from herdplan.herds import queries
from herdplan.herds.forms import FemaleForm, ImportForm
from herdplan.herds.models import Female, Herd
from herdplan.herds.services import require_edit
from herdplan.herds.sheets import SheetReport, export_rows, read_sheet, save_sheet
from herdplan.herds.tables import SheetError
from herdplan.herds.typed import tag_in

_PER_PAGE = 50


@member_page(Permission.FEMALE_VIEW)
def females(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """A herd's females, found by tag."""
    row = queries.herd_for(member, herd)
    found = queries.females_for(member).filter(herd=row)
    tag = tag_in(request.GET.get("tag", ""))
    if tag:
        found = found.filter(tag__icontains=tag)
    page = Paginator(found, _PER_PAGE).get_page(request.GET.get("page"))
    may_edit = queries.may_edit(member, row.ranch, Permission.FEMALE_EDIT)
    return render(request, "herds/females.html", {"herd": row, "page": page, "tag": tag, "may_edit": may_edit})


def _save(request: HttpRequest, member: Member, herd: Herd, female: Female) -> HttpResponse:
    require_edit(member, herd.ranch, Permission.FEMALE_EDIT)
    form = FemaleForm(request.POST or None, instance=female, herd=herd)
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        messages.success(request, f"{saved.tag} is saved.")
        return redirect("herds:female", coop=member.cooperative.slug, female=saved.pk)
    context = {"form": form, "herd": herd, "female": female, "new": female._state.adding}
    return render(request, "herds/female_form.html", context)


@member_page(Permission.FEMALE_EDIT)
def female_form(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """Add a female."""
    return _save(request, member, queries.herd_for(member, herd), Female())


@member_page(Permission.FEMALE_EDIT)
def female_edit(request: HttpRequest, member: Member, female: uuid.UUID) -> HttpResponse:
    """Change a female."""
    row = queries.female_for(member, female)
    return _save(request, member, row.herd, row)


@member_page(Permission.FEMALE_EDIT)
def import_page(request: HttpRequest, member: Member, ranch: str) -> HttpResponse:
    """Look at a spreadsheet row by row, then take it in: all of it or nothing."""
    row = queries.ranch_for(member, ranch)
    require_edit(member, row, Permission.FEMALE_EDIT)
    form = ImportForm(request.POST or None, request.FILES or None, ranch=row)
    report: SheetReport | None = None
    if request.method == "POST" and form.is_valid():
        herd, upload = form.cleaned_data["herd"], form.cleaned_data["file"]
        try:
            report = read_sheet(upload.name, upload.read(), herd, timezone.localdate())
            if report.good and request.POST.get("do") == "save":
                count = save_sheet(report, herd)
                messages.success(request, f"{count} females are in {herd.name}.")
                return redirect("herds:females", coop=member.cooperative.slug, herd=herd.pk)
        except SheetError as fault:
            form.add_error("file", str(fault))
    return render(request, "herds/import.html", {"form": form, "ranch": row, "report": report})


@member_page(Permission.FEMALE_VIEW)
def export(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """A herd's females as CSV."""
    row = queries.herd_for(member, herd)
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{row.ranch.slug}-females.csv"'
    csv.writer(response).writerows(export_rows(list(queries.females_for(member).filter(herd=row))))
    return response
