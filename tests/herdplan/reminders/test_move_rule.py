"""Planned hauls and changes of feed: reminded of on the evening before, held against the days around AI and the heat."""

from datetime import date, datetime, time, timedelta
from datetime import timezone as utc

import pytest
from django.core import mail
from django.utils import translation

from accounts.tenancy import member_in
from herdplan.reminders.models import OutboxMessage, PersonSettings
from herdplan.reminders.services import run_once, sweep, sweep_where_due
from scheduling.models import PlannedMove
from scheduling.services.planned_moves import save_move, withdraw_move
from scheduling.services.weather import save_normals
from tests.factories.published import ZONE, Published, make_published

pytestmark = pytest.mark.django_db
AI = date(2027, 5, 13)


def planned(made: Published, day: date, kind: str = "haul", begins: time = time(13), **fields: bool) -> PlannedMove:
    """A move that the rancher typed some weeks before."""
    move = PlannedMove(
        entry=made.entry, kind=kind, day=day, begins=begins, ends=time(16), origin="Home", goal="Hill", **fields
    )
    return save_move(member=member_in(made.rancher, "north"), entry=made.entry, move=move, now=evening(day, 20))


def evening(day: date, before: int = 1) -> datetime:
    """Half past five at the ranch, some days before."""
    return datetime.combine(day - timedelta(days=before), time(17, 30), ZONE)


def rows(made: Published) -> list[OutboxMessage]:
    """Live messages about moves."""
    return list(OutboxMessage.objects.filter(purpose="planned move").exclude(state="cancelled").order_by("due", "user"))


def told(made: Published, move: PlannedMove) -> OutboxMessage:
    """The one message about a move, as swept two days before."""
    sweep(now=evening(move.day, 2))
    (row,) = [row for row in rows(made) if row.about == move.pk]
    return row


def test_a_move_is_reminded_of_on_the_evening_before_to_the_ranch_alone() -> None:
    made = make_published()
    row = told(made, planned(made, AI + timedelta(days=2)))
    assert (row.user, row.due) == (made.rancher, evening(AI + timedelta(days=2)))
    assert row.expires == datetime.combine(AI + timedelta(days=2), time(13), ZONE)
    assert row.subject == "Sat 15 May, 13:00: Haul or move cattle, Willow"
    assert "Willow, Willow Draw: 60 head." in row.body
    assert "Sat 15 May, 13:00 to about 16:00: from Home to Hill." in row.body
    assert "The days around AI say nothing against it." in row.body
    assert "The heat of that day is not known here" in row.body


def test_a_haul_in_the_closed_days_and_into_heat_is_warned_of() -> None:
    """Days 5 to 44 are closed (see the kernel's bands); at 38 C with 40 % any index calls the afternoon dangerous."""
    made = make_published()
    member = member_in(made.coordinator, "north")
    save_normals(member=member, ranch=None, months=dict.fromkeys((5, 6), (12.0, 38.0, 70.0, 40.0)))
    row = told(made, planned(made, AI + timedelta(days=10)))
    assert row.subject == "Look again before Sun 23 May, 13:00: Haul or move cattle, Willow"
    assert "Day 10 after AI: do not haul." in row.body
    assert "from Tue 18 May to Sat 26 Jun." in row.body
    assert "Those hours are hot on a usual day of that month. It is cool from 04:00 to 10:00." in row.body
    assert "Never hold cattle on a standing trailer" in row.body
    cool = told(made, planned(made, AI + timedelta(days=3), begins=time(12)))
    assert cool.subject.startswith("Look again")  # the days are right, the hours are not
    assert "The days around AI say nothing against it." in cool.body


@pytest.mark.parametrize(("day", "supplement", "words"), [
    (-10, False, "Change on another day, or feed a supplement for six weeks."),
    (21, True, "A supplement for six weeks is planned"),
    (-28, False, "say nothing against it"),
    (22, False, "say nothing against it"),
])  # fmt: skip
def test_feed_is_held_against_the_days_in_which_it_stays(day: int, supplement: bool, words: str) -> None:
    made = make_published()
    row = told(made, planned(made, AI + timedelta(days=day), "feed change", supplement=supplement))
    assert words in row.body
    assert ("should stay the same from Fri 16 Apr to Thu 3 Jun" in row.body) is ("nothing" not in words)


@pytest.mark.parametrize(
    ("day", "words"), [(0, "It is AI day"), (50, "about 6 pregnancies in 100"), (61, "nothing against")]
)
def test_each_band_has_its_sentence(day: int, words: str) -> None:
    made = make_published()
    assert words in told(made, planned(made, AI + timedelta(days=day))).body


def test_a_move_far_from_ai_is_reminded_of_as_well() -> None:
    made = make_published()
    assert told(made, planned(made, AI - timedelta(days=240))).subject.endswith("Haul or move cattle, Willow")


def test_taken_out_is_not_sent_and_another_hour_is_another_message() -> None:
    made = make_published()
    move = planned(made, AI + timedelta(days=2))
    first = told(made, move)
    move.begins = time(8)
    member = member_in(made.rancher, "north")
    save_move(member=member, entry=made.entry, move=move, now=evening(move.day, 2))
    sweep_where_due(now=evening(move.day, 2) + timedelta(seconds=10))
    (row,) = rows(made)
    assert row.pk != first.pk
    assert row.subject == "Sat 15 May, 08:00: Haul or move cattle, Willow"
    withdraw_move(member=member, move=move, now=evening(move.day, 1))
    run_once(now=evening(move.day, 1) + timedelta(minutes=1))
    assert rows(made) == []
    assert mail.outbox == []


def test_a_move_leaves_once_on_its_evening() -> None:
    made = make_published()
    move = planned(made, AI + timedelta(days=2))
    for minutes in (-60, 1, 2, 30):
        now = evening(move.day) + timedelta(minutes=minutes)
        sweep(now=now)
        run_once(now=now)
    about = [letter for letter in mail.outbox if "Haul or move" in letter.subject]
    assert [letter.to for letter in about] == [[made.rancher.email]]


def test_ai_that_moves_under_a_move_rings_again_where_a_warning_comes_of_it() -> None:
    made = make_published()
    move = planned(made, AI + timedelta(days=4))
    told(made, move)
    run_once(now=evening(move.day) + timedelta(minutes=1))
    made.move("ai", timedelta(days=-1), evening(move.day).astimezone(utc.utc))
    sweep(now=evening(move.day) + timedelta(minutes=5))
    sent, again = sorted(rows(made), key=lambda row: row.state, reverse=True)
    assert (sent.state, again.state) == ("sent", "pending")
    assert "do not haul" not in sent.body
    assert "do not haul" in again.body


def test_it_speaks_spanish() -> None:
    made = make_published()
    PersonSettings.objects.create(user=made.rancher, language="es")
    with translation.override("en"):
        row = told(made, planned(made, AI + timedelta(days=10)))
    assert "no transporte" in row.body
    assert "ganado" in row.subject
