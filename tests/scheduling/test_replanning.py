"""Replanning with least change: what happened is laid over the season, tried, compared, and written only when accepted."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from herdplan.herds.models import Ranch
from scheduling.models import Booking, PlannedStep, PlanTrial, PlanVersion, Replanning, StepRecord
from scheduling.services import (
    Happening,
    ReplanError,
    TrialError,
    accept_replanning,
    claim_job,
    drop_replanning,
    publish,
    request_plan,
    request_replanning,
    run_job,
    run_jobs_once,
    season_document,
)
from scheduling.services.replanning import ranches_near
from scheduling.services.trials import outcome
from tests.factories.plans import NOW, Scene, make_scene, planned

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=1)
DAY = date(2027, 5, 10)


@pytest.fixture
def scene() -> Scene:
    """Two groups on one day, published."""
    made = make_scene()
    for person in (made.ann, made.bo):  # either can do both groups in a day
        person.max_head_per_day = 130
        person.save()
    version = planned(made)
    publish(member=made.coordinator, season=made.season, plan=version, now=NOW)
    made.season.refresh_from_db()
    return made


def replanned(scene: Scene, happening: Happening, now: datetime = LATER, **options: Any) -> Replanning:
    """Ask and run."""
    row = request_replanning(
        member=scene.coordinator, season=scene.season, happening=happening, now=now, **{"rounds": 20, **options}
    )
    assert run_jobs_once(now=lambda: now) == 1
    row = Replanning.objects.select_related("trial__base", "trial__job", "season__cooperative").get(pk=row.pk)
    assert row.trial.job is not None
    assert row.trial.job.state == "done", row.trial.job.message
    return row


def ill(scene: Scene, first: date = DAY, last: date = DAY) -> Happening:
    """Everybody who is booked on the first group cannot come."""
    booked = Booking.objects.filter(entry=scene.willow)[0]
    return Happening(
        "technician_ill", technician=booked.technician, first_day=first, last_day=last, reason="Broken wrist"
    )


def day_of(plan: PlanVersion, entry: Any) -> str:
    """The group's AI day in a plan."""
    return str(next(row["ai_day"] for row in plan.document["groups"] if row["id"] == str(entry.pk)))


def test_a_technician_who_cannot_come_is_replaced_on_the_same_day_and_nothing_is_written_before_it_is_accepted(
    scene: Scene,
) -> None:
    happening = ill(scene)
    assert happening.technician is not None
    before, bookings = season_document(scene.season), list(Booking.objects.values())
    row = replanned(scene, happening)
    assert season_document(scene.season) == before
    assert list(Booking.objects.values()) == bookings
    scene.season.refresh_from_db()
    assert scene.season.plan == scene.season.published_plan == row.trial.base
    found = outcome(row.trial, scene.season)
    assert found.comparison.moved == ()  # a same-day swap exists
    assert found.price is not None
    assert found.price.lost
    assert found.price.not_changing_costs > 2000  # a group without AI weighs 3000
    texts = [text for item in found.asked for text in item.texts]
    assert any("comes instead of" in text for text in texts)
    accepted = accept_replanning(member=scene.coordinator, replanning=row, now=LATER)
    (off,) = happening.technician.days_off.all()
    assert (off.first_day, off.last_day, off.reason) == (DAY, DAY, "Broken wrist")
    scene.season.refresh_from_db()
    assert scene.season.plan == accepted
    assert accepted.broken == []
    assert list(Booking.objects.values()) == bookings  # published only on request
    publish(member=scene.coordinator, season=scene.season, plan=accepted, now=LATER)
    live = Booking.objects.exclude(status="cancelled")
    assert not live.filter(technician=happening.technician).exists()


def test_accept_and_publish_is_one_step_and_only_once(scene: Scene) -> None:
    row = replanned(scene, ill(scene))
    accept_replanning(member=scene.coordinator, replanning=row, now=LATER, publish_it=True)
    scene.season.refresh_from_db()
    assert scene.season.published_plan is not None
    assert scene.season.published_plan.number == 2
    with pytest.raises(TrialError, match="accepted already"):
        accept_replanning(member=scene.coordinator, replanning=row, now=LATER)


def test_what_is_dropped_leaves_no_trace_in_the_master_data(scene: Scene) -> None:
    row = replanned(scene, ill(scene))
    drop_replanning(member=scene.coordinator, replanning=row, now=LATER)
    row.refresh_from_db()
    assert row.state == "dropped"
    assert not scene.ann.days_off.exists()
    assert not scene.bo.days_off.exists()
    with pytest.raises(TrialError, match="dropped already"):
        accept_replanning(member=scene.coordinator, replanning=row, now=LATER)


def test_a_ranch_that_closes_moves_its_own_group_alone(scene: Scene) -> None:
    other = day_of(scene.season.published_plan, scene.birch)  # type: ignore[arg-type]
    home = Happening("ranch_closed", ranches=(scene.home,), first_day=DAY, last_day=DAY)
    row = replanned(scene, home)
    found = outcome(row.trial, scene.season).comparison
    assert {item.group for item in found.moved} == {str(scene.willow.pk)}
    accepted = accept_replanning(member=scene.coordinator, replanning=row, now=LATER)
    assert day_of(accepted, scene.birch) == other
    assert [row.day for row in scene.home.closed_days.all()] == [DAY]


def test_weather_closes_a_region(scene: Scene) -> None:
    near = ranches_near(member=scene.coordinator, middle=scene.home, km=10)
    far = ranches_near(member=scene.coordinator, middle=scene.home, km=100)
    assert near == (scene.home,)
    assert far == (scene.home, scene.away)
    storm = Happening("weather", ranches=far, first_day=DAY, last_day=DAY + timedelta(days=1))
    row = replanned(scene, storm)
    assert len(outcome(row.trial, scene.season).comparison.moved) == 2
    accept_replanning(member=scene.coordinator, replanning=row, now=LATER)
    assert scene.home.closed_days.count() == scene.away.closed_days.count() == 2


def test_a_late_headcount_is_written_to_the_entry(scene: Scene) -> None:
    row = replanned(scene, Happening("late_headcount", entry=scene.willow, head=72))
    accepted = accept_replanning(member=scene.coordinator, replanning=row, now=LATER)
    scene.willow.refresh_from_db()
    assert scene.willow.head == 72
    placed = next(item for item in accepted.document["groups"] if item["id"] == str(scene.willow.pk))
    assert sum(lot["head"] for lot in placed["lots"]) == 72


def test_a_group_that_lost_its_slot_gets_a_day_among_those_given(scene: Scene) -> None:
    first, last = date(2027, 5, 14), date(2027, 5, 18)
    row = replanned(scene, Happening("lost_slot", entry=scene.willow, first_day=first, last_day=last))
    accepted = accept_replanning(member=scene.coordinator, replanning=row, now=LATER)
    assert first.isoformat() <= day_of(accepted, scene.willow) <= last.isoformat()
    scene.willow.refresh_from_db()
    assert (scene.willow.ai_from, scene.willow.ai_to) == (first, last)


def tick(scene: Scene, entry: Any, *keys: str, minutes: int = 0) -> datetime:
    """Tick steps off, some minutes after the hour planned."""
    step = PlannedStep.objects.filter(entry=entry, key=keys[0], lot=0).get()
    at = step.starts + timedelta(minutes=minutes)
    for key in keys:
        StepRecord.objects.create(entry=entry, step=key, at=at)
    return at


@pytest.mark.parametrize("minutes", [0, 45])
def test_a_group_whose_insert_is_in_keeps_its_day(scene: Scene, minutes: int) -> None:
    published = scene.season.published_plan
    assert published is not None
    at = tick(scene, scene.willow, "gnrh1", "in", minutes=minutes)
    row = replanned(scene, ill(scene), now=at + timedelta(hours=3))
    assert row.trial.document is not None
    placed = next(item for item in row.trial.document["groups"] if item["id"] == str(scene.willow.pk))
    assert placed["ai_day"] == day_of(published, scene.willow)
    starts = {step["key"]: datetime.fromisoformat(step["start"]) for step in placed["lots"][0]["steps"]}
    assert starts["in"] == starts["gnrh1"] == at
    assert row.trial.broken == []
    accepted = accept_replanning(member=scene.coordinator, replanning=row, now=at + timedelta(hours=4), publish_it=True)
    assert accepted.broken == []


def test_when_the_day_of_a_started_group_is_closed_it_loses_its_place_rather_than_its_day(scene: Scene) -> None:
    at = tick(scene, scene.willow, "gnrh1", "in")
    row = replanned(scene, Happening("ranch_closed", ranches=(scene.home,), first_day=DAY, last_day=DAY), now=at)
    found = outcome(row.trial, scene.season)
    assert [item.group for item in found.comparison.lost] == [str(scene.willow.pk)]
    assert found.comparison.moved == ()


def test_steps_of_the_past_count_as_done_though_nobody_ticked_them_off(scene: Scene) -> None:
    published = scene.season.published_plan
    assert published is not None
    step = PlannedStep.objects.filter(entry=scene.willow, key="gnrh1").get()
    now = step.starts + timedelta(days=1)
    closed = Happening("ranch_closed", ranches=(scene.away,), first_day=DAY, last_day=DAY)
    row = replanned(scene, closed, now=now)
    entry = next(item for item in row.trial.problem["groups"] if item["id"] == str(scene.willow.pk))
    assert {item["step"] for item in entry["done"]} == {"gnrh1", "in"}
    assert row.trial.document is not None
    placed = {item["id"]: item["ai_day"] for item in row.trial.document["groups"]}
    assert placed[str(scene.willow.pk)] == day_of(published, scene.willow)


def test_nothing_new_begins_in_the_past(scene: Scene) -> None:
    now = datetime(2027, 5, 8, 15, tzinfo=UTC)
    first, last = date(2027, 5, 9), date(2027, 5, 22)
    happening = Happening("lost_slot", entry=scene.willow, first_day=first, last_day=last, restart=True)
    row = replanned(scene, happening, now=now)
    assert row.trial.document is not None
    placed = next(item for item in row.trial.document["groups"] if item["id"] == str(scene.willow.pk))
    starts = [datetime.fromisoformat(step["start"]) for lot in placed["lots"] for step in lot["steps"]]
    assert min(starts).date() >= date(2027, 5, 8)


def test_a_lost_slot_of_a_started_group_asks_whether_the_programme_starts_again(scene: Scene) -> None:
    tick(scene, scene.willow, "gnrh1", "in")
    days = {"first_day": date(2027, 5, 16), "last_day": date(2027, 5, 20)}
    with pytest.raises(ReplanError, match="starts again"):
        replanned(scene, Happening("lost_slot", entry=scene.willow, **days))  # type: ignore[arg-type]
    row = replanned(scene, Happening("lost_slot", entry=scene.willow, restart=True, **days))  # type: ignore[arg-type]
    accept_replanning(member=scene.coordinator, replanning=row, now=LATER, publish_it=True)
    assert not scene.willow.records.exists()


def test_steps_done_at_other_hours_are_replanned_around(scene: Scene) -> None:
    """What was done is no change that anybody is asked for, and what follows from it within its hours stays."""
    with pytest.raises(ReplanError, match="No step has been ticked off"):
        replanned(scene, Happening("steps_done"))
    at = tick(scene, scene.willow, "gnrh1", "in", minutes=90)
    row = replanned(scene, Happening("steps_done"), now=at + timedelta(hours=2))
    assert row.trial.broken == []
    assert outcome(row.trial, scene.season).comparison.groups == ()
    assert row.trial.document is not None
    (placed,) = (item for item in row.trial.document["groups"] if item["id"] == str(scene.willow.pk))
    hours = {step["key"]: datetime.fromisoformat(step["start"]) for step in placed["lots"][0]["steps"]}
    assert hours["gnrh1"] == hours["in"] == at


BAD: list[tuple[dict[str, Any], str, str]] = [
    ({"kind": "technician_ill", "first_day": DAY, "last_day": DAY}, "technician", "Choose a technician"),
    ({"kind": "weather", "first_day": DAY, "last_day": DAY}, "ranches", "at least one ranch"),
    ({"kind": "late_headcount", "head": 5}, "entry", "Choose a group"),
    ({"kind": "moon"}, "kind", "Choose what happened"),
]


@pytest.mark.parametrize(("values", "field", "words"), BAD)
def test_what_is_said_badly_is_refused_by_field(scene: Scene, values: dict[str, Any], field: str, words: str) -> None:
    with pytest.raises(ReplanError, match=words) as fault:
        replanned(scene, Happening(**values))
    assert fault.value.field == field
    assert not Replanning.objects.exists()


def test_days_and_head_are_checked(scene: Scene) -> None:
    ann = {"kind": "technician_ill", "technician": scene.ann}
    willow = {"entry": scene.willow}
    bad: list[tuple[dict[str, Any], str]] = [
        (ann, "first and the last day"),
        ({**ann, "first_day": DAY, "last_day": DAY - timedelta(days=1)}, "not before the first"),
        ({**ann, "first_day": date(2027, 8, 1), "last_day": date(2027, 8, 2)}, "outside of the season"),
        ({**ann, "first_day": date(2026, 1, 1), "last_day": date(2027, 6, 1)}, "At most 120 days"),
        ({**willow, "kind": "late_headcount", "head": 60}, "60 head already"),
        ({**willow, "kind": "late_headcount", "head": 0}, "1 to 5000"),
        ({**willow, "kind": "lost_slot"}, "first and the last day"),
        ({**willow, "kind": "lost_slot", "first_day": DAY, "last_day": date(2027, 9, 1)}, "Choose days from"),
    ]
    for values, words in bad:
        with pytest.raises(ReplanError, match=words):
            replanned(scene, Happening(**values))


def test_a_foreign_technician_or_ranch_is_refused(scene: Scene) -> None:
    other = make_scene("south")
    for values in (
        {"kind": "technician_ill", "technician": other.ann, "first_day": DAY, "last_day": DAY},
        {"kind": "ranch_closed", "ranches": (other.home,), "first_day": DAY, "last_day": DAY},
        {"kind": "late_headcount", "entry": other.willow, "head": 3},
    ):
        with pytest.raises(ReplanError, match="Choose"):
            replanned(scene, Happening(**values))  # type: ignore[arg-type]
    with pytest.raises(PermissionDenied):
        ranches_near(member=scene.coordinator, middle=Ranch.objects.get(pk=other.home.pk), km=5)


def test_only_the_coordinator_replans(scene: Scene) -> None:
    row = replanned(scene, ill(scene))
    for person in (scene.rancher, scene.technician, make_scene("south").coordinator):
        with pytest.raises(PermissionDenied):
            request_replanning(member=person, season=scene.season, happening=ill(scene), now=LATER)
        with pytest.raises(PermissionDenied):
            accept_replanning(member=person, replanning=row, now=LATER)
        with pytest.raises(PermissionDenied):
            drop_replanning(member=person, replanning=row, now=LATER)


def test_a_season_that_changed_meanwhile_is_not_overwritten(scene: Scene) -> None:
    row = replanned(scene, ill(scene))
    scene.birch.head = 44
    scene.birch.save()
    with pytest.raises(TrialError, match=r"Birch \(changed\)"):
        accept_replanning(member=scene.coordinator, replanning=row, now=LATER)
    assert PlanVersion.objects.count() == 1
    assert not scene.ann.days_off.exists()


def test_a_step_done_meanwhile_at_another_hour_is_not_overwritten(scene: Scene) -> None:
    row = replanned(scene, ill(scene))
    tick(scene, scene.birch, "gnrh1", "in", minutes=70)
    with pytest.raises(TrialError, match="must stay there"):
        accept_replanning(member=scene.coordinator, replanning=row, now=LATER)
    assert PlanVersion.objects.count() == 1
    assert not scene.ann.days_off.exists()
    assert not scene.bo.days_off.exists()


def test_one_job_at_a_time_and_no_plan_no_replanning(scene: Scene) -> None:
    request_plan(member=scene.coordinator, season=scene.season, now=LATER, rounds=1)
    with pytest.raises(TrialError, match="being planned at this moment"):
        request_replanning(member=scene.coordinator, season=scene.season, happening=ill(scene), now=LATER)
    assert not Replanning.objects.exists()
    bare = make_scene("south")
    happening = Happening("technician_ill", technician=bare.ann, first_day=DAY, last_day=DAY)
    with pytest.raises(TrialError, match="no plan yet"):
        request_replanning(member=bare.coordinator, season=bare.season, happening=happening, now=LATER)


def test_before_it_is_planned_it_cannot_be_accepted(scene: Scene) -> None:
    row = request_replanning(member=scene.coordinator, season=scene.season, happening=ill(scene), now=LATER, rounds=1)
    with pytest.raises(TrialError, match="not ready yet"):
        accept_replanning(member=scene.coordinator, replanning=row, now=LATER)


def test_a_lost_workers_trial_is_dropped_and_the_next_one_writes_it(scene: Scene) -> None:
    row = request_replanning(member=scene.coordinator, season=scene.season, happening=ill(scene), now=LATER, rounds=1)
    lost = claim_job(now=LATER)
    second = claim_job(now=LATER + timedelta(minutes=2))
    assert lost is not None
    assert second is not None
    assert lost.pk == second.pk
    run_job(lost, now=lambda: LATER)
    assert PlanTrial.objects.get(pk=row.trial_id).document is None
    run_job(second, now=lambda: LATER)
    assert PlanTrial.objects.get(pk=row.trial_id).document is not None
    assert PlanVersion.objects.count() == 1
