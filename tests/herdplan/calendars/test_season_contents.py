"""Dated items, planned moves and orders in feeds, as the icalendar library reads them: moved shows moved, dropped cancelled."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import icalendar
import pytest
import vobject
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from ical.calendar_stream import IcsCalendarStream

from accounts.models import User
from accounts.tenancy import member_in
from herdplan.calendars.services import make_feed
from scheduling.models import GroupCare, ItemAct, PlannedMove, PlannedStep, SeasonEntry
from scheduling.services import bump_calendar
from scheduling.services.item_acts import drop_item, move_item, put_back, save_care, tick
from scheduling.services.planned_moves import drafted, save_move, withdraw_move
from scheduling.services.season_basis import published
from scheduling.services.season_items import SeasonItem, items_of
from tests.factories.clock import stand_still
from tests.factories.people import make_entry, make_group
from tests.factories.published import ZONE, Published, make_published

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 3, 25, 15, tzinfo=UTC)
AI = date(2027, 5, 13)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Published:
    """A published group, seen seven weeks before its AI."""
    stand_still(monkeypatch, NOW)
    return make_published()


def address(made: Published, kind: str = "herd", user: User | None = None) -> str:
    """The path of a new feed."""
    herd = made.entry.group.herd if kind == "herd" else None
    person = made.technician if kind == "technician" else None
    owner = member_in(user or (made.rancher if kind == "herd" else made.coordinator), "north")
    _, token = make_feed(member=owner, name="x", kind=kind, herd=herd, technician=person, now=timezone.now())
    return f"/feeds/{token}.ics"


def walked(content: bytes) -> list[Any]:
    """The events as the library reads them."""
    return list(icalendar.Calendar.from_ical(content).walk("VEVENT"))


def orders_in(content: bytes) -> dict[str, Any]:
    """Events of what is to be ordered, by their titles."""
    return {str(event["SUMMARY"]): event for event in walked(content) if "orders" in str(event["UID"])}


def read(path: str) -> dict[str, Any]:
    """The feed's events by the first part of their UIDs; the bytes pass two more readers."""
    content = Client().get(path).content
    events = walked(content)
    assert vobject.readOne(content.decode()).validate()
    assert len(IcsCalendarStream.calendar_from_ics(content.decode()).events) == len(events)
    assert len({str(event["UID"]) for event in events}) == len(events)
    return {str(event["UID"]).partition("-")[0]: event for event in events}


def item(made: Published, key: str) -> SeasonItem:
    """One item, read anew."""
    (basis,) = published(PlannedStep.objects.filter(entry=made.entry))
    return {row.key: row for row in items_of(basis)}[key]


def act(made: Published, key: str) -> dict[str, Any]:
    """What the services ask for."""
    return {
        "member": member_in(made.rancher, "north"),
        "entry": made.entry,
        "item": item(made, key),
        "now": timezone.now(),
    }


def test_a_herds_feed_holds_what_to_prepare_and_what_comes_after(made: Published) -> None:
    found = read(address(made))
    assert {
        "semen",
        "drugs",
        "nitrogen",
        "facility",
        "crew",
        "count",
        "ration",
        "boosters",
        "bull_exam",
        "open",
    } <= set(found)
    assert {"feed", "haul", "heat_watch", "bulls", "bulls_out", "check", "calving", "score_again"} <= set(found)
    assert not {"haul_now", "haul_care"} & set(found)  # the band between them says both
    anchor = made.step("ai")
    for key in ("semen", "haul", "check"):
        event = found[key]
        assert str(event["UID"]) == f"{key}-{anchor.pk}@localhost"
        assert (int(event["SEQUENCE"]), str(event["STATUS"]), str(event["TRANSP"])) == (0, "CONFIRMED", "TRANSPARENT")
        assert event["DTSTAMP"].dt == event["LAST-MODIFIED"].dt == anchor.changed_at.replace(microsecond=0)
    band = found["haul"]
    assert (band["DTSTART"].dt, band["DTEND"].dt) == (AI + timedelta(days=5), AI + timedelta(days=45))
    assert "from day 45 (Sun 27 Jun 2027)" in str(band["DESCRIPTION"])
    bulls = str(found["bulls"]["DESCRIPTION"])
    assert "32 of 60 are expected open: 1 to 2 bulls at 25 to 35 females each." in bulls
    assert all(
        f"By {way} from " in str(found["check"]["DESCRIPTION"])
        for way in ("ultrasound scan", "palpation", "blood test")
    )
    # A window of two weeks and less spans its days; a longer one stands on its first day and says its last.
    semen, boosters = found["semen"], found["boosters"]
    assert semen["DTEND"].dt - semen["DTSTART"].dt == timedelta(days=15)
    assert boosters["DTEND"].dt - boosters["DTSTART"].dt == timedelta(days=1)
    assert str(boosters["SUMMARY"]) == "Boosters: Willow, by 13 Apr 2027"


def test_moved_shows_moved_dropped_cancelled_and_back_stands_again(made: Published) -> None:
    path = address(made)
    tag = Client().get(path)["ETag"]
    day = date(2027, 4, 12)
    move_item(**act(made, "score_again"), day=day, reason="branding then")
    assert Client().get(path, headers={"If-None-Match": tag}).status_code == 200
    moved = read(path)["score_again"]
    assert (moved["DTSTART"].dt, moved["DTEND"].dt, int(moved["SEQUENCE"])) == (day, day + timedelta(days=1), 1)
    assert moved["LAST-MODIFIED"].dt == NOW
    assert "by the rules it is due from 1 Apr 2027 to 8 Apr 2027" in str(moved["DESCRIPTION"])
    assert "branding" not in str(moved["DESCRIPTION"])  # reasons stay on the page
    drop_item(**act(made, "score_again"), reason="scored already")
    gone = read(path)["score_again"]
    assert (str(gone["STATUS"]), int(gone["SEQUENCE"])) == ("CANCELLED", 2)
    assert str(gone["SUMMARY"]).startswith("CANCELLED: ")
    put_back(**act(made, "score_again"))
    back = read(path)["score_again"]
    assert (str(back["STATUS"]), int(back["SEQUENCE"]), back["DTSTART"].dt) == ("CONFIRMED", 3, date(2027, 4, 1))
    tick(**act(made, "score_again"))
    done = read(path)["score_again"]
    assert str(done["SUMMARY"]) == "✓ Done: Score condition again: Willow"
    assert int(done["SEQUENCE"]) == 4
    assert int(read(path)["semen"]["SEQUENCE"]) == 0  # the others did not change


def test_what_was_dropped_a_month_ago_is_gone(made: Published, monkeypatch: pytest.MonkeyPatch) -> None:
    drop_item(**act(made, "check"), reason="sold before then")
    assert str(read(address(made))["check"]["STATUS"]) == "CANCELLED"
    stand_still(monkeypatch, NOW + timedelta(days=32))
    assert "check" not in read(address(made))


def test_a_replanned_ai_day_moves_all_of_it_and_a_cancelled_one_cancels_it(made: Published) -> None:
    path = address(made)
    before = read(path)
    made.move("ai", timedelta(days=3), NOW)
    bump_calendar(made.entry.season)
    after = read(path)
    for key in ("semen", "boosters", "haul", "bulls", "check", "calving"):
        assert after[key]["DTSTART"].dt - before[key]["DTSTART"].dt == timedelta(days=3), key
        assert int(after[key]["SEQUENCE"]) == 1
        assert str(after[key]["UID"]) == str(before[key]["UID"])
    made.cancel("ai", NOW)
    bump_calendar(made.entry.season)
    gone = read(path)
    assert all(str(gone[key]["STATUS"]) == "CANCELLED" for key in ("semen", "haul", "bulls", "calving"))


def test_wishes_raise_the_sequence_of_what_they_move(made: Published) -> None:
    path = address(made)
    member = member_in(made.rancher, "north")
    save_care(member=member, entry=made.entry, values={"check_way": "palpation", "tell_apart": True}, now=NOW)
    found = read(path)
    assert (found["check"]["DTSTART"].dt, int(found["check"]["SEQUENCE"])) == (AI + timedelta(days=42), 1)
    assert found["bulls"]["DTSTART"].dt == AI + timedelta(days=14)
    save_care(member=member, entry=SeasonEntry.objects.get(), values={"bulls": False}, now=NOW)
    assert not {"bulls", "bulls_out", "bull_exam"} & set(read(path))


def test_a_planned_move_stands_at_its_hour_moves_and_is_cancelled(made: Published) -> None:
    path, member = address(made), member_in(made.rancher, "north")
    (basis,) = published(PlannedStep.objects.all())
    typed = {
        "kind": "haul",
        "day": AI + timedelta(days=20),
        "origin": "home",
        "goal": "hills",
        "begins": time(5),
        "ends": time(8),
    }
    move = save_move(
        member=member, entry=made.entry, move=drafted(entry=made.entry, basis=basis, values=typed), now=NOW
    )
    event = read(path)["move"]
    assert event["DTSTART"].dt == datetime(2027, 6, 2, 5, tzinfo=ZONE)
    assert event["DTEND"].dt == datetime(2027, 6, 2, 8, tzinfo=ZONE)
    assert str(event["SUMMARY"]) == "! Haul or move cattle: Willow"
    assert "home to hills: day 20 after AI. Do not haul" in str(event["DESCRIPTION"])
    assert (str(event["UID"]), int(event["SEQUENCE"])) == (f"move-{move.pk}@localhost", 0)
    move.day = AI + timedelta(days=2)
    save_move(member=member, entry=made.entry, move=move, now=NOW)
    event = read(path)["move"]
    assert (event["DTSTART"].dt, int(event["SEQUENCE"])) == (datetime(2027, 5, 15, 5, tzinfo=ZONE), 1)
    assert str(event["SUMMARY"]) == "Haul or move cattle: Willow"
    withdraw_move(member=member, move=PlannedMove.objects.get(), now=NOW)
    event = read(path)["move"]
    assert (str(event["STATUS"]), int(event["SEQUENCE"])) == ("CANCELLED", 2)


def test_a_coordinator_sees_orders_and_a_technician_neither(made: Published) -> None:
    found = read(address(made, "coop"))
    assert "semen" not in found
    assert "haul" not in found
    content = Client().get(address(made, "coop")).content
    orders = orders_in(content)
    assert set(orders) == {
        "Order semen: 1 group, 60 head",
        "Order drugs and supplies: 1 group, 60 head",
        "Fill the semen tank: 1 group, 60 head",
    }
    semen = orders["Order semen: 1 group, 60 head"]
    assert semen["DTSTART"].dt == item(made, "semen").first
    assert "Willow Draw, Willow: 60 head, by " in str(semen["DESCRIPTION"])
    assert set(read(address(made, "technician", made.worker))) == {"booking"}
    path = address(made, "coop")
    before = Client().get(path)
    stamp = int(semen["SEQUENCE"])
    tick(**{**act(made, "drugs"), "now": NOW + timedelta(minutes=3)})
    content = Client().get(path, headers={"If-None-Match": before["ETag"]}).content
    later = orders_in(content)
    assert "Order drugs and supplies: 1 group, 60 head" not in later
    assert int(later["Order semen: 1 group, 60 head"]["SEQUENCE"]) > stamp


def more_groups(made: Published, count: int) -> None:
    """More groups of the herd, with wishes, acts and moves."""
    step = made.step("ai")
    for _ in range(count):
        entry = make_entry(made.entry.season, make_group(made.entry.group.herd, head=40))
        row = {"entry": entry, "ranch": made.ranch, "lot": 0, "key": "ai", "head": 40, "changed_at": NOW}
        PlannedStep.objects.create(**row, starts=step.starts, ends=step.ends)
        ItemAct.objects.create(entry=entry, item="semen", kind="done", by=made.rancher, at=NOW)
        GroupCare.objects.create(entry=entry)
        PlannedMove.objects.create(entry=entry, kind="haul", day=AI, origin="a", goal="b", changed_at=NOW)


@pytest.mark.parametrize("kind", ["herd", "coop"])
def test_a_feed_asks_the_database_a_constant_number_of_times(made: Published, kind: str) -> None:
    counts = []
    for more in (1, 6):
        more_groups(made, more)
        path = address(made, kind)
        with CaptureQueriesContext(connection) as asked:
            assert Client().get(path).status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]
