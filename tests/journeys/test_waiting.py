"""Whoever stands at the chute reads who has to wait: the rancher's days, ticking off, the technician's week, paper."""

from datetime import datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from accounts.models import User
from accounts.tenancy import member_in
from scheduling.models import PlannedStep
from scheduling.services import publish, record_step
from tests.factories.pages import signed_in, text
from tests.factories.plans import NOW as PLANNED_AT
from tests.factories.plans import make_scene, planned
from tests.factories.published import DAY_0, Published, make_published

pytestmark = pytest.mark.django_db
SPLIT = "cow_7d_cosynch_insert_split"
# Read without marks: the hour is set bold.
SAID = (
    "Wait Bring them in the order in which they had PG. "
    "Inseminate nobody less than 64 h after her own PG: the last treated not before 10:00 ."
)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Published:
    """Split-time AI three days before its first step; the first session begins while the last treated must still wait."""
    now = DAY_0 - timedelta(days=3)
    monkeypatch.setattr("scheduling.views.days.timezone", SimpleNamespace(now=lambda: now, override=timezone.override))
    made = make_published(protocol=SPLIT)
    made.move("ai1", timedelta(minutes=-95), now)
    return made


def week(made: Published) -> str:
    return f"/c/north/week/{made.technician.pk}/?from=2027-05-10"


def page(person: User, address: str = "/c/north/") -> str:
    return text(signed_in(person).get(address))


def test_the_rancher_and_the_technician_read_it_with_the_hour(made: Published) -> None:
    today, stops = page(made.rancher), page(made.worker, week(made))
    for said in (today, stops, page(made.worker)):
        assert said.count(SAID) == 1  # not at the second session, which begins late enough
        assert said.count("Inseminate nobody") == 1
        assert said.index("Thu 08:25 to 10:25") < said.index(SAID) < said.index("Fri 10:00 to 12:00")


def test_the_page_of_ticking_off_says_it_until_it_is_done(made: Published) -> None:
    session, treatment = made.step("ai1"), made.step("out")
    assert SAID in page(made.rancher, f"/c/north/steps/{session.pk}/done/")
    assert "Inseminate nobody" not in page(made.rancher, f"/c/north/steps/{treatment.pk}/done/")
    PlannedStep.objects.filter(pk=session.pk).update(status="done")
    assert "Inseminate nobody" not in page(made.rancher, f"/c/north/steps/{session.pk}/done/")
    assert "Inseminate nobody" not in page(made.worker, week(made))
    assert "Inseminate nobody" not in page(made.rancher)


def test_ticking_the_treatment_off_moves_the_hour_that_is_said(made: Published) -> None:
    at = made.step("out").starts + timedelta(minutes=10)
    record_step(member=member_in(made.rancher, "north"), entry=made.entry, step="out", at=at, now=at)
    moved = SAID.replace("10:00", "10:10")
    assert moved in page(made.rancher)
    assert moved in page(made.worker, week(made))


def test_lists_that_look_ahead_for_the_whole_co_op_leave_it_to_those_at_the_chute(made: Published) -> None:
    PlannedStep.objects.exclude(key__in=("ai1", "ai2")).update(status="done")
    said = page(made.coordinator)
    assert "Thu 08:25 to 10:25" in said
    assert "Inseminate nobody" not in said


def test_it_is_one_query_however_many_sessions_are_listed_and_none_where_none_is(made: Published) -> None:
    def asked(person: User, address: str) -> int:
        client = signed_in(person)
        client.get(address)
        with CaptureQueriesContext(connection) as queries:
            client.get(address)
        return len(queries)

    pages = ((made.rancher, "/c/north/"), (made.worker, week(made)))
    with_it = [asked(*page) for page in pages]
    made.cut(20, 20, 20)
    assert page(made.rancher).count("Inseminate nobody") == 3
    assert [asked(*page) for page in pages] == with_it
    made.entry.protocol = "cow_7d_cosynch_insert"
    made.entry.save()
    whole = [asked(*page) for page in pages]
    assert [some - none for some, none in zip(with_it, whole, strict=True)] == [1, 1]


def test_paper_says_it_in_the_list_of_days_and_above_the_group_s_lines() -> None:
    scene = make_scene(protocol=SPLIT, head=60)
    plan = planned(scene)
    (group,) = (group for group in plan.document["groups"] if group["id"] == str(scene.willow.pk))
    steps = {step["key"]: step for step in group["lots"][0]["steps"]}
    zone = ZoneInfo(scene.home.zone)
    last = datetime.fromisoformat(steps["pg"]["end"]) + timedelta(hours=64)
    for name in ("start", "end"):  # the session an hour before the last has her hours
        steps["ai1"][name] = (last - timedelta(hours=1 if name == "start" else -1)).isoformat()
    plan.save()
    client, address = (
        signed_in(scene.coordinator.user),
        f"/c/north/seasons/{scene.season.pk}/sheet/?ranch={scene.home.slug}",
    )
    with CaptureQueriesContext(connection) as with_it:
        said = text(client.get(address))
    queries = len(with_it)  # the next request begins the log anew
    clock = f"the last treated not before {last.astimezone(zone):%H:%M} ."
    assert said.count(clock) == 2
    start = last.astimezone(zone) - timedelta(hours=1)
    assert (
        f"Timed AI, {start:%a} {start.day} {start:%b} {start:%H:%M}. Bring them in the order in which they had PG. "
        f"Inseminate nobody less than 64 h after her own PG: {clock}" in said
    )
    board = page(scene.coordinator.user, f"/c/north/seasons/{scene.season.pk}/")
    assert (
        board.count(
            f"Wait Bring them in the order in which they had PG. Inseminate nobody less than 64 h after her own PG: {clock}"
        )
        == 1
    )
    late = datetime.fromisoformat(steps["pg"]["start"]) + timedelta(minutes=7)
    scene.willow.records.create(step="pg", at=late, by=scene.rancher.user)
    assert f"not before {last.astimezone(zone) + timedelta(minutes=7):%H:%M} ." in text(client.get(address))
    scene.willow.records.create(step="ai1", at=start, by=scene.rancher.user)
    assert "Inseminate nobody" not in text(client.get(address))
    scene.willow.protocol = "cow_7d_cosynch_insert"
    scene.willow.save()
    with CaptureQueriesContext(connection) as without:
        assert "Inseminate nobody" not in text(client.get(address))
    assert queries - len(without) == 1


def test_paper_of_a_plan_whose_group_now_wishes_for_another_programme_is_shown() -> None:
    scene = make_scene(protocol="cow_7d_cosynch_insert")
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=PLANNED_AT)
    scene.willow.protocol = SPLIT
    scene.willow.save()
    said = page(scene.coordinator.user, f"/c/north/seasons/{scene.season.pk}/sheet/?ranch={scene.home.slug}")
    assert "At the chute: Willow Draw: Willow, 60 head" in said
