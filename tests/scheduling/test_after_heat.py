"""AI after seen heat: visits that are no steps of a lot are read by everybody whom they concern."""

import re
from datetime import date

import pytest
from django.test import Client

from scheduling.models import Booking
from scheduling.services import publish
from tests.factories.clock import stand_still
from tests.factories.plans import NOW, Scene, make_scene, planned

pytestmark = pytest.mark.django_db
WORDS = "AI of females seen in heat"


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Scene:
    """Willow is bred after heat by technicians, and published."""
    stand_still(monkeypatch, NOW)
    made = make_scene()
    made.birch.delete()
    made.willow.protocol = "cow_select_synch"
    made.willow.ai_from, made.willow.ai_to = date(2027, 5, 7), date(2027, 5, 14)
    made.willow.save()
    plan = planned(made)
    assert plan.document["unplaced"] == []
    publish(member=made.coordinator, season=made.season, plan=plan, now=NOW)
    return made


def page(person: Client, address: str) -> str:
    """The page on one line."""
    return " ".join(person.get(f"/c/north/{address}").content.decode().split())


def test_board_week_and_first_page_name_the_visits_by_their_hour_head_and_technician(scene: Scene) -> None:
    visits = Booking.objects.filter(step__startswith="heat:")
    assert visits.count() >= 4  # mornings and evenings of several days
    coordinator, rancher, worker = Client(), Client(), Client()
    coordinator.force_login(scene.coordinator.user)
    rancher.force_login(scene.rancher.user)
    worker.force_login(scene.technician.user)
    board = page(coordinator, f"seasons/{scene.season.pk}/")
    first = min(visits, key=lambda row: row.starts)
    assert board.count(WORDS) >= 2 * visits.count()  # the table, and the list of a phone
    assert sum(map(int, re.findall(r'<td class="is-(?:fine|full)[^"]*">(\d+)', board))) == sum(
        row.head for row in visits
    )
    weeks = [page(worker, f"week/{scene.ann.pk}/?from=2027-05-{day:02d}") for day in (3, 10, 17)]
    assert sum(week.count(WORDS) for week in weeks) == visits.filter(technician=scene.ann).count() > 0
    mornings = page(rancher, "")
    assert mornings.count(WORDS) == visits.count()
    assert f"{first.head} head, Willow" in mornings
    for text in (board, *weeks, mornings):
        assert "heat:" not in text
