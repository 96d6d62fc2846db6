"""What the season page says of a plan that was shown to be best."""

import pytest
from django.test import Client
from django.urls import reverse

from tests.factories.plans import Scene, make_scene, planned

pytestmark = pytest.mark.django_db
NONE_CHEAPER, BEST_BUILT = "No cheaper plan exists under the rules", "Best of all the plans that this planner can build"


def _page(scene: Scene, kind: str, *, rancher: bool = False) -> str:
    plan = planned(scene)
    plan.document = {**plan.document, "bound": {"value": plan.cost_total, "kind": kind}}
    plan.save()
    scene.season.published_plan = plan
    scene.season.save()
    client = Client()
    client.force_login((scene.rancher if rancher else scene.coordinator).user)
    url = reverse("scheduling:season", kwargs={"coop": scene.coop.slug, "season": scene.season.pk})
    return client.get(url).content.decode()


def test_a_proven_plan_is_said_to_have_no_cheaper_one() -> None:
    page = _page(make_scene(), "proven")
    assert NONE_CHEAPER in page
    assert BEST_BUILT not in page


def test_the_best_that_was_looked_at_is_not_said_to_be_the_best_of_all() -> None:
    page = _page(make_scene(), "routes considered")
    assert BEST_BUILT in page
    assert NONE_CHEAPER not in page


def test_where_nothing_was_shown_or_to_those_who_do_not_plan_nothing_is_said() -> None:
    for scene, kind, rancher in ((make_scene(), "none", False), (make_scene("south"), "proven", True)):
        page = _page(scene, kind, rancher=rancher)
        assert NONE_CHEAPER not in page
        assert BEST_BUILT not in page
