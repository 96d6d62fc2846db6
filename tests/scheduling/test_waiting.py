"""What is said at the chute of whoever has to wait: from published rows, as they were done, by the hours in force."""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone, translation

from accounts.tenancy import member_in
from scheduling.models import Booking, PlannedStep, ProtocolAdjustment
from scheduling.services import record_step
from scheduling.services.waiting import Wait, session_at, session_of, wait_words, waits_at
from tests.factories.published import DAY_0, ZONE, Published, make_published

pytestmark = pytest.mark.django_db
SPLIT = "cow_7d_cosynch_insert_split"
EARLY = timedelta(minutes=-95)


@pytest.fixture
def made() -> Published:
    """Split-time AI: treated on Mon 10 May, 16:00 to 18:00; the first session at 08:25, 64 h 25 min after the first female."""
    made = make_published(protocol=SPLIT)
    made.move("ai1", EARLY, DAY_0)
    return made


def said(key: str = "ai1", lot: int = 0) -> str:
    """What people are told at a lot's session."""
    session = session_of(PlannedStep.objects.get(key=key, lot=lot))
    words = wait_words(waits_at([session]).get(session))
    return str(words) if words else ""


def test_the_last_of_the_lot_is_told_by_the_ranch_s_clock(made: Published) -> None:
    assert said() == (
        "Bring them in the order in which they had PG. Inseminate nobody less than 64 h after her own PG: the last treated not before 10:00."
    )
    assert said("ai2") == ""  # 90 h, and 86 have passed for everybody
    assert said("pg") == ""
    stop = session_at(Booking.objects.get(step="ai1"))
    assert waits_at([stop])[stop].until == datetime(2027, 5, 13, 10, 0, tzinfo=ZONE)


def test_an_order_that_nobody_promised_is_not_asked_for(made: Published) -> None:
    made.entry.order = "any"
    made.entry.save()
    assert said() == "Inseminate nobody less than 64 h after her own PG: the last treated not before 10:00."


def test_nothing_is_said_where_everybody_has_her_hours_or_the_whole_lot_comes(made: Published) -> None:
    made.move("ai1", timedelta(minutes=91), DAY_0)  # her own two minutes and two of rounding
    assert said() == ""
    made.move("ai1", timedelta(minutes=-1), DAY_0)
    assert "not before 10:00" in said()
    whole = make_published("south", "cow_7d_cosynch_insert")
    whole.move("ai", timedelta(hours=-4), DAY_0)
    session = session_of(whole.step("ai"))
    with CaptureQueriesContext(connection) as asked:
        assert waits_at([session]) == {}
    assert len(asked) == 0


def test_timed_ai_of_those_not_seen_in_heat_is_such_a_session_too() -> None:
    made = make_published(protocol="cow_select_synch_tai")
    assert said("ai") == ""  # 78 h
    made.move("ai", timedelta(hours=-5), DAY_0)
    assert "Inseminate nobody less than 72 h after her own PG: the last treated not before" in said("ai")


def test_the_day_is_named_where_it_is_not_the_session_s() -> None:
    """Treated from 07:00 to 09:00: for the last it is 01:00 on the day after a session that begins at 22:30."""
    made = make_published(protocol=SPLIT, start=datetime(2027, 5, 3, 7, 0, tzinfo=ZONE))
    made.move("ai1", timedelta(hours=-2, minutes=-30), DAY_0)
    assert said().endswith("the last treated not before Thu 01:00.")


def test_hours_are_elapsed_over_a_change_of_the_clock() -> None:
    """Treated on Fri 12 March 2027 until 18:00 mountain time; the clock goes forward on Sunday."""
    made = make_published(protocol=SPLIT, start=datetime(2027, 3, 5, 16, 0, tzinfo=ZONE))
    made.move("ai1", EARLY, DAY_0)
    assert made.step("ai1").starts.astimezone(ZONE).strftime("%a %H:%M") == "Mon 09:25"
    assert said().endswith("not before 11:00.")


def test_each_lot_has_its_own_hour(made: Published) -> None:
    made.cut(30, 30, apart=timedelta(hours=3))
    assert said(lot=0).endswith("not before 10:00.")
    assert said(lot=1).endswith("not before 13:00.")


def test_what_was_done_counts_from_when_it_was_done(made: Published) -> None:
    made.cut(30, 30, apart=timedelta(hours=3))
    pg = PlannedStep.objects.get(key="pg", lot=0).starts
    member = member_in(made.rancher, "north")

    def tick(late: timedelta) -> None:
        at = pg + late
        record_step(member=member, entry=made.entry, step="out", at=at, now=at)

    tick(timedelta(minutes=20))
    assert said(lot=0).endswith("not before 10:20.")
    assert said(lot=1).endswith("not before 13:20.")
    tick(timedelta(hours=-2))
    assert said(lot=0) == ""
    assert PlannedStep.objects.get(key="pg", lot=0).starts == pg  # the planned hour stays in the row


def test_hours_in_force_are_the_co_op_s_own(made: Published) -> None:
    values: dict[str, Any] = {"protocol": SPLIT, "min_h": 65, "target_h": 66, "max_h": 68, "reason": "our adviser"}
    ours = ProtocolAdjustment.objects.create(cooperative=made.coop, step="ai1", **values)
    other = make_published("south", SPLIT)
    ProtocolAdjustment.objects.create(cooperative=other.coop, step="ai2", **{**values, "min_h": 89.5})
    session = session_of(made.step("ai1"))
    assert str(wait_words(waits_at([session])[session])).endswith(
        "Inseminate nobody less than 65 h after her own PG: the last treated not before 11:00."
    )
    theirs = session_of(other.step("ai2"))
    assert str(wait_words(waits_at([theirs])[theirs])).endswith(
        "less than 89.5 h after her own PG: the last treated not before 11:30."
    )
    ours.withdrawn_at = timezone.now()
    ours.save()
    assert waits_at([session])[session].hours == 64


def test_a_treatment_that_was_called_off_says_nothing(made: Published) -> None:
    made.cancel("pg", DAY_0)
    assert said() == ""


def test_many_sessions_are_one_query(made: Published) -> None:
    made.cut(20, 20, 20)
    other = make_published("south", "cow_select_synch_tai")
    other.move("ai", timedelta(hours=-5), DAY_0)
    sessions = [session_of(step) for step in PlannedStep.objects.select_related("entry", "ranch")]
    with CaptureQueriesContext(connection) as asked:
        found = waits_at(sessions)
    assert len(asked) == 1
    assert sorted((row.key, row.lot) for row in found) == [("ai", 0), ("ai1", 0), ("ai1", 1), ("ai1", 2)]


def test_the_words_in_another_language() -> None:
    until = datetime(2027, 5, 13, 8, 25, tzinfo=UTC).astimezone(ZoneInfo("UTC"))
    with translation.override("es"):
        words = wait_words(Wait(64, until, False, True))
        assert str(words) == (
            "Tráigalas en el orden en que recibieron la PG. "
            "No insemine a ninguna antes de 64 h de su propia PG; la última tratada, desde esta hora: 08:25."
        )
        assert words is not None
        assert (words.hour, words.after) == ("08:25", ".")  # a page sets it bold
        assert str(wait_words(Wait(86.5, until, True, False))) == (
            "No insemine a ninguna antes de 86.5 h de su propia PG; la última tratada, desde esta hora: jue 08:25."
        )
        assert wait_words(None) is None
