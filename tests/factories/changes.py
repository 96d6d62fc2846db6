"""Changes of a published plan, as people make them."""

from datetime import date, datetime, timedelta

from herdplan.technicians.models import DayOff
from scheduling.models import Booking, PlanVersion, SeasonEntry
from scheduling.services import move_group, publish
from tests.factories.plans import NOW, Scene, planned


def publish_plan(scene: Scene, plan: PlanVersion | None = None, now: datetime = NOW) -> PlanVersion:
    """Plan the scene's season where no plan is given, and publish it."""
    plan = plan or planned(scene)
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=now)
    scene.season.refresh_from_db()
    return plan


def move(scene: Scene, entry: SeasonEntry, days: int, now: datetime) -> PlanVersion:
    """Move a group by whole days and publish."""
    plan = scene.season.published_plan
    assert plan is not None
    day = next(item["ai_day"] for item in plan.document["groups"] if item["id"] == str(entry.pk))
    ai_day = date.fromisoformat(day) + timedelta(days=days)
    made = move_group(member=scene.coordinator, plan=plan, entry=entry, ai_day=ai_day, now=now)
    assert not made.broken, made.broken
    return publish_plan(scene, made, now)


def hand_over(scene: Scene, now: datetime, entry: SeasonEntry | None = None) -> tuple[Booking, Booking]:
    """Give the technician of a group's AI (Willow's) that day off, plan again and publish: somebody else comes. The old and the new booking."""
    entry = entry or scene.willow
    old = Booking.objects.get(entry=entry, status="confirmed")
    day = old.starts.date()
    DayOff.objects.create(
        technician=old.technician, first_day=day - timedelta(days=1), last_day=day + timedelta(days=1)
    )
    publish_plan(scene, planned(scene, now=now, keep=True), now)
    new = Booking.objects.exclude(pk=old.pk).get(entry=entry, status="confirmed")
    old.refresh_from_db()
    return old, new
