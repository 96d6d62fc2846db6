"""The feed itself: GET and HEAD, no login, conditional requests."""

from datetime import datetime
from datetime import timezone as utc
from hashlib import sha256

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils import timezone
from django.utils.http import http_date, parse_http_date_safe
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from herdplan.calendars.contents import closed_notice, events_of
from herdplan.calendars.models import FeedToken
from herdplan.calendars.services import GRACE, find_feed, note_fetch, too_often
from herdplan.calendars.writer import calendar


@gzip_page
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """A calendar for whoever holds the address; 404 where there is none, 410 when it has been closed for two weeks."""
    now = timezone.now()
    found = find_feed(token=token, now=now)
    if found is None:
        return _plain("No such calendar feed.", 404)
    if found.revoked_at is not None and now - found.revoked_at > GRACE:
        return _plain("This calendar feed is closed.", 410)
    if too_often(feed=found, now=now):
        response = _plain("Fetched too often; once an hour is enough.", 429)
        response["Retry-After"] = "3600"
        return response
    note_fetch(feed=found, client=request.headers.get("User-Agent", ""), now=now)
    return _answer(request, *_content(found, now))


def _host() -> str:
    return settings.BASE_URL.split("://", 1)[-1].split("/")[0].split(":")[0]


def _content(feed: FeedToken, now: datetime) -> tuple[bytes, datetime, str]:
    """Bytes, time of the last change, and the tag. The day is part of the tag, so that a client which lost its copy
    but kept the tag is served again the next day."""
    events = closed_notice(feed, _host()) if feed.revoked_at else events_of(feed, _host(), now)
    body = calendar(f"{feed.cooperative.name}: {feed.name}", events)
    changed = max([event.changed_at for event in events], default=feed.created_at)
    return body, changed, f'"{sha256(body + f"{now.astimezone(utc.utc):%Y%m%d}".encode()).hexdigest()}"'


def _answer(request: HttpRequest, body: bytes, changed: datetime, tag: str) -> HttpResponse:
    tags = request.headers.get("If-None-Match")
    since = parse_http_date_safe(request.headers.get("If-Modified-Since", ""))
    same = (
        tag in [item.strip().removeprefix("W/") for item in tags.split(",")] or tags.strip() == "*"
        if tags is not None
        else since is not None and int(changed.timestamp()) <= since
    )
    response = HttpResponseNotModified() if same else HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["ETag"], response["Last-Modified"] = tag, http_date(changed.timestamp())
    return _headers(response)


def _plain(text: str, status: int) -> HttpResponse:
    return _headers(HttpResponse(text, status=status, content_type="text/plain; charset=utf-8"))


def _headers(response: HttpResponse) -> HttpResponse:
    response["Cache-Control"] = "private, max-age=300"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response
