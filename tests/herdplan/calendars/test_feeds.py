"""Feeds over HTTP: conditional requests, moved and cancelled steps, revocation, who may have which."""

import gzip
import re
from datetime import datetime, timedelta
from datetime import timezone as utc
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import icalendar
import pytest
import vobject
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.http import parse_http_date
from hypothesis import given
from hypothesis import strategies as st
from ical.calendar_stream import IcsCalendarStream

from accounts.models import Membership, User
from accounts.tenancy import Member, member_in
from herdplan.calendars.models import FeedToken
from herdplan.calendars.places import refresh_places
from herdplan.calendars.services import make_feed
from herdplan.calendars.writer import escaped, folded
from herdplan.herds.models import Herd, Ranch
from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlannedStep, Season
from scheduling.services import bump_calendar
from tests.factories.clock import stand_still
from tests.factories.demo import published_demo

pytestmark = pytest.mark.django_db


@pytest.fixture
def season(monkeypatch: pytest.MonkeyPatch) -> Season:
    """The published demo, seen in the spring of its season."""
    stand_still(monkeypatch, datetime(2027, 4, 1, 15, tzinfo=utc.utc))
    return published_demo(rounds=1)


def member(role: str) -> Member:
    """The demo's person of that role."""
    return member_in(User.objects.get(email=f"{role}@demo.example"), "high-fork")


def events_in(content: bytes) -> list[Any]:
    """The events as the library reads them."""
    return list(icalendar.Calendar.from_ical(content).walk("VEVENT"))


def address(kind: str, role: str = "coordinator", **subject: Any) -> str:
    """The path of a new feed."""
    wanted = {"herd": None, "technician": None, **subject}
    _, token = make_feed(member=member(role), name="phone", kind=kind, now=timezone.now(), **wanted)
    return f"/feeds/{token}.ics"


def read(path: str) -> dict[str, Any]:
    """The feed's events by UID."""
    answer = Client().get(path)
    assert answer.status_code == 200
    return {str(item["UID"]): item for item in icalendar.Calendar.from_ical(answer.content).walk("VEVENT")}


def test_a_herds_feed_holds_its_chute_trips_once_each(season: Season) -> None:
    herd = Herd.objects.get(ranch__slug="willow-draw")
    found = read(address("herd", herd=herd))
    trips = PlannedStep.objects.filter(entry__group__herd=herd, key__in=("gnrh1", "out", "ai"))
    assert len([uid for uid in found if uid.startswith("step-")]) == trips.count() == 6
    summaries = " / ".join(sorted(str(item["SUMMARY"]) for item in found.values()))
    assert "GnRH + insert in: 92 head, Home cows" in summaries
    pulled = next(item for item in found.values() if "Insert out" in str(item["SUMMARY"]))
    assert "miscarriage" in str(pulled["DESCRIPTION"])


def test_bytes_stay_the_same_and_a_304_needs_no_body(season: Season) -> None:
    path = address("coop")
    first = Client().get(path)
    again = Client().get(path)
    assert first.content == again.content
    assert first["Content-Type"] == "text/calendar; charset=utf-8"
    assert first["ETag"] == again["ETag"]
    same = Client().get(path, headers={"If-None-Match": first["ETag"]})
    assert (same.status_code, same.content, same["ETag"]) == (304, b"", first["ETag"])
    assert same["Last-Modified"] == first["Last-Modified"]
    since = Client().get(path, headers={"If-Modified-Since": first["Last-Modified"]})
    assert since.status_code == 304
    wins = Client().get(path, headers={"If-None-Match": '"other"', "If-Modified-Since": first["Last-Modified"]})
    assert wins.status_code == 200
    head = Client().head(path)
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", first["ETag"])
    assert "Set-Cookie" not in first
    assert first["Cache-Control"] == "private, max-age=300"
    assert (first["X-Robots-Tag"], first["Referrer-Policy"], first["Vary"]) == (
        "noindex",
        "no-referrer",
        "Accept-Encoding",
    )
    assert "Allow: /feeds/" in Client().get("/robots.txt").content.decode()
    assert Client().post(path).status_code == 405


def test_a_moved_step_shows_moved_and_a_cancelled_one_cancelled(season: Season) -> None:
    path = address("coop")
    before = read(path)
    step = PlannedStep.objects.filter(key="ai").first()
    assert step is not None
    uid = f"step-{step.pk}@localhost"
    PlannedStep.objects.filter(pk=step.pk).update(
        starts=step.starts + timedelta(hours=2),
        ends=step.ends + timedelta(hours=2),
        sequence=1,
        changed_at=timezone.now(),
    )
    moved = read(path)[uid]
    assert moved["DTSTART"].dt - before[uid]["DTSTART"].dt == timedelta(hours=2)
    assert int(moved["SEQUENCE"]) == 1
    assert moved["LAST-MODIFIED"].dt == moved["DTSTAMP"].dt
    PlannedStep.objects.filter(pk=step.pk).update(status="cancelled", sequence=2)
    gone = read(path)[uid]
    assert (str(gone["STATUS"]), str(gone["TRANSP"])) == ("CANCELLED", "TRANSPARENT")
    assert str(gone["SUMMARY"]).startswith("CANCELLED: ")
    PlannedStep.objects.filter(pk=step.pk).update(changed_at=timezone.now() - timedelta(days=31))
    assert uid not in read(path)


def test_a_technicians_feed_says_the_drive(season: Season) -> None:
    person = Technician.objects.get(user__email="technician@demo.example")
    assert person.user is not None
    path = address("technician", "technician", technician=person)
    found = read(path)
    assert found
    texts = [str(item["DESCRIPTION"]) for item in found.values()]
    assert any(" mi, " in text and "Leave " in text for text in texts)
    assert any("Semen list: " in text and " straws at least" in text for text in texts)
    assert all(str(item["LOCATION"]) and "GEO" in item for item in found.values())
    person.user.distance_unit = "km"
    person.user.save()
    assert any(" km, " in str(item["DESCRIPTION"]) for item in read(path).values())


def test_a_closed_feed_says_so_for_two_weeks_and_is_gone_afterwards(season: Season) -> None:
    path = address("coop")
    FeedToken.objects.update(revoked_at=timezone.now())
    assert [str(item["SUMMARY"]) for item in read(path).values()] == ["This calendar feed is closed"]
    FeedToken.objects.update(revoked_at=timezone.now() - timedelta(days=15))
    assert Client().get(path).status_code == 410
    assert Client().get("/feeds/unknown.ics").status_code == 404


def test_a_feed_dies_with_the_membership(season: Season) -> None:
    path = address("herd", "rancher", herd=Herd.objects.get(ranch__slug="willow-draw"))
    assert len(read(path)) > 6
    Membership.objects.filter(user__email="rancher@demo.example").delete()
    assert len(read(path)) == 1


def test_the_token_is_kept_as_a_hash_and_the_fetch_is_noted(season: Season) -> None:
    path = address("coop")
    token = path.split("/")[-1].removesuffix(".ics")
    assert not FeedToken.objects.filter(token_hash__contains=token).exists()
    Client().get(path, headers={"User-Agent": "Calendar/7"})
    feed = FeedToken.objects.get()
    assert feed.last_client == "Calendar/7"
    assert feed.last_fetch_at is not None


def test_too_many_fetches_are_told_to_wait(season: Season) -> None:
    path = address("coop")
    answers = [Client().get(path).status_code for _ in range(61)]
    assert set(answers[:60]) == {200}
    late = Client().get(path)
    assert late.status_code == 429
    assert late["Retry-After"] == "3600"


def test_the_page_shows_an_address_once_and_only_what_one_may_see(season: Season) -> None:
    rancher = Client()
    rancher.force_login(member("rancher").user)
    page = rancher.get("/c/high-fork/feeds/").content.decode()
    assert "The whole co-op" not in page
    foreign = Herd.objects.get(ranch__slug="stone-corral")
    refused = rancher.post("/c/high-fork/feeds/", {"shows": f"herd:{foreign.pk}", "name": "x"})
    assert "Select a valid choice" in refused.content.decode()
    own = Herd.objects.get(ranch__slug="willow-draw")
    made = rancher.post("/c/high-fork/feeds/", {"shows": f"herd:{own.pk}", "name": "my phone"}).content.decode()
    link = made.split('id="address" value="')[1].split('"')[0]
    assert Client().get(urlsplit(link).path).status_code == 200
    assert "<svg" in made
    assert link not in rancher.get("/c/high-fork/feeds/").content.decode()


def test_zipped_bytes_have_a_strong_tag_of_their_own(season: Season) -> None:
    path = address("coop")
    plain = Client().get(path)
    zipped = Client().get(path, headers={"Accept-Encoding": "gzip"})
    assert zipped["Content-Encoding"] == "gzip"
    assert gzip.decompress(zipped.content) == plain.content
    assert len(zipped.content) * 5 < len(plain.content)
    assert zipped["ETag"] != plain["ETag"]
    assert not zipped["ETag"].startswith("W/")
    assert Client().get(path, headers={"Accept-Encoding": "gzip;q=0"}).content == plain.content
    for tag in (zipped["ETag"], plain["ETag"]):
        assert Client().get(path, headers={"If-None-Match": tag}).status_code == 304


def test_an_unchanged_feed_is_answered_without_its_rows(season: Season) -> None:
    for kind, subject in feed_kinds():
        path = address(kind, **subject)
        tag = Client().get(path)["ETag"]
        with CaptureQueriesContext(connection) as asked:
            assert Client().get(path, headers={"If-None-Match": tag}).status_code == 304
        rows = [
            query["sql"] for query in asked if "scheduling_booking" in query["sql"] or "plannedstep" in query["sql"]
        ]
        assert rows == []
        assert len(asked) <= 6


def feed_kinds() -> list[tuple[str, dict[str, Any]]]:
    """Every kind of feed with its subject."""
    technician = Technician.objects.get(user__email="technician@demo.example")
    return [
        ("coop", {}),
        ("herd", {"herd": Herd.objects.get(ranch__slug="willow-draw")}),
        ("technician", {"technician": technician}),
    ]


def test_publishing_a_change_turns_the_tag_over(season: Season) -> None:
    path = address("coop")
    before = Client().get(path)
    bump_calendar(season)
    same = Client().get(path, headers={"If-None-Match": before["ETag"]})
    assert same.status_code == 304  # told to look, and found nothing new
    step = PlannedStep.objects.filter(key="ai")[0]
    PlannedStep.objects.filter(pk=step.pk).update(head=step.head + 1, sequence=1, changed_at=timezone.now())
    bump_calendar(season)
    after = Client().get(path, headers={"If-None-Match": before["ETag"]})
    assert after.status_code == 200
    assert parse_http_date(after["Last-Modified"]) > parse_http_date(before["Last-Modified"])
    since = Client().get(path, headers={"If-Modified-Since": before["Last-Modified"]})
    assert since.status_code == 200


def test_a_tag_lasts_a_utc_day_so_that_a_client_that_lost_its_copy_is_served(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = address("coop")
    first = Client().get(path)
    tomorrow = timezone.now() + timedelta(days=1)
    stand_still(monkeypatch, tomorrow)
    again = Client().get(path, headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 200
    assert again.content == first.content
    assert again["Last-Modified"] == first["Last-Modified"]


def test_a_ranchs_new_name_counts_as_a_change_of_its_events(season: Season) -> None:
    refresh_places(now=timezone.now())
    path = address("coop")
    before, tag = read(path), Client().get(path)["ETag"]
    ranch = Ranch.objects.get(slug="willow-draw")
    ranch.directions = "By the new bridge"
    ranch.save()
    assert refresh_places(now=timezone.now() + timedelta(seconds=2)) == 1
    assert Client().get(path, headers={"If-None-Match": tag}).status_code == 200
    after = read(path)
    raised = {uid for uid, item in after.items() if int(item["SEQUENCE"]) == int(before[uid]["SEQUENCE"]) + 1}
    assert raised == {f"step-{step.pk}@localhost" for step in PlannedStep.objects.filter(ranch=ranch)} & set(after)
    assert all(after[uid]["DTSTAMP"].dt > before[uid]["DTSTAMP"].dt for uid in raised)


def test_a_ranchers_feed_says_what_not_to_do_and_what_comes(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    herd = Herd.objects.get(ranch__slug="willow-draw")
    path = address("herd", "rancher", herd=herd)
    ai = PlannedStep.objects.get(key="ai", lot=0, entry__group__name="Home cows", ranch=herd.ranch)
    day = ai.starts.astimezone(ZoneInfo(herd.ranch.zone)).date()
    later = ai.starts + timedelta(days=1)
    stand_still(monkeypatch, later)
    found = {uid.split("-")[0]: item for uid, item in read(path).items() if str(ai.pk) in uid}
    spans = {
        kind: ((item["DTSTART"].dt - day).days, (item["DTEND"].dt - day).days - 1)
        for kind, item in found.items()
        if kind != "step"
    }
    assert spans.pop("heat", (-10, 20)) == (-10, 20)
    after = {"feed": (-21, 21), "haul": (5, 44), "bulls": (10, 10), "check": (60, 60), "calving": (283, 283)}
    after |= {"heat_watch": (18, 23), "bulls_out": (70, 70)}
    assert {kind: span for kind, span in spans.items() if kind in after} == after
    assert all(days < (0, 0) for kind, days in spans.items() if kind not in after)
    assert all(str(found[kind]["TRANSP"]) == "TRANSPARENT" for kind in spans)
    assert "from day 45" in str(found["haul"]["DESCRIPTION"])
    assert "Watch the people" in str(found.get("heat", {"DESCRIPTION": "Watch the people"})["DESCRIPTION"])


def test_a_coordinators_feed_shows_each_days_load(season: Season) -> None:
    found = {uid: item for uid, item in read(address("coop")).items() if uid.startswith("load-")}
    zone = ZoneInfo(season.zone)
    bookings = list(Booking.objects.filter(entry__season=season, status="confirmed").select_related("technician"))
    assert len(found) == len({booking.starts.astimezone(zone).date() for booking in bookings})
    busiest = max(bookings, key=lambda booking: booking.head)
    day = busiest.starts.astimezone(zone).date()
    item = next(item for item in found.values() if item["DTSTART"].dt == day)
    mine = [
        row for row in bookings if row.technician == busiest.technician and row.starts.astimezone(zone).date() == day
    ]
    head = sum(row.head for row in mine if row.step == "ai")
    assert f"{busiest.technician.name}: {len(mine)} stop" in str(item["DESCRIPTION"])
    assert f"{head} of {busiest.technician.max_head_per_day} head of AI" in str(item["DESCRIPTION"])


def test_an_alarm_is_there_only_where_it_is_asked_for(season: Season) -> None:
    assert b"VALARM" not in Client().get(address("coop")).content
    _, token = make_feed(
        member=member("coordinator"), name="x", kind="coop", herd=None, technician=None, now=timezone.now(), alarm=180
    )
    content = Client().get(f"/feeds/{token}.ics").content
    events = events_in(content)
    timed = [item for item in events if str(item["UID"]).startswith("step-")]
    assert all(len(item.walk("VALARM")) == 1 for item in timed)
    alarm = timed[0].walk("VALARM")[0]
    assert (str(alarm["ACTION"]), alarm["TRIGGER"].dt) == ("DISPLAY", -timedelta(hours=3))
    assert str(alarm["DESCRIPTION"])
    assert IcsCalendarStream.calendar_from_ics(content.decode()).events


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_what_nobody_flags_we_look_for_ourselves(season: Season, kind: int) -> None:
    name, subject = feed_kinds()[kind]
    content = Client().get(address(name, **subject)).content
    assert content.count(b"\r\n") == content.count(b"\n") == content.count(b"\r")
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    assert b"METHOD" not in content
    assert b"ATTACH" not in content
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT1H\r\nX-PUBLISHED-TTL:PT1H\r\n" in content
    events = events_in(content)
    assert len({str(item["UID"]) for item in events}) == len(events) > 0
    for item in events:
        assert item["DTEND"].dt > item["DTSTART"].dt
        assert item["DTSTAMP"].dt == item["LAST-MODIFIED"].dt <= timezone.now()
        assert not {"DTSTAMP", "UID", "SUMMARY", "SEQUENCE", "STATUS"} - set(item)
    assert vobject.readOne(content.decode()).validate()
    assert len(IcsCalendarStream.calendar_from_ics(content.decode()).events) == len(events)


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_our_writer_says_what_the_library_says(season: Season, kind: int) -> None:
    name, subject = feed_kinds()[kind]
    content = Client().get(address(name, **subject)).content
    for item in events_in(content):
        theirs = icalendar.Event()
        for field, value in item.property_items(recursive=False, sorted=False):
            if field not in ("BEGIN", "END"):
                theirs.add(field, value)
        ours = written_event(content, str(item["UID"]))
        assert sorted(unfolded(theirs.to_ical())) == sorted(shortened(unfolded(ours))), item["UID"]


def written_event(content: bytes, uid: str) -> bytes:
    """The bytes of one event."""
    for piece in content.split(b"BEGIN:VEVENT\r\n")[1:]:
        body = piece.split(b"END:VEVENT\r\n")[0]
        if f"UID:{uid}".encode() in unfolded(body):
            return b"BEGIN:VEVENT\r\n" + body + b"END:VEVENT\r\n"
    raise AssertionError(uid)


def shortened(lines: list[bytes]) -> list[bytes]:
    """A position as the library writes it: without the zeros at its end."""
    return [re.sub(rb"(\.\d*?)0+(?=;|$)", rb"\1", line) if line.startswith(b"GEO:") else line for line in lines]


def unfolded(text: bytes) -> list[bytes]:
    """Content lines without their folds."""
    return text.replace(b"\r\n ", b"").split(b"\r\n")


TEXT = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=300)


@given(TEXT)
def test_any_text_survives_escaping_and_folding(text: str) -> None:
    line = folded(f"SUMMARY:{escaped(text)}")
    assert all(len(piece.encode()) <= 75 for piece in line.split("\r\n"))
    wrapped = f"BEGIN:VEVENT\r\nUID:1\r\n{line}END:VEVENT\r\n"
    assert str(icalendar.Event.from_ical(wrapped)["SUMMARY"]) == text
