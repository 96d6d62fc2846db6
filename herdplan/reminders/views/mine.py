"""A person's own reminders and channels."""

import json
import uuid
from pathlib import Path

from django.contrib import messages
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from herdplan.reminders import queries
from herdplan.reminders.forms import RuleForm, ServiceForm, SettingsForm
from herdplan.reminders.rules import BY_CODE, CHANNEL_WORDS, RULES, Rule
from herdplan.reminders.services import PreferenceError, add_push, add_service, profile_of, send_trial
from herdplan.reminders.services.people import Door, Profile
from herdplan.reminders.vapid import public_key


def _mine(member: Member) -> list[Rule]:
    """Rules that reach somebody with the member's roles."""
    roles = {role.value for role in member.roles}
    return [rule for rule in RULES if roles & set(rule.roles)]


@member_page(Permission.SEASON_VIEW)
def reminders(request: HttpRequest, member: Member) -> HttpResponse:
    """The table of rules as they hold for me, and what holds for all of them."""
    profile = profile_of(member.user)
    form = SettingsForm(request.POST or None, profile=profile)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved. It holds for reminders from now on.")
        return redirect("reminders:mine", coop=member.cooperative.slug)
    rules = [(rule, profile.on(rule), _when(profile, rule), _doors(profile, rule)) for rule in _mine(member)]
    return render(request, "reminders/mine.html", {"form": form, "rules": rules})


def _when(profile: Profile, rule: Rule) -> str:
    """When the rule's reminder comes, in words."""
    days, at, minutes = profile.timing(rule)
    if rule.plan:
        return "At once"
    if rule.anchor == "ends":
        return "As soon as the first session closes"
    if at is None:
        return f"{minutes} minutes before" if minutes else "On the hour"
    before = "the same day" if days == 0 else "the day before" if days == 1 else f"{days} days before"
    return f"{at:%H:%M}, {before}"


def _doors(profile: Profile, rule: Rule) -> str:
    found = dict.fromkeys(str(CHANNEL_WORDS[door.channel]) for door in profile.doors(rule))
    return ", ".join(found)


@member_page(Permission.SEASON_VIEW)
def rule(request: HttpRequest, member: Member, code: str) -> HttpResponse:
    """Change one rule for me."""
    found = BY_CODE.get(code)
    if found is None or found not in _mine(member):
        return render(request, "404.html", status=404)
    form = RuleForm(request.POST or None, profile=profile_of(member.user), rule=found)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, f"Saved: {found.title}.")
        return redirect("reminders:mine", coop=member.cooperative.slug)
    return render(request, "reminders/rule.html", {"form": form, "rule": found})


@member_page(Permission.SEASON_VIEW)
def channels(request: HttpRequest, member: Member) -> HttpResponse:
    """My browsers and services, a form for another service, the latest tests."""
    form = ServiceForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            add_service(user=member.user, now=timezone.now(), **form.cleaned_data)
            messages.success(request, "The service is kept. Send a test, and choose it in your reminders.")
            return redirect("reminders:channels", coop=member.cooperative.slug)
        except PreferenceError as fault:
            form.add_error("address", str(fault).removeprefix("Service address: "))
    context = {
        "form": form,
        "pushes": queries.pushes_for(member),
        "services": queries.services_for(member),
        "trials": queries.trials_for(member),
        "vapid": public_key(),
    }
    return render(request, "reminders/channels.html", context)


@require_POST
@member_page(Permission.SEASON_VIEW)
def push_add(request: HttpRequest, member: Member) -> JsonResponse:
    """A browser's subscription, as the browser itself writes it."""
    try:
        given = json.loads(request.body)
        keys = {"endpoint": str(given["endpoint"]), **{name: str(given["keys"][name]) for name in ("p256dh", "auth")}}
        label = str(given.get("label") or "A browser")
        add_push(user=member.user, label=label, now=timezone.now(), **keys)
    except (json.JSONDecodeError, UnicodeDecodeError, KeyError, TypeError, AttributeError):
        return JsonResponse({"error": "A subscription with endpoint and keys is needed."}, status=400)
    except PreferenceError as fault:
        return JsonResponse({"error": str(fault)}, status=400)
    return JsonResponse({"added": True})


@require_POST
@member_page(Permission.SEASON_VIEW)
def push_remove(request: HttpRequest, member: Member, push: uuid.UUID) -> HttpResponse:
    """Forget a browser."""
    queries.push_for(member, push).delete()
    messages.success(request, "This browser gets no more push messages.")
    return redirect("reminders:channels", coop=member.cooperative.slug)


@require_POST
@member_page(Permission.SEASON_VIEW)
def service_remove(request: HttpRequest, member: Member, service: uuid.UUID) -> HttpResponse:
    """Forget a service."""
    queries.service_for(member, service).delete()
    messages.success(request, "The service is removed.")
    return redirect("reminders:channels", coop=member.cooperative.slug)


@require_POST
@member_page(Permission.SEASON_VIEW)
def trial(request: HttpRequest, member: Member) -> HttpResponse:
    """Send a test to oneself through one of one's own channels."""
    channel, _, key = request.POST.get("door", "").partition(":")
    doors = {
        "email": Door("email", member.user.email),
        "push": Door("push", str(member.user.pk)),
        **{f"service:{row.pk}": Door("service", str(row.pk)) for row in queries.services_for(member)},
    }
    door = doors.get(f"{channel}:{key}" if key else channel)
    if door is None:
        messages.error(request, "Choose one of your own channels. No test was sent.")
    else:
        send_trial(member=member, door=door, now=timezone.now())
        messages.success(request, "A test is on its way. What came of it shows below in a few seconds.")
    return redirect("reminders:channels", coop=member.cooperative.slug)


@require_GET
def push_worker(request: HttpRequest) -> HttpResponse:
    """The service worker. It has an address without a version, so that a browser finds its successor there."""
    path = finders.find("reminders/worker.js")
    assert isinstance(path, str)
    answer = HttpResponse(Path(path).read_text(encoding="utf-8"), content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "max-age=300"
    return answer
