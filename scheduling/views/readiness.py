"""Is the herd ready: the season's groups, one group, one female, and late calvers as a group of their own."""

import uuid
from datetime import datetime

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_page
from herdplan.herds import queries as herds
from scheduling import queries
from scheduling.forms.readiness import SecondGroupForm, WordForm
from scheduling.models import SeasonEntry
from scheduling.services import protocol_name
from scheduling.services.late_calvers import LateCalversError, make_second_group, may_make, proposal_of
from scheduling.services.readiness import VERDICTS, group_readiness, season_readiness
from scheduling.services.readiness_pages import animal_page, findings_of, spreads_of, work_of
from scheduling.services.readiness_words import WordError, override, sign_group, withdraw_word

_GROUPS_A_PAGE, _ANIMALS_A_PAGE = 20, 60


@member_page(Permission.FEMALE_VIEW)
def ready(request: HttpRequest, member: Member) -> HttpResponse:
    """Straight to the season that runs or comes next."""
    season = queries.season_at(member, timezone.localdate())
    if season is None:
        return redirect("scheduling:seasons", coop=member.cooperative.slug)
    return redirect("scheduling:readiness", coop=member.cooperative.slug, season=season.pk)


@member_page(Permission.FEMALE_VIEW)
def readiness(request: HttpRequest, member: Member, season: uuid.UUID) -> HttpResponse:
    """Every group of the season that the caller may see, with its share ready."""
    row = queries.season_for(member, season)
    page = Paginator(queries.readiness_entries_for(member, row), _GROUPS_A_PAGE).get_page(request.GET.get("page"))
    entries = list(page.object_list)
    for entry in entries:
        entry.season = row
    found = season_readiness(member=member, season=row, entries=entries, now=timezone.now())
    context = {
        "season": row,
        "page": page,
        "groups": [(item, next((work for work in work_of(item) if work.key != "ready"), None)) for item in found],
        "blank": [item for item in found if not item.head],
    }
    return render(request, "scheduling/readiness.html", context)


def _entry(member: Member, season: uuid.UUID, entry: uuid.UUID) -> SeasonEntry:
    row = queries.season_for(member, season)
    found = queries.readiness_entry_for(member, row, entry)
    found.season = row
    return found


def _may_sign(member: Member) -> bool:
    return member.may(Permission.READINESS_SIGN, Reach.COOP)


@member_page(Permission.FEMALE_VIEW)
def ready_group(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """One group: verdicts, charts, what to do by when, its animals."""
    return _group_page(request, member, _entry(member, season, entry), WordForm(whole_group=True), timezone.now())


def _group_page(
    request: HttpRequest, member: Member, subject: SeasonEntry, form: WordForm, now: datetime
) -> HttpResponse:
    found = group_readiness(member=member, entry=subject, now=now)
    wanted = request.GET.get("verdict", "")
    animals = Paginator(found.with_verdict(wanted), _ANIMALS_A_PAGE).get_page(request.GET.get("page"))
    ranch = subject.group.herd.ranch
    context = {
        "season": subject.season,
        "entry": subject,
        "protocol": protocol_name(subject.protocol),
        "found": found,
        "spreads": spreads_of(found, member.user),
        "work": work_of(found),
        "findings": findings_of(found),
        "late": proposal_of(found),
        "animals": animals,
        "wanted": wanted if wanted in VERDICTS else "",
        "words": queries.readiness_words_for(member, subject)[:30],
        "form": form,
        "may_sign": _may_sign(member),
        "may_type": herds.may_edit(member, ranch, Permission.FEMALE_EDIT),
        "may_edit": herds.may_edit(member, ranch),
    }
    return render(request, "scheduling/ready_group.html", context)


@require_POST
@member_page(Permission.READINESS_SIGN, Reach.COOP)
def ready_sign(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Sign a group off, or say that it is not ready yet."""
    subject = _entry(member, season, entry)
    form = WordForm(request.POST, whole_group=True)
    if form.is_valid():
        try:
            sign_group(member=member, entry=subject, now=timezone.now(), **form.cleaned_data)
        except WordError as fault:
            form.add_error(fault.field if fault.field in form.fields else None, fault.text)
        else:
            messages.success(request, f"Your word on {subject.group} is saved.")
            return redirect(
                "scheduling:ready_group", coop=member.cooperative.slug, season=subject.season_id, entry=subject.pk
            )
    return _group_page(request, member, subject, form, timezone.now())


@member_page(Permission.FEMALE_VIEW)
def ready_female(
    request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID, female: uuid.UUID
) -> HttpResponse:
    """One female: every check, the record that decided it, what is missing."""
    return _female_page(request, member, _entry(member, season, entry), female, WordForm(whole_group=False))


def _female_page(
    request: HttpRequest, member: Member, subject: SeasonEntry, female: uuid.UUID, form: WordForm
) -> HttpResponse:
    page = animal_page(member=member, entry=subject, female=female, now=timezone.now())
    if page is None:
        raise Http404("No such female in this group.")
    ranch = subject.group.herd.ranch
    context = {
        "season": subject.season,
        "entry": subject,
        "page": page,
        "animal": page.animal,
        "words": queries.readiness_words_for(member, subject).filter(female=female),
        "form": form,
        "may_sign": _may_sign(member),
        "may_type": herds.may_edit(member, ranch, Permission.FEMALE_EDIT),
        "may_edit": herds.may_edit(member, ranch),
    }
    return render(request, "scheduling/ready_female.html", context)


@require_POST
@member_page(Permission.READINESS_SIGN, Reach.COOP)
def ready_override(
    request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID, female: uuid.UUID
) -> HttpResponse:
    """Say what counts of one female in place of the rules."""
    subject = _entry(member, season, entry)
    form = WordForm(request.POST, whole_group=False)
    if form.is_valid():
        try:
            override(member=member, entry=subject, female=female, now=timezone.now(), **form.cleaned_data)
        except WordError as fault:
            form.add_error(fault.field if fault.field in form.fields else None, fault.text)
        else:
            messages.success(request, "Your word on her is saved.")
            return redirect(
                "scheduling:ready_female",
                coop=member.cooperative.slug,
                season=subject.season_id,
                entry=subject.pk,
                female=female,
            )
    return _female_page(request, member, subject, female, form)


@require_POST
@member_page(Permission.READINESS_SIGN, Reach.COOP)
def ready_withdraw(request: HttpRequest, member: Member, word: uuid.UUID) -> HttpResponse:
    """Take a word back; the rules count again."""
    row = queries.readiness_word_for(member, word)
    withdraw_word(member=member, word=row, now=timezone.now())
    messages.success(request, "The word is withdrawn. It stays on record; the rules count again.")
    coop, season, entry = member.cooperative.slug, row.entry.season_id, row.entry_id
    if row.female_id:
        return redirect("scheduling:ready_female", coop=coop, season=season, entry=entry, female=row.female_id)
    return redirect("scheduling:ready_group", coop=coop, season=season, entry=entry)


@member_page(Permission.FEMALE_VIEW)
def late_calvers(request: HttpRequest, member: Member, season: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Late calvers as a group of their own: look at the proposal, then make it on one confirmation."""
    subject, now = _entry(member, season, entry), timezone.now()
    found = group_readiness(member=member, entry=subject, now=now)
    proposal = proposal_of(found)
    form = SecondGroupForm(request.POST if request.method == "POST" else None, proposal=proposal)
    if request.method == "POST":
        member.require(Permission.ENTRY_EDIT)
        if form.is_valid():
            try:
                made = make_second_group(member=member, entry=subject, now=now, **form.cleaned_data)
            except LateCalversError as fault:
                form.add_error(fault.field if fault.field in form.fields else None, fault.text)
            else:
                text = f"{made.head} females are in {made.group.name}."
                messages.success(request, f"{text} Both groups get their dates when the season is planned again.")
                return redirect(
                    "scheduling:ready_group", coop=member.cooperative.slug, season=made.season_id, entry=made.pk
                )
    context = {
        "season": subject.season,
        "entry": subject,
        "found": found,
        "proposal": proposal,
        "form": form,
        "may_make": may_make(member, subject),
        "begun": subject.records.exists(),
    }
    return render(request, "scheduling/late_calvers.html", context)


@member_page(Permission.FEMALE_VIEW)
def ready_of_group(request: HttpRequest, member: Member, group: uuid.UUID) -> HttpResponse:
    """From a group's own place to its readiness for the season that comes next."""
    row = herds.group_for(member, group)
    entry = queries.entry_of_group(member, row, row.herd.ranch.day_at(timezone.now()))
    if entry is None:
        return render(request, "scheduling/ready_none.html", {"group": row, "seasons": queries.seasons_for(member)})
    return redirect("scheduling:ready_group", coop=member.cooperative.slug, season=entry.season_id, entry=entry.pk)


@member_page(Permission.FEMALE_VIEW)
def ready_of_female(request: HttpRequest, member: Member, female: uuid.UUID) -> HttpResponse:
    """From a female's own page to her readiness for the season that comes next."""
    row = herds.female_for(member, female)
    group = row.group
    today = row.herd.ranch.day_at(timezone.now())
    entry = queries.entry_of_group(member, group, today) if group and row.status == "active" else None
    if entry is None:
        context = {"group": group, "female": row, "seasons": queries.seasons_for(member)}
        return render(request, "scheduling/ready_none.html", context)
    return redirect(
        "scheduling:ready_female",
        coop=member.cooperative.slug,
        season=entry.season_id,
        entry=entry.pk,
        female=row.pk,
    )
