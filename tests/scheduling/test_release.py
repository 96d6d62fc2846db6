"""Split-time AI: the first session is counted, and what is held for the second shrinks to the females that are left."""

from datetime import date, timedelta

import pytest

from scheduling.models import Booking, PlannedStep
from scheduling.services import RecordError, publish, record_step, undo_record
from scheduling.services.release import too_many_left
from tests.factories.plans import NOW, Scene, make_scene, planned

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene() -> Scene:
    """Willow, 60 cows, is bred by split-time AI in two sessions a day apart at most."""
    made = make_scene()
    made.birch.delete()
    made.willow.protocol = "cow_7d_cosynch_insert_split"
    made.willow.ai_from, made.willow.ai_to = date(2027, 5, 7), date(2027, 5, 14)
    made.willow.save()
    plan = planned(made)
    assert plan.document["unplaced"] == []
    publish(member=made.coordinator, season=made.season, plan=plan, now=NOW)
    made.willow.season.refresh_from_db()
    return made


def count(scene: Scene, head: int | None) -> None:
    """The first session is done as planned, with so many head."""
    first = PlannedStep.objects.get(entry=scene.willow, key="ai1")
    record_step(member=scene.rancher, entry=scene.willow, step="ai1", at=first.starts, now=first.ends, head=head)


def second() -> Booking:
    """The technician's second visit."""
    return Booking.objects.get(step="ai2")


def test_the_second_visit_is_shortened_to_those_that_are_left_and_held_again_when_the_tick_is_taken_back(
    scene: Scene,
) -> None:
    # 38 % of 60 head are expected at the second session, and 22.8 + 1.2816 * sqrt(60 * 0.62 * 0.38) = 27.6 reserved for.
    was = second()
    assert was.head == 28
    count(scene, 50)
    left = second()
    assert (left.head, left.sequence, left.starts) == (10, was.sequence + 1, was.starts)
    assert left.ends - left.starts == timedelta(minutes=25)  # ten of 28 head, who had 68 minutes
    assert left.busy_ends - left.ends == was.busy_ends - was.ends  # the way home is as long as before
    assert PlannedStep.objects.get(entry=scene.willow, key="ai2").head == 10
    again = planned(scene, keep=True)
    publish(member=scene.coordinator, season=scene.season, plan=again, now=NOW)
    assert second().head == 10  # publishing anew knows of the count
    undo_record(member=scene.rancher, entry=scene.willow, step="ai1", now=NOW)
    assert (second().head, second().ends) == (28, was.ends)


def test_nobody_left_takes_the_second_visit_off_and_too_many_change_nothing(scene: Scene) -> None:
    count(scene, 60)
    assert second().status == "cancelled"
    assert PlannedStep.objects.get(entry=scene.willow, key="ai2").status == "cancelled"
    count(scene, 20)
    assert (second().status, second().head) == ("confirmed", 28)
    assert too_many_left(scene.willow, 20)
    assert not too_many_left(scene.willow, 40)


def test_a_count_that_cannot_be_is_refused(scene: Scene) -> None:
    for head in (61, -1):
        with pytest.raises(RecordError, match="0 to 60 head"):
            count(scene, head)
    with pytest.raises(RecordError, match="first of two AI sessions"):
        record_step(
            member=scene.rancher, entry=scene.willow, step="gnrh1", at=NOW, now=NOW + timedelta(hours=1), head=3
        )
    assert not scene.willow.records.exists()
