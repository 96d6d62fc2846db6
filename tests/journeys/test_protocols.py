"""A co-op adjusts a window with a reason: plans keep it, earlier plans that break it are not published, and it can be withdrawn."""

import pytest
from django.test import Client
from django.utils import timezone
from django.utils.html import escape

from accounts.models import User
from scheduling.kernel.plan import load_plan
from scheduling.models import ProtocolAdjustment
from scheduling.services import run_jobs_once
from scheduling.services.editions import protocols_of
from tests.factories.demo import coordinator, published_demo

pytestmark = pytest.mark.django_db
PAGE = "/c/high-fork/protocols/cow_7d_cosynch_insert/"
OWN = {"step": "ai", "min_h": "61", "target_h": "62", "max_h": "64", "reason": "Dr. Abara saw better results later"}


def person(role: str) -> Client:
    """Signed in as somebody of the demo."""
    made = Client()
    made.force_login(User.objects.get(email=f"{role}@demo.example"))
    return made


def test_an_adjusted_window_is_kept_by_plans_and_stops_older_ones() -> None:
    season = published_demo(rounds=0)
    assert "adjusted" in person("adviser").post(PAGE, OWN, follow=True).content.decode()
    boss = person("coordinator")
    refused = boss.post(f"/c/high-fork/seasons/{season.pk}/publish/", follow=True).content.decode()
    assert "Not published" in refused
    boss.post(f"/api/v1/seasons/{season.pk}/optimize/", {"rounds": 0}, content_type="application/json")
    run_jobs_once(now=timezone.now)
    season.refresh_from_db()
    assert season.plan is not None
    assert season.plan.broken == []
    ids = {group["id"] for group in season.plan.problem["groups"] if group["protocol"] == "cow_7d_cosynch_insert"}
    lots = [lot for group in load_plan(season.plan.document).groups if group.id in ids for lot in group.lots]
    assert len(lots) >= 13
    assert all((lot.interval_min_h or 0) >= 61 - 0.02 and (lot.interval_max_h or 99) <= 64 + 0.02 for lot in lots)
    assert "is published" in boss.post(f"/c/high-fork/seasons/{season.pk}/publish/", follow=True).content.decode()
    row = ProtocolAdjustment.objects.get()
    boss.post(f"/c/high-fork/protocols/adjustments/{row.pk}/withdraw/")
    rule = protocols_of(season.cooperative)["cow_7d_cosynch_insert"].by_key["ai"].after
    assert rule is not None
    assert rule.window == (60, 66)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"min_h": "65"}, "in the order min_h, target_h, max_h"),
        ({"reason": "so"}, "a sentence that says why"),
        ({"step": "gnrh1"}, "Select a valid choice"),
        ({"max_h": "nan"}, "Enter a number"),
    ],
)
def test_bad_windows_are_refused(change: dict[str, str], words: str) -> None:
    published_demo(rounds=0)
    assert words in person("coordinator").post(PAGE, {**OWN, **change}).content.decode()
    assert person("rancher").post(PAGE, OWN).status_code == 403
    assert ProtocolAdjustment.objects.count() == 0
    assert coordinator().cooperative.protocol_adjustments.count() == 0


def test_every_protocol_has_a_page_with_its_sources() -> None:
    published_demo(rounds=0)
    rancher = person("rancher")
    for key, protocol in protocols_of(coordinator().cooperative).items():
        page = rancher.get(f"/c/high-fork/protocols/{key}/")
        assert page.status_code == 200
        assert all(escape(source.publisher) in page.content.decode() for source in protocol.sources)
    assert rancher.get("/c/high-fork/protocols/moon/").status_code == 404
