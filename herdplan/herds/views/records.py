"""A female's page with her history, records one by one, from a sheet and to a sheet."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from accounts.units import Units
from herdplan.herds import queries
from herdplan.herds.forms import MatchForm, ObservedForm, RecordFileForm
from herdplan.herds.models import Herd, Record
from herdplan.herds.record_sheets import Matched, RecordReport, as_text, export_table, guess, judge_table, record_text
from herdplan.herds.services import (
    end_hold,
    keep_upload,
    require_edit,
    save_observed,
    take_in_upload,
    withdraw_record,
)
from herdplan.herds.tables import SheetError, as_csv, as_xlsx, read_table

_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _posted(request: HttpRequest) -> QueryDict | None:
    """What was posted, empty posts too; None on a first look."""
    return request.POST if request.method == "POST" else None


@dataclass(frozen=True)
class Line:
    """A record as the page shows it; `at` is in the ranch's zone."""

    record: Record
    text: str
    at: datetime
    open_hold: bool


def _lines(member: Member, history: queries.History) -> list[Line]:
    ranch = history.female.herd.ranch
    zone, today, units = ZoneInfo(ranch.zone), ranch.day_at(timezone.now()), Units.of(member.user)
    return [
        Line(
            row,
            record_text(row, units),
            row.at.astimezone(zone),
            row.kind == Record.Kind.HOLD and (row.until is None or row.until > today) and row.withdrawn_at is None,
        )
        for row in queries.records_for(member).filter(female=history.female)
    ]


@member_page(Permission.FEMALE_VIEW)
def female_page(request: HttpRequest, member: Member, female: uuid.UUID) -> HttpResponse:
    """A female: what the herd book says and everything seen of her."""
    history = queries.history_for(member, female)
    ranch = history.female.herd.ranch
    context = {
        "female": history.female,
        "herd": history.female.herd,
        "lines": _lines(member, history),
        "calvings": history.calvings,
        "holds": history.holds_on(ranch.day_at(timezone.now())),
        "may_edit": queries.may_edit(member, ranch, Permission.FEMALE_EDIT),
    }
    return render(request, "herds/female.html", context)


@member_page(Permission.FEMALE_EDIT)
def record_new(request: HttpRequest, member: Member, female: uuid.UUID) -> HttpResponse:
    """Type what was seen of one female, on any day."""
    history = queries.history_for(member, female)
    row, ranch = history.female, history.female.herd.ranch
    require_edit(member, ranch, Permission.FEMALE_EDIT)
    form = ObservedForm(
        _posted(request), history=history, units=Units.of(member.user), today=ranch.day_at(timezone.now())
    )
    if request.method == "POST" and form.is_valid():
        saved = save_observed(member=member, ranch=ranch, items=[(row, form.seen)], now=timezone.now())
        messages.success(request, f"{row.tag}: {_count(saved.written)}.")
        return redirect("herds:female", coop=member.cooperative.slug, female=row.pk)
    return render(request, "herds/record_form.html", {"form": form, "female": row})


def _count(records: int) -> str:
    if not records:
        return "this is on record already; nothing was saved twice"
    return f"{records} record{'s are' if records > 1 else ' is'} saved"


@require_POST
@member_page(Permission.FEMALE_EDIT)
def record_remove(request: HttpRequest, member: Member, record: uuid.UUID) -> HttpResponse:
    """Take a record out; it stays visible as withdrawn."""
    row = queries.record_for(member, record)
    withdraw_record(member=member, record=row, now=timezone.now())
    messages.success(request, f"{row} of {row.female.tag} is withdrawn; it stays in the list, struck through.")
    return redirect("herds:female", coop=member.cooperative.slug, female=row.female_id)


@require_POST
@member_page(Permission.FEMALE_EDIT)
def hold_end(request: HttpRequest, member: Member, record: uuid.UUID) -> HttpResponse:
    """End a health hold today."""
    row = queries.record_for(member, record)
    if row.kind != Record.Kind.HOLD:
        raise PermissionDenied("Only a health hold can be ended.")
    if row.withdrawn_at is None:
        end_hold(member=member, record=row, last_day=row.female.herd.ranch.day_at(timezone.now()), now=timezone.now())
        messages.success(request, f"The hold of {row.female.tag} ends today.")
    else:
        require_edit(member, row.female.herd.ranch, Permission.FEMALE_EDIT)
        messages.info(request, "This hold was changed already; see the list. Nothing was done twice.")
    return redirect("herds:female", coop=member.cooperative.slug, female=row.female_id)


@member_page(Permission.FEMALE_VIEW)
def records_csv(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """A herd's records as CSV, in the caller's units."""
    row = queries.herd_for(member, herd)
    rows = export_table(queries.herd_histories(member, row, people=True), Units.of(member.user))
    return _file(row, "csv", "text/csv; charset=utf-8", as_csv(rows))


@member_page(Permission.FEMALE_VIEW)
def records_xlsx(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """A herd's records as a workbook, in the caller's units."""
    row = queries.herd_for(member, herd)
    rows = export_table(queries.herd_histories(member, row, people=True), Units.of(member.user))
    return _file(row, "xlsx", _XLSX, as_xlsx(rows, "Records"))


def _file(herd: Herd, ending: str, kind: str, content: str | bytes) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{herd.ranch.slug}-records.{ending}"'
    return response


@member_page(Permission.FEMALE_EDIT)
def records_import(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """Send a sheet of records; its columns are matched on the next page."""
    row = queries.herd_for(member, herd)
    require_edit(member, row.ranch, Permission.FEMALE_EDIT)
    form = RecordFileForm(_posted(request), request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            table = as_text(read_table(file.name, file.read()))
            upload = keep_upload(member=member, herd=row, name=file.name, table=table, now=timezone.now())
            return redirect("herds:records_match", coop=member.cooperative.slug, upload=upload.pk)
        except SheetError as fault:
            form.add_error("file", str(fault))
    return render(request, "herds/records_import.html", {"form": form, "herd": row})


@member_page(Permission.FEMALE_EDIT)
def records_match(request: HttpRequest, member: Member, upload: uuid.UUID) -> HttpResponse:
    """Match columns, look at every row, then take all of it in or nothing."""
    sheet = queries.upload_for(member, upload)
    if sheet.saved_at is not None:
        messages.info(request, f"{sheet.name} is in already: {sheet.saved_count} records. Nothing was saved twice.")
        return redirect("herds:females", coop=member.cooperative.slug, herd=sheet.herd_id)
    today = sheet.herd.ranch.day_at(timezone.now())
    guesses = guess(sheet.table[0], Units.of(member.user))
    form = MatchForm(_posted(request), table=sheet.table, guesses=guesses, today=today)
    report: RecordReport | None = None
    if request.method == "POST" and form.is_valid():
        matched = Matched(form.matches, form.cleaned_data["order"], form.cleaned_data["day"])
        report = judge_table(sheet.table, matched, queries.herd_histories(member, sheet.herd), today)
        may_save = not report.bad and bool(report.count) and (not report.doubtful or "keep" in request.POST)
        if request.POST.get("do") == "save" and may_save:
            row, saved = take_in_upload(member=member, upload=sheet, items=report.items, now=timezone.now())
            same = f" {saved.same} stood there already." if saved and saved.same else ""
            messages.success(request, f"{row.saved_count} records are in {sheet.herd.name}.{same}")
            return redirect("herds:females", coop=member.cooperative.slug, herd=sheet.herd_id)
    context = {"form": form, "upload": sheet, "herd": sheet.herd, "report": report}
    return render(request, "herds/records_match.html", context)
