"""Readiness, programmes and money over HTTP as JSON: the same figures as the pages, and records in by the same judge."""

from datetime import timedelta
from decimal import Decimal as D
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.models import Membership
from accounts.permissions import Role
from herdplan.herds.models import Female, Record
from scheduling.models import CoopPrices
from scheduling.services import publish
from scheduling.services.statements import season_costs
from tests.factories.clock import stand_still
from tests.factories.pages import signed_in
from tests.factories.plans import NOW, Scene, make_scene, planned
from tests.factories.readiness import AI, WEANED_LB, keep_from_bulls, make_cows, make_heifers

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Scene:
    """Two ranches with a group each on 1 April 2027, AI wished on 10 May."""
    stand_still(monkeypatch, NOW)
    return make_scene()


def told(client: Client, scene: Scene, tail: str) -> Any:
    """What a route below the season says."""
    answer = client.get(f"/api/v1/seasons/{scene.season.pk}/{tail}")
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_readiness_of_season_group_and_female(scene: Scene) -> None:
    make_cows(scene.willow, 3)
    (late,) = make_cows(scene.willow, 1, first=9, calved=AI - timedelta(days=45))
    keep_from_bulls(scene.willow)
    boss = signed_in(scene.rancher.user)
    (row,) = told(boss, scene, "readiness/")["results"]
    assert (row["group_name"], row["head"], row["known"]) == ("Willow", 60, 4)
    assert (row["ready"], row["ready_if"], row["not_this_time"]) == (3, 1, 0)
    assert (row["ai_day"], row["ai_day_from"], row["signed_off"]) == ("2027-05-10", "wish", None)
    group = told(boss, scene, f"groups/{row['entry']}/readiness/")
    nine = next(one for one in group["females"] if one["tag"] == "9")
    assert (nine["verdict"], [reason["code"] for reason in nine["reasons"]]) == ("ready_if", ["days_ai"])
    assert "Beef Cattle Research Council" in nine["reasons"][0]["sources"][0]
    assert group["second_group"]["tags"] == ["9"]
    assert {item["code"] for item in group["findings"]} >= {"average_days", "youngest"}
    assert group["work"][0]["sentence"].startswith("Take 1 head with a poorer chance")
    female = told(boss, scene, f"groups/{row['entry']}/readiness/{late.pk}/")
    assert (female["verdict"], female["days_since_calving_at_ai"]) == ("ready_if", 45)
    assert {check["code"] for check in female["checks"]} >= {"days_ai", "days_insert", "condition", "boosters"}


def test_readiness_asks_a_constant_number_of_times(scene: Scene) -> None:
    boss = signed_in(scene.rancher.user)
    counts = []
    for first, head in ((1, 5), (100, 60)):
        make_cows(scene.willow, head, first=first)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            told(boss, scene, f"groups/{scene.willow.pk}/readiness/")
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 12


def test_programmes_are_ranked_with_reasons_and_sorted_by_what_is_asked(scene: Scene) -> None:
    boss, tail = signed_in(scene.rancher.user), f"groups/{scene.willow.pk}/programmes/"
    found = told(boss, scene, tail)
    assert [item["place"] for item in found["ranked"]] == list(range(1, len(found["ranked"]) + 1))
    assert all(len(item["reasons"]) >= 3 for item in found["ranked"])
    assert all(option["objections"] for option in found["left_out"])
    best = found["ranked"][0]["option"]
    share = D(str(best["rate"]))
    assert D(best["cost_a_pregnancy"]["middle"]) == pytest.approx(D(best["cost_a_head"]) / share, abs=D("0.02"))
    short = told(boss, scene, f"{tail}?most_trips=3&watch_days=0")
    assert all(item["option"]["trips"] <= 3 and not item["option"]["heat_days"] for item in short["ranked"])
    bad = boss.get(f"/api/v1/seasons/{scene.season.pk}/{tail}?crew=0")
    assert (bad.status_code, list(bad.json())) == (400, ["crew"])


def test_a_budget_adds_up_and_follows_what_is_asked(scene: Scene) -> None:
    boss, tail = signed_in(scene.rancher.user), f"groups/{scene.willow.pk}/budget/"
    found = told(boss, scene, tail)
    signed = [D(line["amount"]) * (1 if line["good"] else -1) for line in found["lines"]]
    assert sum(signed) == pytest.approx(D(found["net"]), abs=D("0.03"))
    assert found["sensitivity"]
    dear = told(boss, scene, f"{tail}?bull_price=9000")
    assert D(dear["bull_a_year"]) > D(found["bull_a_year"])
    bad = boss.get(f"/api/v1/seasons/{scene.season.pk}/{tail}?bull_years=0")
    assert (bad.status_code, list(bad.json())) == (400, ["bull_years"])


def test_statements_are_those_of_the_pages(scene: Scene) -> None:
    CoopPrices.objects.create(cooperative=scene.coop, technician_day=D(300), km=D("0.5"))
    boss, coordinator = signed_in(scene.rancher.user), signed_in(scene.coordinator.user)
    assert told(boss, scene, "costs/") == []
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    scene.season.refresh_from_db()
    assert scene.season.published_plan is not None
    whole = season_costs(scene.season.published_plan, CoopPrices.objects.get(), "mi")
    everybody = told(coordinator, scene, "costs/")
    assert sum(D(row["total"]) for row in everybody) == whole.whole > 0
    (mine,) = told(boss, scene, "costs/")
    assert mine == told(boss, scene, f"costs/{scene.home.pk}/")
    assert sum(D(item["part"]) for item in mine["items"]) == D(mine["total"])
    assert mine in everybody


# --- records in ---


@pytest.fixture
def heifer(scene: Scene) -> Female:
    """A heifer of the rancher's ranch."""
    return make_heifers(scene, [700])[1][0]


def send(scene: Scene, female: Female, **seen: Any) -> Any:
    """The rancher's program says what was seen on 1 April."""
    sent = {"day": "2027-04-01", **seen}
    return signed_in(scene.rancher.user).post(f"/api/v1/females/{female.pk}/records/", sent, "application/json")


@pytest.mark.parametrize(
    ("seen", "field", "words"),
    [
        ({"weight": 40 * WEANED_LB}, "weight", "cannot be"),
        ({"calved": "2028-03-01"}, "calved", "lies in the future"),
        ({"tract": 7}, "tract", "1 to 5 is allowed"),
        ({"pelvic_height": 5.1, "pelvic_width": 4.7}, "pelvic_height", "Is it in inches?"),
        ({"days_pregnant": 3}, "days_pregnant", "25 to 300 days"),
        ({"weight": 500}, "weight", "Name the field in keep"),
        ({"weight": "nan"}, "weight", "valid number"),
        ({}, "detail", "Nothing was said"),
    ],
)
def test_bad_records_are_refused_with_the_field_and_nothing_is_saved(
    scene: Scene, heifer: Female, seen: dict[str, Any], field: str, words: str
) -> None:
    before = Record.objects.count()
    answer = send(scene, heifer, condition=5, **seen) if seen else send(scene, heifer)
    assert answer.status_code == 400
    assert words in str(answer.json()[field])
    assert Record.objects.count() == before


def test_good_records_come_in_and_a_question_is_answered_once(scene: Scene, heifer: Female) -> None:
    answer = send(scene, heifer, weight=500, keep=["weight"], condition=5.5, vaccines=["leptospira"])
    assert (answer.status_code, answer.json()) == (201, {"new": 3, "replaced": 0, "same": 0})
    assert send(scene, heifer, condition=5.5).json() == {"new": 0, "replaced": 0, "same": 1}
    assert send(scene, heifer, days_pregnant=60).status_code == 201
    check = Record.objects.get(kind="pregnancy", female=heifer)
    assert (check.pregnancy, check.days_pregnant) == ("pregnant", 60)
    seen = signed_in(scene.rancher.user).get(f"/api/v1/females/{heifer.pk}/records/").json()["results"]
    assert {row["due"] for row in seen if row["kind"] != "pregnancy"} == {None}
    assert (
        next(row["due"] for row in seen if row["kind"] == "pregnancy") == "2027-11-10"
    )  # 283 - 60 days on: "Gestation Length" guideline, Beef Improvement Federation


# --- links that lead somewhere ---


def test_a_technician_who_is_a_rancher_is_offered_readiness_of_her_own_ranch_alone(scene: Scene) -> None:
    Membership.objects.create(user=scene.rancher.user, cooperative=scene.coop, role=Role.TECHNICIAN)
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    both, base = signed_in(scene.rancher.user), f"/c/north/seasons/{scene.season.pk}"
    mine, theirs = (f"{base}/groups/{entry.pk}/ready/" for entry in (scene.willow, scene.birch))
    assert (both.get(mine).status_code, both.get(theirs).status_code) == (200, 404)
    for page in (f"{base}/", f"{base}/groups/"):
        said = both.get(page).content.decode()
        assert (mine in said, theirs in said) == (True, False), page
    assert theirs not in both.get(f"{base}/groups/{scene.birch.pk}/").content.decode()


def test_the_schema_holds_the_routes_of_advice_and_warns_of_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("spectacular", "--validate", "--fail-on-warn")
    schema = capsys.readouterr().out
    below = "/api/v1/seasons/{id}/groups/{entry}"
    for path in ("/readiness/", "/readiness/{female}/", "/programmes/", "/budget/"):
        assert f"{below}{path}:" in schema
    for path in ("readiness/", "costs/", "costs/{ranch}/"):
        assert f"/api/v1/seasons/{{id}}/{path}:" in schema
