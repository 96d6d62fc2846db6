"""Ticking off at another hour than planned: what no longer suits is said, and lots keep their order."""

from datetime import timedelta

import pytest

from accounts.tenancy import member_in
from scheduling.models import PlannedStep, StepRecord
from scheduling.services import Happening, accept_replanning, publish, record_step, request_replanning, run_jobs_once
from scheduling.services.done_hours import off_hours
from scheduling.services.lookout import concerns_of
from tests.factories.plans import NOW, Scene, make_scene, planned
from tests.factories.published import make_published

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene() -> Scene:
    """A published season, Willow's first treatment done as planned."""
    made = make_scene()
    publish(member=made.coordinator, season=made.season, plan=planned(made), now=NOW)
    made.season.refresh_from_db()
    tick(made, "gnrh1")
    return made


def tick(scene: Scene, key: str, late: timedelta = timedelta()) -> None:
    """Willow's step is done, so much later than planned."""
    step = PlannedStep.objects.get(entry=scene.willow, key=key)
    at = step.starts + late
    record_step(member=scene.rancher, entry=scene.willow, step=key, at=at, now=at)


def test_pg_hours_late_leaves_too_few_hours_to_ai_and_both_are_told(scene: Scene) -> None:
    pg = PlannedStep.objects.get(entry=scene.willow, key="pg").starts
    tick(scene, "out", timedelta(minutes=20))
    assert off_hours(scene.season, pg, scene.willow) == []  # 60 to 66 h leave some room
    tick(scene, "out", timedelta(hours=4))
    (text,) = off_hours(scene.season, pg, scene.willow)
    assert text.startswith("Animals of Willow Draw: Willow get Timed AI 58.")
    assert text.endswith("h after PG (put patches on); the protocol asks for 60 to 66 h.")
    concern = concerns_of([scene.season], pg)[0]
    assert (concern.text, concern.page, concern.pressing) == (text, "done", True)
    ai = PlannedStep.objects.get(entry=scene.willow, key="ai").ends
    assert off_hours(scene.season, ai + timedelta(hours=1)) == []  # nothing is left to be planned


def test_hours_that_no_plan_can_mend_are_said_until_the_work_is_over_and_the_group_keeps_its_place() -> None:
    """The second PG twelve hours after the first, where six to ten are printed: AI stays planned, the veterinarian is named."""
    scene = make_scene(protocol="cow_5d_cosynch_insert")
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    scene.season.refresh_from_db()
    tick(scene, "out")
    tick(
        scene,
        "pg2",
        PlannedStep.objects.get(entry=scene.willow, key="pg").starts
        - PlannedStep.objects.get(entry=scene.willow, key="pg2").starts
        + timedelta(hours=12),
    )
    now = StepRecord.objects.get(entry=scene.willow, step="pg2").at + timedelta(minutes=5)
    said = off_hours(scene.season, now, scene.willow)
    assert [
        text
        for text in said
        if "12.00 to 12.00 h after" in text and text.endswith("ask your veterinarian what is left to do.")
    ]
    row = request_replanning(
        member=scene.coordinator, season=scene.season, happening=Happening("steps_done"), now=now, rounds=20
    )
    assert run_jobs_once(now=lambda: now) == 1
    row.refresh_from_db()
    plan = accept_replanning(member=scene.coordinator, replanning=row, now=now, publish_it=True)
    assert (plan.status, plan.broken) == ("complete", [])
    scene.season.refresh_from_db()
    assert off_hours(scene.season, now, scene.willow) == [text for text in said if "Both were done" in text]


def test_a_treatment_on_another_day_says_that_what_follows_shifts(scene: Scene) -> None:
    tick(scene, "gnrh1", timedelta(days=1))
    (text,) = off_hours(scene.season, NOW + timedelta(days=31))
    assert text == (
        "GnRH of Willow Draw: Willow was done on Sat 1 May and planned for Fri 30 Apr; what follows shifts with it."
    )


def test_ticking_a_later_lot_records_the_first_lots_hour() -> None:
    made = make_published()
    first = made.step("gnrh1")
    for key in ("gnrh1", "in"):
        row = made.step(key)
        row.pk, row.lot, row.starts, row.ends = None, 1, row.starts + timedelta(hours=2), row.ends + timedelta(hours=2)
        row.save()
    member, at = member_in(made.rancher, "north"), first.starts + timedelta(hours=2, minutes=10)
    record_step(member=member, entry=made.entry, step="gnrh1", lot=1, at=at, now=at)
    assert set(StepRecord.objects.values_list("at", flat=True)) == {first.starts + timedelta(minutes=10)}
    assert set(PlannedStep.objects.filter(key="gnrh1").values_list("status", flat=True)) == {"done"}
