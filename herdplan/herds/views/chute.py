"""At the chute: one animal a screen, typed with gloves on and one bar of signal. Everything works without JavaScript."""

import uuid
from datetime import date
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from accounts.units import Units
from herdplan.herds import queries
from herdplan.herds.forms import ChuteForm, ObservedForm, typed_on
from herdplan.herds.models import ChuteDay, Female, Herd, Record
from herdplan.herds.services import Saved, require_edit, save_at_chute
from herdplan.herds.typed import tag_in

_NEAR = 8
_USUAL = [Record.Kind.WEIGHT.value, Record.Kind.CONDITION.value]


@member_page(Permission.FEMALE_EDIT)
def chute_start(request: HttpRequest, member: Member, herd: uuid.UUID) -> HttpResponse:
    """Choose the animals and what is typed of each; or go on with a day that was begun."""
    row = queries.herd_for(member, herd)
    return _settings(request, member, row, ChuteDay(herd=row, by=member.user))


@member_page(Permission.FEMALE_EDIT)
def chute_edit(request: HttpRequest, member: Member, chute: uuid.UUID) -> HttpResponse:
    """Change what is typed."""
    row = queries.chute_day_for(member, chute)
    return _settings(request, member, row.herd, row)


def _settings(request: HttpRequest, member: Member, herd: Herd, chute: ChuteDay) -> HttpResponse:
    require_edit(member, herd.ranch, Permission.FEMALE_EDIT)
    today, new = herd.ranch.day_at(timezone.now()), chute._state.adding
    asked = [kind for kind in request.GET.getlist("asked") if kind in Record.Kind.values]
    initial = {"day": today, "asked": asked or _USUAL, "group": request.GET.get("group")} if new else None
    form = ChuteForm(
        request.POST if request.method == "POST" else None, instance=chute, herd=herd, today=today, initial=initial
    )
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        return redirect("herds:chute", coop=member.cooperative.slug, chute=saved.pk)
    begun = queries.chute_days_lately(member, herd, today) if new else []
    return render(
        request, "herds/chute_form.html", {"form": form, "herd": herd, "chute": chute, "new": new, "begun": begun}
    )


def _done(chute: ChuteDay) -> set[uuid.UUID]:
    return set(chute.saves.values_list("female_id", flat=True))


def _following(line: list[Female], done: set[uuid.UUID], after: Female | None) -> Female | None:
    """The next animal of the line that was not saved, from the one after `after`, round to the start; None at the end."""
    start = next((i + 1 for i, female in enumerate(line) if after is not None and female.pk == after.pk), 0)
    later = [*line[start:], *line[:start]]
    return next((female for female in later if female.pk not in done and female != after), None)


@member_page(Permission.FEMALE_EDIT)
def chute(request: HttpRequest, member: Member, chute: uuid.UUID) -> HttpResponse:
    """The line of animals; a tag that is typed leads to her."""
    row = queries.chute_day_for(member, chute)
    require_edit(member, row.herd.ranch, Permission.FEMALE_EDIT)
    tag = tag_in(request.GET.get("tag", ""))
    herd_line = queries.females_for(member).filter(herd=row.herd)
    found = herd_line.filter(tag__iexact=tag).first() if tag else None
    if found is not None:
        return redirect("herds:chute_animal", coop=member.cooperative.slug, chute=row.pk, female=found.pk)
    line, done = queries.chute_line(member, row), _done(row)
    context = {
        "chute": row,
        "tag": tag,
        "near": herd_line.filter(tag__icontains=tag)[:_NEAR] if tag else [],
        "line": [(female, female.pk in done) for female in line],
        "done": sum(1 for female in line if female.pk in done),
        "next": _following(line, done, None),
    }
    return render(request, "herds/chute.html", context)


@member_page(Permission.FEMALE_EDIT)
def chute_animal(request: HttpRequest, member: Member, chute: uuid.UUID, female: uuid.UUID) -> HttpResponse:
    """One animal: what is typed today, save, next."""
    row = queries.chute_day_for(member, chute)
    require_edit(member, row.herd.ranch, Permission.FEMALE_EDIT)
    history = queries.history_for(member, female)
    animal = history.female
    if animal.herd_id != row.herd_id:
        raise Http404("No such female at this chute.")
    line, done, units = queries.chute_line(member, row), _done(row), Units.of(member.user)
    key = _key(request.POST.get("key"))
    form = ObservedForm(
        request.POST if request.method == "POST" else None,
        history=history,
        units=units,
        today=row.herd.ranch.day_at(timezone.now()),
        asked=row.asked,
        vaccines=row.vaccines,
        day=row.day,
        initial=_initial(row, history, units, row.day, animal.pk in done),
    )
    coming = _following(line, done, animal)
    if request.method == "POST" and form.is_valid():
        saved = save_at_chute(member=member, chute=row, female=animal, seen=form.seen, key=key, now=timezone.now())
        messages.success(request, _words(animal, saved))
        return redirect(_after(member, row, coming, request.POST.get("next_tag", "").strip()))
    context = {
        "chute": row, "female": animal, "form": form, "key": key, "next": coming, "saved": animal.pk in done,
        "next_tag": request.POST.get("next_tag", ""),
        "done": len(done & {one.pk for one in line}), "count": len(line), "units": units,
    }  # fmt: skip
    return render(request, "herds/chute_animal.html", context)


def _initial(chute: ChuteDay, history: queries.History, units: Units, day: date, saved: bool) -> dict[str, object]:
    return ({} if saved else {"vaccines": chute.vaccines}) | typed_on(history, day, units)


def _key(text: str | None) -> uuid.UUID:
    """The page's own key: a repeat of the post brings it back."""
    try:
        return uuid.UUID(text or "")
    except ValueError:
        return uuid.uuid4()


def _words(female: Female, saved: Saved | None) -> str:
    if saved is None:
        return f"{female.tag} was saved already; the repeat changed nothing."
    return f"{female.tag} is saved." if saved.written else f"{female.tag}: on record already, nothing changed."


def _after(member: Member, chute: ChuteDay, coming: Female | None, tag: str) -> str:
    """Where saving leads: cattle come in no order, so a tag that was typed goes before the next of the list."""
    where = {"coop": member.cooperative.slug, "chute": chute.pk}
    if tag:
        coming = queries.females_for(member).filter(herd=chute.herd, tag__iexact=tag).first()
    if coming is None:
        return reverse("herds:chute", kwargs=where) + (f"?{urlencode({'tag': tag})}" if tag else "")
    return reverse("herds:chute_animal", kwargs={**where, "female": coming.pk})
