"""Changes that ask for a tap: on the site when signed in, or by the link of a message without signing in."""

import uuid
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST

from accounts.permissions import Permission
from accounts.tenancy import Member, member_page
from herdplan.reminders import queries
from herdplan.reminders.models import ChangeNotice
from herdplan.reminders.services import mark_seen, notice_of_link


@member_page(Permission.SEASON_VIEW)
def changes(request: HttpRequest, member: Member) -> HttpResponse:
    """What changed for me, the latest first."""
    rows = queries.notices_for(member)
    context = {
        "unseen": rows.filter(urgent=True, seen_at=None),
        "rows": rows.exclude(urgent=True, seen_at=None)[:30],
        "zone": ZoneInfo(member.cooperative.zone),
    }
    return render(request, "reminders/changes.html", context)


@require_POST
@member_page(Permission.SEASON_VIEW)
def change_seen(request: HttpRequest, member: Member, notice: uuid.UUID) -> HttpResponse:
    """The tap of somebody who is signed in."""
    mark_seen(notice=queries.notice_for(member, notice), how=ChangeNotice.How.PAGE, now=timezone.now())
    messages.success(request, "Thank you. The coordinator sees that you know.")
    return redirect("reminders:changes", coop=member.cooperative.slug)


# The link itself is the proof of who taps; a push message's button posts from outside of any page, so without a CSRF token.
@csrf_exempt
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def seen(request: HttpRequest, token: str) -> HttpResponse:
    """One button. Opening the page is not enough: programs that check mail open every link."""
    now = timezone.now()
    notice = notice_of_link(token, now=now)
    if notice is None:
        return render(request, "reminders/seen_bad.html", status=404)
    if request.method == "POST" and notice.seen_at is None:
        mark_seen(notice=notice, how=ChangeNotice.How.LINK, now=now)
        notice.refresh_from_db()
    context = {"notice": notice, "token": token, "zone": ZoneInfo(notice.cooperative.zone)}
    return render(request, "reminders/seen.html", context)
