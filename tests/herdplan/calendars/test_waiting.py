"""Who has to wait at AI to which only some come, in calendars: both languages, as it was done, and no mail for a word."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.tenancy import member_in
from herdplan.calendars import invitations, push
from herdplan.calendars.models import CalendarChoice, FeedToken, Letter, OwnCollection, PushedItem
from herdplan.reminders.models import PersonSettings
from scheduling.models import Booking, PlannedStep
from scheduling.services import adjust, bump_calendar, record_step, undo_record, withdraw_adjustment
from tests.factories.clock import stand_still
from tests.factories.feeds import give_feeds, read_feed
from tests.factories.published import DAY_0, Published, make_published

pytestmark = pytest.mark.django_db
NOW = DAY_0 - timedelta(days=30)
SPLIT = "cow_7d_cosynch_insert_split"
FEEDS = ("technician", "herd", "coop")
SAID = (
    "Bring them in the order in which they had PG. "
    "Inseminate nobody less than 64 h after her own PG: the last treated not before 10:00."
)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Published:
    """Split-time AI with a feed of every kind; the first session begins while the last treated must still wait."""
    stand_still(monkeypatch, NOW)
    made = make_published(protocol=SPLIT)
    for model in (PlannedStep, Booking):
        for row in model.objects.filter(**{"key" if model is PlannedStep else "step": "ai1"}):
            row.starts, row.ends = row.starts - timedelta(minutes=95), row.ends - timedelta(minutes=95)
            if isinstance(row, Booking):
                row.busy_starts, row.busy_ends = row.starts - timedelta(hours=1), row.ends
            row.save()
    give_feeds(made)
    return made


def told(name: str, key: str = "ai1") -> str:
    """The description of a session in a feed."""
    row: Any = Booking.objects.get(step=key) if name == "technician" else PlannedStep.objects.get(key=key)
    return str(read_feed(name)[f"{'booking' if name == 'technician' else 'step'}-{row.pk}@localhost"]["DESCRIPTION"])


def test_every_feed_says_it_at_the_session_alone(made: Published) -> None:
    for name in FEEDS:
        lines = told(name).split("\n")
        assert lines.count(SAID) == 1
        assert lines[0].startswith("Thursday 13 May 2027, 08:25")
        assert lines.index(SAID) == next(i for i, line in enumerate(lines) if line.startswith("60 head")) + 1
        assert sum("Inseminate nobody" in str(item["DESCRIPTION"]) for item in read_feed(name).values()) == 1


def test_feeds_say_it_in_their_owners_language(made: Published) -> None:
    for user in (made.worker, made.rancher):
        PersonSettings.objects.create(user=user, language="es")
    words = (
        "Tráigalas en el orden en que recibieron la PG. "
        "No insemine a ninguna antes de 64 h de su propia PG; la última tratada, desde esta hora: 10:00."
    )
    assert words in told("technician")
    assert words in told("herd")
    assert SAID in told("coop")


def test_what_is_ticked_off_moves_the_hour_and_no_version(made: Published) -> None:
    """Feeds that were built before are built anew, also when the tick is taken back."""
    before = {name: read_feed(name) for name in FEEDS}
    member, at = member_in(made.rancher, "north"), made.step("out").starts + timedelta(minutes=20)
    record_step(member=member, entry=made.entry, step="out", at=at, now=at)
    for name in FEEDS:
        assert SAID.replace("10:00", "10:20") in told(name)
        for uid, item in read_feed(name).items():
            same = before[name][uid]
            assert (item["SEQUENCE"], item["DTSTAMP"].dt) == (same["SEQUENCE"], same["DTSTAMP"].dt)
    undo_record(member=member, entry=made.entry, step="out", now=at)
    assert all(SAID in told(name) for name in FEEDS)


def test_hours_that_the_co_op_adjusts_are_told_at_once(made: Published) -> None:
    assert all(SAID in told(name) for name in FEEDS)
    member = member_in(made.coordinator, "north")
    row = adjust(
        member=member, protocol=SPLIT, step="ai1", min_h=65.5, target_h=66, max_h=68, reason="our adviser", now=NOW
    )
    assert all("less than 65.5 h after her own PG: the last treated not before 11:30." in told(name) for name in FEEDS)
    withdraw_adjustment(member=member, row=row, now=NOW)
    assert all(SAID in told(name) for name in FEEDS)


def test_what_is_called_off_says_nothing(made: Published) -> None:
    for model in (PlannedStep, Booking):
        model.objects.update(status="cancelled", sequence=1, changed_at=NOW)
    bump_calendar(made.entry.season)
    assert all("Inseminate nobody" not in told(name) for name in FEEDS)


def test_it_is_one_query_a_feed_however_many_lots_and_none_without_such_a_session(made: Published) -> None:
    def asked(name: str) -> tuple[int, int]:
        """Queries of a feed that is built anew, and those of them for who has to wait."""
        FeedToken.objects.update(built_for="")
        with CaptureQueriesContext(connection) as queries:
            read_feed(name)
        return len(queries), sum("scheduling_protocoladjustment" in item["sql"] for item in queries)

    one = [asked(name) for name in FEEDS]
    assert [waits for _, waits in one] == [1, 1, 1]
    made.cut(13, 13, 13, 13, 8)
    bump_calendar(made.entry.season)
    assert [asked(name) for name in FEEDS] == one
    made.entry.protocol = "cow_7d_cosynch_insert"
    made.entry.save()
    assert [asked(name)[1] for name in FEEDS] == [0, 0, 0]


def test_letters_say_it_and_nobody_is_written_to_again_when_it_changes(made: Published) -> None:
    CalendarChoice.objects.create(user=made.rancher, channel="invitations")
    CalendarChoice.objects.create(user=made.worker, channel="push")
    OwnCollection.objects.create(user=made.worker, address="https://calendar.example.org/a/", username="a", secret="-")
    assert invitations.sweep(now=NOW) == 4  # the ranch's trips
    assert push.sweep(now=NOW) == 2  # the technician's sessions
    bodies = [letter.message.body for letter in Letter.objects.select_related("message") if letter.message]
    assert sum(SAID in body for body in bodies) == 1
    texts = [item.text.replace("\r\n ", "") for item in PushedItem.objects.all()]
    assert sum("the last treated not before 10:00." in text for text in texts) == 1
    at = made.step("out").starts + timedelta(minutes=20)
    record_step(member=member_in(made.rancher, "north"), entry=made.entry, step="out", at=at, now=at)
    assert SAID.replace("10:00", "10:20") in told("herd")
    assert (invitations.sweep(now=NOW), push.sweep(now=NOW)) == (0, 0)
