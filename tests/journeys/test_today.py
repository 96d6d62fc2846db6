"""The first page of a co-op, as its coordinator, a rancher, the adviser and a technician open it."""

import re
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from accounts.models import User
from accounts.permissions import Role
from herdplan.reminders.models import ChangeNotice, OutboxMessage
from scheduling.models import Booking, PlannedStep, PlanVersion
from tests.factories.people import make_person, make_season
from tests.factories.published import DAY_0, Published, make_published

pytestmark = pytest.mark.django_db
NOW = DAY_0 - timedelta(days=3)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Published:
    """A published plan, three days before its first step."""
    monkeypatch.setattr("scheduling.views.days.timezone", SimpleNamespace(now=lambda: NOW, override=timezone.override))
    return make_published()


def page(person: User) -> str:
    """What the person reads on the first page."""
    client = Client()
    client.force_login(person)
    return " ".join(client.get("/c/north/").content.decode().split())


def plan(made: Published, number: int, **fields: Any) -> PlanVersion:
    """A plan in work of the season."""
    values = {"origin": "solver", "problem": {}, "document": {"unplaced": []}, "status": "feasible", "cost_total": 1.0}
    season = made.entry.season
    season.plan = PlanVersion.objects.create(season=season, number=number, **{**values, **fields})
    season.save()
    return season.plan


def test_a_rancher_reads_who_comes_and_what_to_have_ready(made: Published) -> None:
    text = page(made.rancher)
    assert "60 head, Willow, Willow Draw · Ann comes" in text
    assert "Have ready: GnRH doses counted" in text
    assert "Waits for you" not in text
    assert "The next week of work" not in text


def test_two_technicians_at_one_session_are_both_named(made: Published) -> None:
    first = Booking.objects.get()
    other = made.technician
    other.pk, other.name, other.user = None, "Bo", None
    other.save()
    Booking.objects.create(
        entry=first.entry, technician=other, lot=first.lot, step=first.step, starts=first.starts, ends=first.ends,
        busy_starts=first.busy_starts, busy_ends=first.busy_ends, head=30, changed_at=NOW,
    )  # fmt: skip
    assert "Ann and Bo come<" in page(made.rancher)


def test_the_coordinator_reads_the_next_week_of_work_of_every_ranch(made: Published) -> None:
    text = page(made.coordinator)
    assert "The next week of work" in text
    assert "Mon 16:00 to 18:00" in text
    assert "Have ready" not in text  # what a ranch prepares stands on the ranch's own page
    assert "Timed AI" not in text  # ten days after the first step
    PlannedStep.objects.exclude(key="ai").update(status="done")
    assert "60 head, Willow, Willow Draw · Ann comes" in page(made.coordinator)


def test_an_adviser_reads_the_work_and_none_of_the_coordinators_concerns(made: Published) -> None:
    plan(made, 1, document={"unplaced": [{"group": "x"}]})
    text = page(make_person(made.coop, Role.ADVISER))
    assert "The next week of work" in text
    assert "Waits for you" not in text


def test_a_technician_reads_only_the_own_stops(made: Published) -> None:
    text = page(made.worker)
    assert "My stops" in text
    assert "The next week of work" not in text


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"document": {"unplaced": [{"group": "x"}]}}, "1 group without a place."),
        ({"broken": [{"rule": "x"}, {"rule": "y"}]}, "Plan 2 has 2 clashes."),
        ({}, "Plan 2 is a draft: nobody sees it before you publish."),
    ],
)
def test_what_is_wrong_with_the_plan_in_work_waits_for_the_coordinator(
    made: Published, fields: dict[str, Any], words: str
) -> None:
    plan(made, 2, **fields)
    text = page(made.coordinator)
    assert "Waits for you" in text
    assert words in text


def test_a_season_that_is_over_and_a_plan_that_is_published_wait_for_nobody(made: Published) -> None:
    season = made.entry.season
    season.published_plan = plan(made, 1)
    season.save()
    assert "Waits for you" not in page(made.coordinator)
    plan(made, 2)
    assert "Plan 2 is a draft" in page(made.coordinator)
    season.refresh_from_db()
    season.last_day = season.first_day = (NOW - timedelta(days=1)).date()
    season.save()
    assert "Waits for you" not in page(made.coordinator)


def test_a_declined_visit_waits_for_the_coordinator(made: Published) -> None:
    Booking.objects.update(answer="declined")
    assert "1 visit declined by the technician." in page(made.coordinator)
    Booking.objects.update(status="cancelled")
    assert "declined by the technician" not in page(made.coordinator)


def notice(made: Published, seen_by: datetime) -> ChangeNotice:
    """An urgent change that the rancher has not seen."""
    return ChangeNotice.objects.create(
        cooperative=made.coop, user=made.rancher, title="Moved", text="Moved", urgent=True, seen_by=seen_by
    )


def test_people_to_call_and_messages_that_are_stuck_stand_on_top_and_in_the_navigation(made: Published) -> None:
    plan(made, 1)
    notice(made, timezone.now() + timedelta(hours=1))
    assert "to settle" not in page(made.coordinator)
    notice(made, timezone.now() - timedelta(hours=1))
    OutboxMessage.objects.create(
        cooperative=made.coop, address="a@example.org", purpose="test", subject="s", body="b", state="dead",
        dedup_key="x", due=NOW,
    )  # fmt: skip
    text = page(made.coordinator)
    assert "1 person to call" in text
    assert "1 message could not be delivered" in text
    assert '2<span class="visually-hidden"> to settle</span>' in text
    assert "to settle" not in page(made.rancher)


def test_the_page_asks_the_same_number_of_queries_for_many_seasons(made: Published) -> None:
    client = Client()
    client.force_login(made.coordinator)
    plan(made, 1)
    client.get("/c/north/")
    with CaptureQueriesContext(connection) as one:
        client.get("/c/north/")
    for number in range(4):
        make_season(made.coop, name=f"Season {number}")
    with CaptureQueriesContext(connection) as five:
        assert client.get("/c/north/").content.decode().count("It is not planned yet.") == 4
    assert len(five) == len(one)


def test_work_whose_hours_are_over_is_asked_for_until_it_is_ticked_off(
    made: Published, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = made.step("gnrh1")
    assert "Was this done?" not in page(made.rancher)
    late = first.ends + timedelta(hours=1)
    monkeypatch.setattr("scheduling.views.days.timezone", SimpleNamespace(now=lambda: late, override=timezone.override))
    for person in (made.rancher, made.coordinator):
        text = page(person)
        assert "Was this done?" in text
        assert f"/steps/{first.pk}/done/" in text
    assert "Was this done?" not in page(make_person(made.coop, Role.ADVISER))
    client = Client()
    client.force_login(made.coordinator)  # the rancher telephones
    address = f"/c/north/steps/{first.pk}/done/"
    assert client.post(address, {"at": "2027-05-03T16:20"}).status_code == 302
    assert {row.status for row in PlannedStep.objects.filter(key__in=("gnrh1", "in"))} == {"done"}
    assert "Take the tick back" in page(made.rancher)


def test_a_technician_ticks_the_own_stop_and_no_other(made: Published) -> None:
    ai = made.step("ai")
    assert f"/steps/{ai.pk}/done/" in page(made.worker)
    other = make_person(made.coop, Role.TECHNICIAN)
    client = Client()
    client.force_login(other)
    week = client.get(f"/c/north/week/{made.technician.pk}/?from=2027-05-10").content.decode()
    assert "Timed AI" in week
    assert "Tick off as done" not in week


def test_lots_of_a_group_are_told_apart(made: Published) -> None:
    """A lot is a part of a group that keeps its own hours; who comes for the wrong one spoils both."""
    client = Client()
    client.force_login(made.worker)
    address = f"/c/north/week/{made.technician.pk}/?from=2027-05-10"
    assert "lot 1" not in page(made.rancher) + client.get(address).content.decode()
    made.cut(13, 47)
    week = " ".join(client.get(address).content.decode().split())
    assert "13 head, Willow, lot 1 of 2" in week
    assert "47 head, Willow, lot 2 of 2" in week
    assert 'Tick off as done<span class="visually-hidden">: Willow, lot 2 of 2</span>' in week
    today = page(made.rancher)
    assert "13 head, Willow, lot 1 of 2, Willow Draw" in today
    assert "47 head, Willow, lot 2 of 2, Willow Draw" in today


def test_the_page_of_one_step_names_its_lot_where_there_are_two(made: Published) -> None:
    """It knows of one step alone; how many lots there are is counted over all of the group's."""

    def ticking(step: PlannedStep) -> str:
        client = Client()
        client.force_login(made.rancher)
        return " ".join(client.get(f"/c/north/steps/{step.pk}/done/").content.decode().split())

    whole = ticking(made.step("gnrh1"))
    assert "60 head, Willow, Willow Draw" in whole
    assert 'data-keep="GnRH + insert in, Willow"' in whole
    assert "lot" not in re.sub(r"<[^>]+>", " ", whole).split()
    assert "lots" not in whole
    made.cut(13, 47)
    for lot, head in ((0, 13), (1, 47)):
        said = ticking(PlannedStep.objects.get(key="gnrh1", lot=lot))
        assert f"{head} head, Willow, lot {lot + 1} of 2, Willow Draw" in said
        assert f'data-keep="GnRH + insert in, Willow, lot {lot + 1} of 2"' in said
        assert "first animal of this lot go through?" in said
        assert "One tick is for both lots:</strong> the hours of the other follow from it" in said
    PlannedStep.objects.filter(lot=1).update(status="cancelled")
    assert "lots" not in ticking(PlannedStep.objects.get(key="gnrh1", lot=0))


def test_a_lot_is_named_though_no_other_stands_on_the_page(made: Published) -> None:
    made.cut(13, 47)
    PlannedStep.objects.filter(lot=1).update(ends=NOW - timedelta(days=20), starts=NOW - timedelta(days=21))
    today = page(made.rancher)
    assert "13 head, Willow, lot 1 of 2, Willow Draw" in today
    assert "47 head" not in today
