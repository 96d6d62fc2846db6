"""Feeds over HTTP: conditional requests, moved and cancelled steps, revocation, who may have which."""

from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import icalendar
import pytest
from django.test import Client
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from accounts.models import Membership, User
from accounts.tenancy import Member, member_in
from herdplan.calendars.models import FeedToken
from herdplan.calendars.services import make_feed
from herdplan.calendars.writer import escaped, folded
from herdplan.herds.models import Herd
from herdplan.technicians.models import Technician
from scheduling.models import PlannedStep, Season
from tests.factories.demo import published_demo

pytestmark = pytest.mark.django_db


@pytest.fixture
def season() -> Season:
    """The published demo, with the season's first step in ten days so that the feed's window holds it."""
    return published_demo(rounds=1)


def member(role: str) -> Member:
    """The demo's person of that role."""
    return member_in(User.objects.get(email=f"{role}@demo.example"), "high-fork")


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
    assert len(found) == trips.count() == 6
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
    found = read(address("technician", "technician", technician=person))
    assert found
    assert any("km" in str(item["DESCRIPTION"]) for item in found.values())


def test_a_closed_feed_says_so_for_two_weeks_and_is_gone_afterwards(season: Season) -> None:
    path = address("coop")
    FeedToken.objects.update(revoked_at=timezone.now())
    assert [str(item["SUMMARY"]) for item in read(path).values()] == ["This calendar feed is closed"]
    FeedToken.objects.update(revoked_at=timezone.now() - timedelta(days=15))
    assert Client().get(path).status_code == 410
    assert Client().get("/feeds/unknown.ics").status_code == 404


def test_a_feed_dies_with_the_membership(season: Season) -> None:
    path = address("herd", "rancher", herd=Herd.objects.get(ranch__slug="willow-draw"))
    assert len(read(path)) == 6
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


TEXT = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=300)


@given(TEXT)
def test_any_text_survives_escaping_and_folding(text: str) -> None:
    line = folded(f"SUMMARY:{escaped(text)}")
    assert all(len(piece.encode()) <= 75 for piece in line.split("\r\n"))
    wrapped = f"BEGIN:VEVENT\r\nUID:1\r\n{line}END:VEVENT\r\n"
    assert str(icalendar.Event.from_ical(wrapped)["SUMMARY"]) == text
