"""Two lots of a group in calendars: told apart by words, under the UIDs they had, and nobody is written to for a word."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from herdplan.calendars import invitations, push
from herdplan.calendars.models import Attendance, CalendarChoice, FeedToken, Letter, OwnCollection, PushedItem
from herdplan.reminders.models import PersonSettings
from scheduling.models import Booking, PlannedStep
from scheduling.services import bump_calendar
from tests.factories.clock import stand_still
from tests.factories.feeds import give_feeds, read_feed
from tests.factories.published import DAY_0, Published, make_published

pytestmark = pytest.mark.django_db
NOW = DAY_0 - timedelta(days=30)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Published:
    """A published group, a month before its first step, with a feed of every kind."""
    stand_still(monkeypatch, NOW)
    made = make_published()
    give_feeds(made)
    return made


def cut_again(made: Published) -> None:
    """A second lot is published; the first keeps its hours and head, so that its rows are as they were."""
    made.cut(60, 60)
    bump_calendar(made.entry.season)


def ai(lot: int) -> tuple[str, str]:
    """UIDs of the lot's AI: the ranch's step and the technician's stop."""
    step, stop = PlannedStep.objects.get(key="ai", lot=lot), Booking.objects.get(step="ai", lot=lot)
    return f"step-{step.pk}@localhost", f"booking-{stop.pk}@localhost"


def test_every_feed_says_which_lot(made: Published) -> None:
    whole = {name: read_feed(name) for name in ("technician", "herd", "coop")}
    assert not any("lot" in str(item["SUMMARY"]) for feed in whole.values() for item in feed.values())
    cut_again(made)
    for lot in (0, 1):
        step, stop = ai(lot)
        words, item = f"lot {lot + 1} of 2", read_feed("technician")[stop]
        assert str(item["SUMMARY"]) == f"Willow Draw: Timed AI + GnRH at AI, 60 head, Willow, {words}"
        assert f"60 head, Willow (cows, {words})." in str(item["DESCRIPTION"])
        assert f"one a head, for Willow, {words}; count them" in str(item["DESCRIPTION"])
        mine, all_of_them = read_feed("herd")[step], read_feed("coop")[step]
        assert str(mine["SUMMARY"]) == f"Timed AI + GnRH at AI: 60 head, Willow, {words}"
        assert f"60 head, Willow (cows, {words}), Willow Draw." in str(mine["DESCRIPTION"])
        assert str(all_of_them["SUMMARY"]) == f"Willow Draw: {mine['SUMMARY']}"
    for name, feed in whole.items():
        for uid, item in feed.items():
            now = read_feed(name)[uid]  # under its UID, and no newer version for a word
            assert (now["SEQUENCE"], now["DTSTAMP"].dt) == (item["SEQUENCE"], item["DTSTAMP"].dt)
            assert "lot 1 of 2" in str(now["SUMMARY"])


def test_a_feed_says_it_in_its_owner_s_language(made: Published) -> None:
    PersonSettings.objects.create(user=made.worker, language="es")
    made.cut(13, 47)
    bump_calendar(made.entry.season)
    said = sorted(str(item["SUMMARY"]) for item in read_feed("technician").values())
    assert [text.rpartition(", ")[2] for text in said] == ["lote 1 de 2", "lote 2 de 2"]
    assert "(vacas, lote 1 de 2)" in str(read_feed("technician")[ai(0)[1]]["DESCRIPTION"])


def test_what_was_called_off_is_called_off_under_its_lot(made: Published) -> None:
    made.cut(13, 47)
    for model in (PlannedStep, Booking):
        model.objects.filter(lot=1).update(status="cancelled", sequence=1, changed_at=NOW)
    bump_calendar(made.entry.season)
    kept, gone = (read_feed("herd")[ai(lot)[0]] for lot in (0, 1))
    assert str(kept["SUMMARY"]) == "Timed AI + GnRH at AI: 13 head, Willow"
    assert str(gone["SUMMARY"]) == "CANCELLED: Timed AI + GnRH at AI: 47 head, Willow, lot 2 of 2"
    for model in (PlannedStep, Booking):
        model.objects.update(status="cancelled", sequence=2, changed_at=NOW)
    bump_calendar(made.entry.season)
    assert "lot 1 of 2" in str(read_feed("technician")[ai(0)[1]]["SUMMARY"])


def test_lots_cost_a_feed_no_query_more(made: Published) -> None:
    def asked(name: str) -> int:
        FeedToken.objects.update(built_for="")
        with CaptureQueriesContext(connection) as queries:
            read_feed(name)
        return len(queries)

    before = {name: asked(name) for name in ("technician", "herd", "coop")}
    made.cut(13, 13, 13, 13, 8, apart=timedelta(hours=2))
    bump_calendar(made.entry.season)
    assert {name: asked(name) for name in before} == before


def test_nobody_is_invited_again_for_a_word(made: Published) -> None:
    CalendarChoice.objects.create(user=made.rancher, channel="invitations")
    CalendarChoice.objects.create(user=made.worker, channel="invitations")
    first = invitations.sweep(now=NOW)
    assert first == 4  # three trips of the ranch and the technician's stop
    assert not Attendance.objects.filter(summary__contains="lot").exists()
    cut_again(made)
    assert invitations.sweep(now=NOW) == first  # the other lot's, and only those
    assert invitations.sweep(now=NOW) == 0
    assert Letter.objects.count() == 2 * first
    assert Letter.objects.exclude(sequence=0).count() == 0
    asked = {row.uid: row.summary for row in Attendance.objects.all()}
    assert all(asked[uid].endswith("lot 2 of 2") for uid in ai(1))
    assert not any("lot" in asked[uid] for uid in ai(0))
    # What is told anyhow is told with the word.
    for model in (PlannedStep, Booking):
        model.objects.filter(lot=0).update(head=55, sequence=1)
    assert invitations.sweep(now=NOW) == first
    asked = {row.uid: row.summary for row in Attendance.objects.all()}
    assert all(asked[uid].endswith("lot 1 of 2") for uid in ai(0))
    letter = Letter.objects.select_related("message").get(attendance__uid=ai(0)[1], sequence=1)
    assert letter.message is not None
    assert "lot 1 of 2" in letter.message.subject
    assert "(cows, lot 1 of 2)" in letter.message.body


def test_nothing_is_written_again_into_an_own_calendar_for_a_word(made: Published) -> None:
    CalendarChoice.objects.create(user=made.worker, channel="push")
    OwnCollection.objects.create(user=made.worker, address="https://calendar.example.org/a/", username="a", secret="-")
    assert push.sweep(now=NOW) == 1
    cut_again(made)
    assert push.sweep(now=NOW) == 1
    assert push.sweep(now=NOW) == 0
    texts = {item.uid: item.text.replace("\r\n ", "") for item in PushedItem.objects.all()}
    assert "lot" not in texts[ai(0)[1]]
    assert "60 head\\, Willow\\, lot 2 of 2" in texts[ai(1)[1]]
