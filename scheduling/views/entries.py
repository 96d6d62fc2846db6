"""Groups of a season and their wishes."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms import EntryForm, NoteForm
from scheduling.models import EntryNote, SeasonEntry
from scheduling.services import EntryError, change_entry, enter_group, protocol_name, withdraw_entry, write_note
from scheduling.services.entries import may_change, require_ranch


@member_page(Permission.SEASON_VIEW)
def entries(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """The groups entered in a season."""
    row = queries.season_for(member, season)
    rows = queries.entries_for(member, row).prefetch_related("notes")
    found = [(entry, protocol_name(entry.protocol), _verdict(entry)) for entry in rows]
    context = {"season": row, "entries": found, "may_enter": member.may(Permission.ENTRY_EDIT)}
    return render(request, "scheduling/entries.html", context)


def _verdict(entry: SeasonEntry) -> EntryNote | None:
    """The latest word on readiness."""
    return next((note for note in entry.notes.all() if note.kind != EntryNote.Kind.COMMENT), None)


@member_page(Permission.SEASON_VIEW)
def entry_page(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """A group's wishes, and what has been written about it."""
    row = queries.season_for(member, season)
    subject = queries.entry_for(member, row, entry)
    form = NoteForm(request.POST or None, may_sign=member.may(Permission.READINESS_SIGN, Reach.COOP))
    if request.method == "POST" and form.is_valid():
        write_note(member=member, entry=subject, now=timezone.now(), **form.cleaned_data)
        messages.success(request, "Your note is saved.")
        return redirect("scheduling:entry", coop=member.cooperative.slug, season=row.pk, entry=subject.pk)
    context = {
        "season": row,
        "entry": subject,
        "protocol": protocol_name(subject.protocol),
        "notes": subject.notes.select_related("by"),
        "form": form,
        "may_edit": may_change(member, subject.group.herd.ranch),
    }
    return render(request, "scheduling/entry.html", context)


@member_page(Permission.ENTRY_EDIT)
def entry_form(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID | None = None) -> HttpResponse:
    """Enter a group, or change its wishes."""
    row = queries.season_for(member, season)
    subject = queries.entry_for(member, row, entry) if entry else SeasonEntry(season=row)
    if entry:
        require_ranch(member, subject.group.herd.ranch)
    form = EntryForm(request.POST or None, instance=subject, member=member)
    if request.method == "POST" and form.is_valid():
        try:
            if entry:
                saved = change_entry(member=member, entry=subject, values=form.values())
            else:
                saved = enter_group(member=member, season=row, group=form.chosen_group(), values=form.values())
        except EntryError as fault:
            for name, texts in fault.faults.items():
                form.add_error(name if name in form.fields else None, texts)
        else:
            messages.success(request, f"{saved.group} is saved. It gets its dates when the season is planned again.")
            return redirect("scheduling:entries", coop=member.cooperative.slug, season=row.pk)
    return render(
        request, "scheduling/entry_form.html", {"form": form, "season": row, "entry": subject, "new": not entry}
    )


@require_POST
@member_page(Permission.ENTRY_EDIT)
def entry_withdraw(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Take a group out of the season."""
    row = queries.season_for(member, season)
    subject = queries.entry_for(member, row, entry)
    try:
        withdraw_entry(member=member, entry=subject)
        messages.success(request, f"{subject.group} is out of {row}.")
    except EntryError as fault:
        messages.error(request, " ".join(text for texts in fault.faults.values() for text in texts))
    return redirect("scheduling:entries", coop=member.cooperative.slug, season=row.pk)
