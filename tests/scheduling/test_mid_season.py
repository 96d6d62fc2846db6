"""Planning again while the season runs: what is over stays, and nothing begins in the past."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduling.models import Booking, PlannedStep
from scheduling.services import (
    Happening,
    MoveError,
    accept_replanning,
    move_group,
    publish,
    record_step,
    request_replanning,
    run_jobs_once,
)
from tests.factories.people import make_entry, make_group, make_herd
from tests.factories.plans import NOW, Scene, make_scene, planned

pytestmark = pytest.mark.django_db
# Inserts went in on 30 April, and come out on 7 May at the hours that were published; nobody ticked anything off.
UNDER_WAY = datetime(2027, 5, 5, 15, tzinfo=UTC)


@pytest.fixture
def scene() -> Scene:
    """A published season."""
    made = make_scene()
    publish(member=made.coordinator, season=made.season, plan=planned(made), now=NOW)
    return made


@pytest.mark.parametrize("keep", [True, False])
def test_a_group_that_comes_late_begins_today_at_the_earliest_and_the_others_stay(scene: Scene, keep: bool) -> None:
    was = {row["id"]: row for row in scene.season.plan.document["groups"]} if scene.season.plan else {}
    late = make_entry(scene.season, make_group(make_herd(scene.home), name="Late", head=40))
    plan = planned(scene, now=UNDER_WAY, keep=keep)
    assert plan.broken == []
    found = {row["id"]: row for row in plan.document["groups"]}
    begins = datetime.fromisoformat(found[str(late.pk)]["lots"][0]["steps"][0]["start"])
    assert begins > UNDER_WAY  # ten days before AI: 10 May, the wish, would have begun on 30 April
    assert found[str(late.pk)]["ai_day"] >= "2027-05-15"
    for name, row in was.items():
        first, again = row["lots"][0]["steps"][0], found[name]["lots"][0]["steps"][0]
        assert (found[name]["ai_day"], again["start"]) == (row["ai_day"], first["start"])


def test_a_visit_that_is_over_is_not_taken_back_when_the_season_is_planned_from_scratch(scene: Scene) -> None:
    after = datetime(2027, 5, 12, 15, tzinfo=UTC)
    plan = planned(scene, now=after)
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=after)
    assert list(Booking.objects.values_list("status", flat=True)) == ["confirmed", "confirmed"]


def test_a_group_that_has_begun_is_not_moved_by_hand_nor_any_into_the_past(scene: Scene) -> None:
    plan = scene.season.plan
    assert plan is not None
    with pytest.raises(MoveError, match="has begun"):
        move_group(member=scene.coordinator, plan=plan, entry=scene.willow, ai_day=date(2027, 5, 12), now=UNDER_WAY)
    soon = NOW + timedelta(days=20)
    with pytest.raises(MoveError, match="into the past"):
        move_group(member=scene.coordinator, plan=plan, entry=scene.willow, ai_day=date(2027, 4, 28), now=soon)
    assert scene.season.plans.count() == 1


@pytest.mark.parametrize("minutes", [0, 25, -25])
def test_ticks_at_other_hours_cost_nobody_the_second_session(minutes: int) -> None:
    """Both first sessions are ticked off at one minute by whoever did them. Weeks of work hang on what is left of the plan."""
    scene = make_scene(protocol="cow_7d_cosynch_insert_split")
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    first = {row.entry_id: row for row in PlannedStep.objects.filter(key="ai1")}
    second = {row.entry_id: row.starts for row in PlannedStep.objects.filter(key="ai2")}
    at = min(row.starts for row in first.values()) + timedelta(minutes=minutes)
    now = max(row.ends for row in first.values()) + timedelta(hours=1)
    for entry in (scene.willow, scene.birch):
        begun = PlannedStep.objects.get(entry=entry, key="pg").starts
        record_step(member=scene.coordinator, entry=entry, step="pg", at=begun + timedelta(minutes=minutes), now=now)
        record_step(member=scene.coordinator, entry=entry, step="ai1", at=at, now=now)
    row = request_replanning(
        member=scene.coordinator, season=scene.season, happening=Happening("steps_done"), now=now, rounds=20
    )
    assert run_jobs_once(now=lambda: now) == 1
    row.refresh_from_db()
    assert row.trial.broken == []
    plan = accept_replanning(member=scene.coordinator, replanning=row, now=now, publish_it=True)
    assert plan.status == "complete"
    assert {step.status for step in PlannedStep.objects.filter(key="ai1")} == {"done"}
    for step in PlannedStep.objects.filter(key="ai2"):
        assert (step.status, abs(step.starts - second[step.entry_id]) < timedelta(hours=1)) == ("planned", True)
        assert Booking.objects.filter(entry=step.entry, step="ai2", starts=step.starts, status="confirmed").exists()
    again = planned(scene, now=now)  # from scratch
    assert (again.status, again.broken) == ("complete", [])
    publish(member=scene.coordinator, season=scene.season, plan=again, now=now)
    assert PlannedStep.objects.filter(key="ai2", status="planned").count() == 2


@pytest.mark.parametrize("keep", [True, False])
def test_a_watch_for_heat_goes_on_when_the_season_is_planned_again_in_its_middle(keep: bool) -> None:
    """Half days that are over stay with whoever came, or with nobody; those to come have a technician each."""
    scene = make_scene(protocol="cow_2shot_pg")
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    visits = list(Booking.objects.filter(entry=scene.willow).order_by("starts"))
    zone = ZoneInfo(scene.home.zone)
    now = visits[len(visits) // 2].starts.astimezone(zone).replace(hour=21)
    plan = planned(scene, now=now, keep=keep)
    assert (plan.status, plan.broken) == ("complete", [])
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=now)
    ahead = {row.step for row in visits if row.starts > now}
    assert ahead
    assert (
        set(
            Booking.objects.filter(entry=scene.willow, starts__gt=now, status="confirmed").values_list(
                "step", flat=True
            )
        )
        == ahead
    )
    assert Booking.objects.filter(entry=scene.willow, ends__lte=now, status="confirmed").count() == len(visits) - len(
        ahead
    )
