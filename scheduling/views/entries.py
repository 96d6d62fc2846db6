"""Groups of a season and their wishes."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from scheduling import queries
from scheduling.forms import EntryForm, NoteForm
from scheduling.models import ReadinessWord, SeasonEntry
from scheduling.services import EntryError, change_entry, enter_group, protocol_name, withdraw_entry, write_note
from scheduling.services.entries import may_change, require_ranch
from scheduling.services.heat import HeatBook, HotStep, hot_steps


@member_page(Permission.SEASON_VIEW)
def entries(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """The groups entered in a season."""
    row = queries.season_for(member, season)
    rows = queries.entries_for(member, row).prefetch_related("readiness_words")
    found = [(entry, protocol_name(entry.protocol), _signed(entry)) for entry in rows]
    context = {"season": row, "entries": found, "may_enter": member.may(Permission.ENTRY_EDIT)}
    context["judged"] = queries.ranches_judged(member, [entry for entry, _, _ in found])
    return render(request, "scheduling/entries.html", context)


def _signed(entry: SeasonEntry) -> ReadinessWord | None:
    """What was said of the whole group's readiness and still stands."""
    words = entry.readiness_words.all()
    return next((word for word in words if word.female_id is None and word.withdrawn_at is None), None)


@member_page(Permission.SEASON_VIEW)
def entry_page(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """A group's wishes, and what has been written about it."""
    row = queries.season_for(member, season)
    subject = queries.entry_for(member, row, entry)
    form = NoteForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        write_note(member=member, entry=subject, now=timezone.now(), **form.cleaned_data)
        messages.success(request, "Your note is saved.")
        return redirect("scheduling:entry", coop=member.cooperative.slug, season=row.pk, entry=subject.pk)
    context = {
        "season": row,
        "entry": subject,
        "hot": _hot(member, subject),
        "protocol": protocol_name(subject.protocol),
        "notes": subject.notes.select_related("by"),
        "signed": _signed(subject),
        "form": form,
        "may_edit": may_change(member, subject.group.herd.ranch),
        "judged": queries.ranches_judged(member, [subject]),
    }
    return render(request, "scheduling/entry.html", context)


def _hot(member: Member, entry: SeasonEntry) -> list[HotStep]:
    """Published steps of the entry that meet heat."""
    steps = list(queries.steps_for(member).filter(entry=entry).exclude(status="cancelled"))
    if not steps:
        return []
    days = [step.starts.date() for step in steps]
    book = HeatBook(member.user, [entry.group.herd.ranch], min(days), max(days))
    return hot_steps(book, steps, queries.lots_at([entry.pk]))


@member_page(Permission.ENTRY_EDIT)
def entry_form(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID | None = None) -> HttpResponse:
    """Enter a group, or change its wishes."""
    row = queries.season_for(member, season)
    subject = queries.entry_for(member, row, entry) if entry else SeasonEntry(season=row)
    if entry:
        require_ranch(member, subject.group.herd.ranch)
    wanted = {
        name: request.GET[name] for name in ("group", "protocol", "ai_wanted") if name in request.GET and not entry
    }
    form = EntryForm(request.POST or None, instance=subject, member=member, initial=wanted)
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
        request,
        "scheduling/entry_form.html",
        {
            "form": form,
            "season": row,
            "entry": subject,
            "new": not entry,
            "published": bool(entry) and subject.steps.exclude(status="cancelled").exists(),
        },
    )


@require_POST
@member_page(Permission.ENTRY_EDIT)
def entry_withdraw(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Take a group out of the season."""
    row = queries.season_for(member, season)
    subject = queries.entry_for(member, row, entry)
    if withdraw_entry(member=member, entry=subject, now=timezone.now()):
        text = f"{subject.group} is out of {row}. Its published dates stand until the season is planned again and published."
        messages.warning(request, text)
    else:
        messages.success(request, f"{subject.group} is out of {row}.")
    return redirect("scheduling:entries", coop=member.cooperative.slug, season=row.pk)
