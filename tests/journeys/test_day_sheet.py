"""A ranch's days on paper: its own days alone, a line a female, the plan that the reader may see."""

import re
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from accounts.models import User
from herdplan.technicians.models import Technician
from scheduling.models import PlannedStep
from scheduling.services import publish
from scheduling.services.catalogue import trip_heads
from tests.factories.pages import signed_in, text
from tests.factories.plans import NOW, Scene, make_scene, planned
from tests.factories.readiness import make_cows

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene() -> Scene:
    """Two ranches with a group each, planned; three of Willow's 60 cows are in the book."""
    made = make_scene()
    make_cows(made.willow, 3, first=9)
    planned(made)
    return made


def shown(user: User, scene: Scene, tail: str = "") -> Any:
    """The page as that person gets it."""
    client = Client()
    client.force_login(user)
    return client.get(f"/c/north/seasons/{scene.season.pk}/sheet/{tail}")


def test_a_rancher_prints_the_published_days_of_her_own_ranch(scene: Scene) -> None:
    assert "No group of Willow Draw is in a plan yet." in text(shown(scene.rancher.user, scene))
    assert scene.season.plan is not None
    publish(member=scene.coordinator, season=scene.season, plan=scene.season.plan, now=NOW)
    said = text(shown(scene.rancher.user, scene))
    assert "Willow Draw: days of" in said
    assert "Birch" not in said
    assert "Keep the order of this list on every trip" in said
    assert re.search(
        r"Tag .* Notes 9 10 11 \(4\) .*\(60\)", said
    )  # tags as people count, then the head that is not in the book
    assert "(61)" not in said
    for step in PlannedStep.objects.filter(entry=scene.willow, key__in=trip_heads(scene.willow.protocol)):
        clock = step.starts.astimezone(ZoneInfo(scene.home.zone))
        assert f"{clock:%a} {clock.day} {clock:%b} {clock:%H:%M}" in said, step.key
    assert shown(scene.rancher.user, scene, f"?ranch={scene.away.slug}").status_code == 404


def test_whoever_sees_all_ranches_chooses_one_and_a_draft_says_that_it_is_one(scene: Scene) -> None:
    assert "Choose a ranch" in text(shown(scene.coordinator.user, scene))
    said = text(shown(scene.coordinator.user, scene, f"?ranch={scene.away.slug}"))
    assert "draft, not published" in said
    assert "write their tags in as they come" in said


def test_a_technician_gets_the_days_without_tags(scene: Scene) -> None:
    said = text(shown(scene.technician.user, scene, f"?ranch={scene.home.slug}"))
    assert "(1) (2) (3)" in said
    assert "write their tags in as they come" in said


def test_lots_are_told_apart_on_paper_and_on_the_board() -> None:
    """In any order 112 cows do not fit the programme's hours as one: they go through in lots."""
    made = make_scene(head=112, order="any")
    Technician.objects.update(max_head_per_day=400)
    lots = [
        lot for group in planned(made).document["groups"] for lot in group["lots"] if group["id"] == str(made.willow.pk)
    ]
    assert len(lots) > 1
    words = [f"lot {number} of {len(lots)}" for number in range(1, len(lots) + 1)]
    said = text(shown(made.coordinator.user, made, f"?ranch={made.home.slug}"))
    board = text(signed_in(made.coordinator.user).get(f"/c/north/seasons/{made.season.pk}/"))
    for lot, name in zip(lots, words, strict=True):
        assert f"Willow, {lot['head']} head, {name}" in said
        assert f"{name.capitalize()}, {lot['head']} head: " in said
        assert f"AI, {name} " in board  # the board's narrow cells
        assert f"{lot['head']} head, {name} · " in board  # the list of days on a phone
