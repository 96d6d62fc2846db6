"""Read-only CalDAV (RFC 4791) to a person's own plan. HTTP Basic with a feed's token as app password; no secret in addresses.

/caldav/ is the principal and the home, /caldav/plan/ the one collection, /caldav/plan/<uid>.ics its events. PROPFIND, REPORT
(calendar-query, calendar-multiget, sync-collection without memory), GET, HEAD, OPTIONS; whatever would change it is refused.
"""

import base64
import binascii
from collections.abc import Iterable
from hashlib import sha256
from urllib.parse import unquote, urlsplit
from xml.etree.ElementTree import Element, SubElement, register_namespace, tostring

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import ParseError, fromstring
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from herdplan.calendars.feeds import build, collection_of, state_of
from herdplan.calendars.models import FeedToken
from herdplan.calendars.services import count_fetch, find_feed

HOME, PLAN = "/caldav/", "/caldav/plan/"
DAV, CAL, SERVER = "DAV:", "urn:ietf:params:xml:ns:caldav", "http://calendarserver.org/ns/"
_LARGEST = 200_000
_METHODS = "OPTIONS, GET, HEAD, PROPFIND, REPORT"
for _prefix, _space in (("D", DAV), ("C", CAL), ("S", SERVER)):
    register_namespace(_prefix, _space)


@csrf_exempt
def caldav(request: HttpRequest, path: str = "") -> HttpResponse:
    """Everything below /caldav/."""
    if request.method == "OPTIONS":
        return _dav(HttpResponse(status=200))
    now = timezone.now()
    feed = _feed_of(request)
    if feed is None or feed.revoked_at is not None:
        response = HttpResponse("Sign in with a feed's address as the password.", status=401, content_type="text/plain")
        response["WWW-Authenticate"] = 'Basic realm="herdplan", charset="UTF-8"'
        return response
    if request.method not in ("GET", "HEAD", "PROPFIND", "REPORT"):
        return _dav(HttpResponse("This calendar can only be read.", status=403, content_type="text/plain"))
    if request.method != "GET" and not count_fetch(feed=feed, client=request.headers.get("User-Agent", ""), now=now):
        response = HttpResponse("Asked too often; once an hour is enough.", status=429, content_type="text/plain")
        response["Retry-After"] = "3600"
        return response
    return _dav(_answer(request, feed, path))


def _answer(request: HttpRequest, feed: FeedToken, path: str) -> HttpResponse:
    if path not in ("", "plan/") and not path.startswith("plan/"):
        return _plain("There is nothing here.", 404)
    if request.method in ("GET", "HEAD"):
        return _get(feed, path)
    if len(request.body) > _LARGEST:
        return _plain("This request is too long.", 413)
    try:
        asked = fromstring(request.body) if request.body.strip() else None
    except (ParseError, DefusedXmlException):
        return _plain("This is no XML that we read.", 400)
    if request.method == "REPORT":
        return _report(feed, path, asked)
    return _propfind(feed, path, asked, request.headers.get("Depth", "0"))


def _feed_of(request: HttpRequest) -> FeedToken | None:
    """The feed whose token is the password; the user name is for the client's own list."""
    kind, _, given = request.headers.get("Authorization", "").partition(" ")
    if kind.lower() != "basic":
        return None
    try:
        _, _, password = base64.b64decode(given, validate=True).decode().partition(":")
    except (binascii.Error, UnicodeDecodeError):
        return None
    token = urlsplit(password).path.rpartition("/")[2].removesuffix(".ics")  # the whole address does as well
    return find_feed(token=token, now=timezone.now())


def _items(feed: FeedToken) -> dict[str, bytes]:
    """Resource name to its text."""
    return collection_of(feed, timezone.now())


def _tag(text: bytes) -> str:
    return f'"{sha256(text).hexdigest()}"'


def _get(feed: FeedToken, path: str) -> HttpResponse:
    """An event; or, for programs that subscribe with a password, the whole feed at the collection's address."""
    if path == "plan/":
        now = timezone.now()
        body, validators = build(feed, state_of(feed, now), now)
        whole = HttpResponse(body, content_type="text/calendar; charset=utf-8")
        whole["ETag"] = f'"{validators.tag}"'
        return whole
    text = _items(feed).get(path.removeprefix("plan/"))
    if text is None:
        return _plain("There is no such event.", 404)
    response = HttpResponse(text, content_type="text/calendar; charset=utf-8")
    response["ETag"] = _tag(text)
    return response


def _propfind(feed: FeedToken, path: str, asked: Element | None, depth: str) -> HttpResponse:
    wanted = _wanted(asked)
    answers = []
    if path == "":
        answers.append((HOME, _home(feed)))
        if depth != "0":
            answers.append((PLAN, _plan(feed)))
    elif path == "plan/":
        answers.append((PLAN, _plan(feed)))
        if depth != "0":
            answers += [(PLAN + name, _item(text)) for name, text in _items(feed).items()]
    else:
        text = _items(feed).get(path.removeprefix("plan/"))
        if text is None:
            return _plain("There is no such event.", 404)
        answers.append((HOME + path, _item(text)))
    return _multistatus((href, *_chosen(found, wanted)) for href, found in answers)


def _report(feed: FeedToken, path: str, asked: Element | None) -> HttpResponse:
    """A query gets every event: its filters are ours to ignore where nothing is left out (the client looks itself)."""
    if asked is None or path != "plan/":
        return _plain("Ask the calendar for a report, with a body.", 400)
    items, wanted = _items(feed), _wanted(asked)
    names: list[str] = list(items)
    if asked.tag == f"{{{CAL}}}calendar-multiget":
        hrefs = [unquote(urlsplit(item.text or "").path) for item in asked.findall(f"{{{DAV}}}href")]
        names = [href.removeprefix(PLAN) for href in hrefs]
    elif asked.tag == f"{{{DAV}}}sync-collection":
        return _sync(feed, items, asked, wanted)
    elif asked.tag != f"{{{CAL}}}calendar-query":
        return _plain("We do not know this report.", 403)
    return _multistatus(
        (PLAN + name, *_chosen(_item(items[name]), wanted)) if name in items else (PLAN + name, None, [])
        for name in names
    )


def _sync(feed: FeedToken, items: dict[str, bytes], asked: Element, wanted: list[str]) -> HttpResponse:
    """No list is kept of what is gone: any token but the present one is refused, and the client begins anew (RFC 6578, 3.7)."""
    token, now = (asked.findtext(f"{{{DAV}}}sync-token") or "").strip(), _sync_token(feed)
    if token and token != now:
        error = Element(f"{{{DAV}}}error")
        SubElement(error, f"{{{DAV}}}valid-sync-token")
        return HttpResponse(
            tostring(error, encoding="utf-8"), status=403, content_type="application/xml; charset=utf-8"
        )
    rows = [] if token else [(PLAN + name, *_chosen(_item(text), wanted)) for name, text in items.items()]
    return _multistatus(rows, sync_token=now)


def _sync_token(feed: FeedToken) -> str:
    return f"urn:herdplan:{state_of(feed, timezone.now())}"


def _wanted(asked: Element | None) -> list[str]:
    """Names of the properties asked for; none: all of them."""
    prop = asked.find(f"{{{DAV}}}prop") if asked is not None else None
    return [item.tag for item in prop] if prop is not None else []


def _element(space: str, name: str, text: str = "", *children: Element) -> Element:
    made = Element(f"{{{space}}}{name}")
    made.text = text or None
    made.extend(children)
    return made


def _href(name: str, address: str) -> Element:
    return _element(DAV, name, "", _element(DAV, "href", address))


def _read_only() -> Element:
    return _element(DAV, "current-user-privilege-set", "", _element(DAV, "privilege", "", _element(DAV, "read")))


def _home(feed: FeedToken) -> list[Element]:
    return [
        _element(DAV, "resourcetype", "", _element(DAV, "collection"), _element(DAV, "principal")),
        _element(DAV, "displayname", str(feed.owner)),
        _href("current-user-principal", HOME),
        _href("principal-URL", HOME),
        _element(CAL, "calendar-home-set", "", _element(DAV, "href", HOME)),
        _read_only(),
    ]


def _plan(feed: FeedToken) -> list[Element]:
    kind = _element(CAL, "comp")
    kind.set("name", "VEVENT")
    reports = [_element(CAL, "calendar-query"), _element(CAL, "calendar-multiget"), _element(DAV, "sync-collection")]
    listed = [_element(DAV, "supported-report", "", _element(DAV, "report", "", item)) for item in reports]
    return [
        _element(DAV, "resourcetype", "", _element(DAV, "collection"), _element(CAL, "calendar")),
        _element(DAV, "displayname", f"{feed.cooperative.name}: {feed.name}"),
        _href("current-user-principal", HOME),
        _href("owner", HOME),
        _element(CAL, "supported-calendar-component-set", "", kind),
        _element(DAV, "supported-report-set", "", *listed),
        _element(SERVER, "getctag", _sync_token(feed)),
        _element(DAV, "sync-token", _sync_token(feed)),
        _read_only(),
    ]


def _item(text: bytes) -> list[Element]:
    return [
        _element(DAV, "resourcetype"),
        _element(DAV, "getetag", _tag(text)),
        _element(DAV, "getcontenttype", "text/calendar; charset=utf-8; component=VEVENT"),
        _element(DAV, "getcontentlength", str(len(text))),
        _element(CAL, "calendar-data", text.decode()),
        _read_only(),
    ]


def _chosen(found: list[Element], wanted: list[str]) -> tuple[list[Element], list[str]]:
    """The properties asked for, and the names of those that are not there. Event text only where it is asked for."""
    if not wanted:
        return [item for item in found if item.tag != f"{{{CAL}}}calendar-data"], []
    by_name = {item.tag: item for item in found}
    return [by_name[name] for name in wanted if name in by_name], [name for name in wanted if name not in by_name]


def _multistatus(rows: Iterable[tuple[str, list[Element] | None, list[str]]], sync_token: str = "") -> HttpResponse:
    """207: for each address what is there (200) and what is not (404); an address that is not there at all is 404."""
    root = Element(f"{{{DAV}}}multistatus")
    for href, found, missing in rows:
        response = SubElement(root, f"{{{DAV}}}response")
        SubElement(response, f"{{{DAV}}}href").text = href
        if found is None:
            SubElement(response, f"{{{DAV}}}status").text = "HTTP/1.1 404 Not Found"
            continue
        for status, items in (("200 OK", found), ("404 Not Found", [Element(name) for name in missing])):
            if items or status == "200 OK":
                stat = SubElement(response, f"{{{DAV}}}propstat")
                SubElement(stat, f"{{{DAV}}}prop").extend(items)
                SubElement(stat, f"{{{DAV}}}status").text = f"HTTP/1.1 {status}"
    if sync_token:
        SubElement(root, f"{{{DAV}}}sync-token").text = sync_token
    text = tostring(root, encoding="utf-8", xml_declaration=True)
    return HttpResponse(text, status=207, content_type="application/xml; charset=utf-8")


def _plain(text: str, status: int) -> HttpResponse:
    return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8")


def _dav(response: HttpResponse) -> HttpResponse:
    response["DAV"], response["Allow"] = "1, calendar-access", _METHODS
    response["Cache-Control"], response["Referrer-Policy"] = "private, no-store", "no-referrer"
    return response
