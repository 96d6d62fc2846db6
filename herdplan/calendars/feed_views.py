"""The feed itself: GET and HEAD, no login, conditional requests."""

import gzip

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.http import http_date, parse_http_date_safe
from django.views.decorators.http import require_safe

from herdplan.calendars.feeds import Validators, build, known, state_of
from herdplan.calendars.services import GRACE, count_fetch, find_feed

_ZIPPED = "-gzip"
_ZIP_FROM = 500


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """A calendar for whoever holds the address; 404 where there is none, 410 when it has been closed for two weeks."""
    now = timezone.now()
    found = find_feed(token=token, now=now)
    if found is None:
        return _plain("No such calendar feed.", 404)
    if found.revoked_at is not None and now - found.revoked_at > GRACE:
        return _plain("This calendar feed is closed.", 410)
    if not count_fetch(feed=found, client=request.headers.get("User-Agent", ""), now=now):
        response = _plain("Fetched too often; once an hour is enough.", 429)
        response["Retry-After"] = "3600"
        return response
    state = state_of(found, now)
    validators = known(found, state)
    if validators is not None and _has_it(request, validators):
        return _headers(HttpResponseNotModified(), request, validators)
    body, validators = build(found, state, now)
    if _has_it(request, validators):
        return _headers(HttpResponseNotModified(), request, validators)
    return _headers(_full(request, body), request, validators)


def _has_it(request: HttpRequest, validators: Validators) -> bool:
    """Whether the client holds these bytes. If-None-Match wins over If-Modified-Since (RFC 9110, 13.2.2)."""
    tags = request.headers.get("If-None-Match")
    if tags is not None:
        given = {item.strip().removeprefix("W/").strip('"').removesuffix(_ZIPPED) for item in tags.split(",")}
        return validators.tag in given or tags.strip() == "*"
    since = parse_http_date_safe(request.headers.get("If-Modified-Since", ""))
    return since is not None and int(validators.changed.timestamp()) <= since


def _zips(request: HttpRequest) -> bool:
    """Whether the client takes gzip (RFC 9110, 12.5.3: unless it says q=0)."""
    for item in request.headers.get("Accept-Encoding", "").lower().split(","):
        name, _, weight = item.partition(";")
        if name.strip() in ("gzip", "*"):
            return weight.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return False


def _full(request: HttpRequest, body: bytes) -> HttpResponse:
    response = HttpResponse(content_type="text/calendar; charset=utf-8")
    if _zips(request) and len(body) >= _ZIP_FROM:
        body = gzip.compress(body, 6, mtime=0)
        response["Content-Encoding"] = "gzip"
    response.content = body
    response["Content-Length"] = str(len(body))
    return response


def _plain(text: str, status: int) -> HttpResponse:
    return _private(HttpResponse(text, status=status, content_type="text/plain; charset=utf-8"))


def _headers(response: HttpResponse, request: HttpRequest, validators: Validators) -> HttpResponse:
    """Both validators, on 304 too; the zipped bytes have a strong tag of their own."""
    zipped = _ZIPPED if _zips(request) else ""
    response["ETag"] = f'"{validators.tag}{zipped}"'
    response["Last-Modified"] = http_date(validators.changed.timestamp())
    patch_vary_headers(response, ("Accept-Encoding",))
    return _private(response)


def _private(response: HttpResponse) -> HttpResponse:
    response["Cache-Control"] = "private, max-age=300"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response
