"""Pages that compose several apps: the way in, invitations, the profile, health."""

from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST, require_safe

from accounts.adapter import INVITED_EMAIL
from accounts.forms import InviteForm, ProfileForm
from accounts.models import User
from accounts.permissions import Permission, Reach, Role
from accounts.services import InvitationError, accept, find_invitation, invite
from accounts.tenancy import Member, member_page, members_of
from herdplan.reminders.services import enqueue, health


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """One co-op: straight to it. Several: a choice. None: what to do."""
    members = members_of(_user(request))
    if len(members) == 1:
        return redirect("scheduling:today", coop=members[0].cooperative.slug)
    return render(request, "accounts/home.html", {"members": members})


@login_required
def profile(request: HttpRequest) -> HttpResponse:
    """Name, telephone, units."""
    form = ProfileForm(request.POST or None, instance=_user(request))
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Your profile is saved.")
        return redirect("profile")
    return render(request, "accounts/profile.html", {"form": form})


@require_POST
@member_page(Permission.MEMBERS_MANAGE, Reach.COOP)
def invite_person(request: HttpRequest, member: Member) -> HttpResponse:
    """Invite somebody: the e-mail goes to the outbox, and the link is shown once to hand on by telephone."""
    form = InviteForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Give an e-mail address and a role. Nobody was invited.")
        return redirect("accounts:people", coop=member.cooperative.slug)
    now = timezone.now()
    try:
        invitation, token = invite(
            member=member, email=form.cleaned_data["email"], role=Role(form.cleaned_data["role"]), now=now
        )
    except (InvitationError, ValidationError) as fault:
        messages.error(request, str(fault))
        return redirect("accounts:people", coop=member.cooperative.slug)
    link = f"{settings.BASE_URL}{reverse('invitation', args=[token])}"
    enqueue(
        cooperative=member.cooperative,
        user=None,
        channel="email",
        address=invitation.email,
        purpose="invitation",
        subject=f"Invitation to {member.cooperative}",
        body=(
            f"{member.user} invites you to {member.cooperative} as {Role(invitation.role).label.lower()}.\n\n"
            f"Open this link within 14 days to join:\n{link}\n\nIf you do not know the co-op, do nothing.\n"
        ),
        dedup=f"invitation|{invitation.pk}",
        due=now,
        expires=invitation.expires_at,
        now=now,
    )
    return render(request, "accounts/invited.html", {"invitation": invitation, "link": link})


def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """The page behind an invitation's link."""
    now = timezone.now()
    try:
        found = find_invitation(token=token, now=now)
        if request.method == "POST" and request.user.is_authenticated:
            accept(invitation=found, user=_user(request), now=now)
            request.session.pop(INVITED_EMAIL, None)
            messages.success(request, f"Welcome to {found.cooperative}.")
            return redirect("scheduling:today", coop=found.cooperative.slug)
    except InvitationError as fault:
        return render(request, "accounts/invitation_bad.html", {"text": str(fault)}, status=410)
    request.session[INVITED_EMAIL] = found.email
    context: dict[str, Any] = {"invitation": found, "role": Role(found.role).label, "next": request.path}
    context["known"] = User.objects.filter(email=found.email).exists()
    return render(request, "accounts/invitation.html", context)


@require_GET
def robots(request: HttpRequest) -> HttpResponse:
    """Calendars may be fetched by anybody's fetcher; the rest is not for indexes."""
    return HttpResponse("User-agent: *\nAllow: /feeds/\nDisallow: /\n", content_type="text/plain; charset=utf-8")


@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """200 when database and outbox are healthy, else 503; with the age of the oldest overdue message."""
    state = health(now=timezone.now(), tolerated=timedelta(minutes=15))
    return JsonResponse(state.document(), status=200 if state.healthy else 503)
