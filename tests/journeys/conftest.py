"""What several journeys begin with."""

import pytest

from scheduling.services import publish
from tests.factories.plans import NOW, Scene, make_scene, planned


@pytest.fixture
def scene() -> Scene:
    """Two ranches with a group each."""
    return make_scene()


@pytest.fixture
def published(scene: Scene) -> Scene:
    """The same with a published plan."""
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    scene.season.refresh_from_db()
    return scene
