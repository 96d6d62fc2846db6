"""A season from empty to everybody's phone, over HTTP, with a clash on the way."""

from datetime import timedelta
from typing import Any

import icalendar
import pytest
from django.test import Client
from django.utils import timezone

from accounts.models import Cooperative, User
from accounts.permissions import Role
from herdplan.herds.models import BreedingGroup, Ranch
from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlannedStep, Season, SeasonEntry
from scheduling.services import run_jobs_once
from tests.factories.clock import run_from
from tests.factories.demo import coordinator, published_demo
from tests.factories.people import make_coop, make_person
from tests.factories.plans import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _before_the_season(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever day these tests run on: pages show what is to come."""
    run_from(monkeypatch, NOW)


RANCH = {
    "lat": "45.0",
    "lon": "-104.0",
    "zone": "America/Denver",
    "opens": "06:00",
    "closes": "20:00",
    "treat_rate": "60",
    "ai_rate": "20",
    "ai_stalls": "1",
}
TECHNICIAN = {
    "name": "Kit Sorrel",
    "lat": "45.1",
    "lon": "-104.1",
    "starts": "05:00",
    "ends": "20:00",
    "ai_rate": "25",
    "max_head_per_day": "100",
    "skills_text": "Sexed semen, ",
}
SEASON = {
    "name": "Spring",
    "first_day": "2027-04-12",
    "last_day": "2027-06-05",
    "zone": "America/Denver",
    "road_factor": "1.3",
    "speed_kmh": "70",
}
WISH = {
    "protocol": "cow_7d_cosynch_insert",
    "head": "80",
    "ai_wanted": "2027-05-10",
    "ai_from": "2027-05-08",
    "ai_to": "2027-05-14",
    "order": "kept",
    "ai_by": "technician",
    "steps_by": "ranch",
}


@pytest.fixture
def coop() -> Cooperative:
    """An empty co-op."""
    return make_coop()


@pytest.fixture
def person(coop: Cooperative) -> Client:
    """Its coordinator, signed in."""
    made = Client()
    made.force_login(make_person(coop, Role.COORDINATOR))
    return made


def post(person: Client, address: str, values: dict[str, Any]) -> str:
    """The page that follows."""
    return person.post(f"/c/north/{address}", values, follow=True).content.decode()


def set_up(person: Client) -> Season:
    """Two ranches with a group each that want one technician on one day."""
    for name in ("Upper", "Lower"):
        assert f"{name} is saved" in post(person, "ranches/new/", {**RANCH, "name": name})
        herd = Ranch.objects.get(name=name).herds.get()
        group = {"herd": str(herd.pk), "name": "Cows", "animal_class": "cow", "head": "80"}
        assert "Cows is saved" in post(person, f"ranches/{name.lower()}/groups/new/", group)
    assert "Kit Sorrel is saved" in post(person, "technicians/new/", TECHNICIAN)
    assert "Not planned yet" in post(person, "seasons/new/", SEASON)
    season = Season.objects.get()
    for made in BreedingGroup.objects.all():
        page = post(person, f"seasons/{season.pk}/groups/new/", {**WISH, "group": str(made.pk)})
        assert f"{made} is saved" in page
    return season


def plan(person: Client, season: Season, **values: str) -> Season:
    """Ask for a plan and let the loop make it."""
    assert "Waiting to plan" in post(person, f"seasons/{season.pk}/plan/", values)
    assert run_jobs_once(now=timezone.now) == 1
    season.refresh_from_db()
    return season


def test_from_nothing_to_a_published_season_on_a_phone(person: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scheduling.services.jobs.DEFAULT_SECONDS", 0.5)
    season = plan(person, set_up(person))
    assert season.plan is not None
    days = {group["ai_day"] for group in season.plan.document["groups"]}
    assert len(days) == 2  # 160 head are more than the technician's 100 a day
    page = person.get(f"/c/north/seasons/{season.pk}/").content.decode()
    assert "1 day earlier than wished" in page or "1 day later than wished" in page
    said = post(person, f"seasons/{season.pk}/publish/", {})
    assert "Plan 1 is published: 12 steps and 2 visits are new." in said
    assert Booking.objects.filter(status="confirmed").count() == 2
    before = {step.pk: (step.sequence, step.changed_at) for step in PlannedStep.objects.all()}
    assert "Plan 1 is published: nothing has changed." in post(person, f"seasons/{season.pk}/publish/", {})
    assert {step.pk: (step.sequence, step.changed_at) for step in PlannedStep.objects.all()} == before
    kit = Technician.objects.get()
    made = post(person, "feeds/", {"shows": f"technician:{kit.pk}", "name": "Kit's phone"})
    link = made.split('id="address" value="')[1].split('"')[0]
    feed = icalendar.Calendar.from_ical(Client().get(link.removeprefix("http://localhost:8000")).content)
    assert sorted(str(item["SUMMARY"])[:5] for item in feed.walk("VEVENT")) == ["Lower", "Upper"]
    week = person.get(f"/c/north/week/{kit.pk}/?from=2027-05-10").content.decode()
    assert "Upper" in week or "Lower" in week


def test_a_move_by_hand_says_what_breaks_and_cannot_be_published(
    person: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("scheduling.services.jobs.DEFAULT_SECONDS", 0.3)
    season = plan(person, set_up(person))
    assert season.plan is not None
    one, other = season.plan.document["groups"]
    page = post(person, f"seasons/{season.pk}/move/", {"entry": one["id"], "ai_day": other["ai_day"]})
    assert "clash" in page
    assert "Kit Sorrel" in page
    assert one["id"] not in page.split("<form")[0]  # names, not ids
    season.refresh_from_db()
    assert season.plan.number == 2
    assert "Not published" in post(person, f"seasons/{season.pk}/publish/", {})
    assert Booking.objects.count() == 0
    season = plan(person, season, keep="yes")
    assert season.plan is not None
    assert season.plan.broken == []
    free = next(day for day in ("2027-05-12", "2027-05-13", "2027-05-14"))
    assert "No rule is broken" in post(person, f"seasons/{season.pk}/move/", {"entry": one["id"], "ai_day": free})


def test_a_stale_plan_is_not_published_and_says_what_changed(person: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scheduling.services.jobs.DEFAULT_SECONDS", 0.3)
    season = plan(person, set_up(person))
    entry = SeasonEntry.objects.filter(group__herd__ranch__name="Upper").get()
    post(person, f"seasons/{season.pk}/groups/{entry.pk}/edit/", {**WISH, "head": "60"})
    page = post(person, f"seasons/{season.pk}/publish/", {})
    assert "Not published" in page
    assert "Upper: Cows (changed)" in page


BAD = [
    ({"protocol": "heifer_mga_pg_ftai"}, "is not for cows"),
    ({"ai_to": "2027-09-01"}, "Choose a day of the season"),
    ({"ai_wanted": "2027-05-20"}, "between the first and the last possible AI day"),
    ({"head": "-5"}, "greater than or equal to"),
    ({"head": "many"}, "whole number"),
    ({"ai_from": "2027-04-13", "ai_to": "2027-04-20", "ai_wanted": "2027-04-15"}, "begins 10 days before AI"),
    ({"group": "00000000-0000-0000-0000-000000000000"}, "Select a valid choice"),
]


@pytest.mark.parametrize(("change", "words"), BAD)
def test_bad_wishes_are_refused_in_words_and_nothing_is_saved(
    person: Client, change: dict[str, str], words: str
) -> None:
    post(person, "ranches/new/", {**RANCH, "name": "Upper"})
    group = {"herd": str(Ranch.objects.get().herds.get().pk), "name": "Cows", "animal_class": "cow", "head": "80"}
    post(person, "ranches/upper/groups/new/", group)
    post(person, "seasons/new/", SEASON)
    wish = {**WISH, "group": str(BreedingGroup.objects.get().pk), **change}
    page = post(person, f"seasons/{Season.objects.get().pk}/groups/new/", wish)
    assert words in page
    assert SeasonEntry.objects.count() == 0


def test_a_ranch_is_marked_last_of_the_day_and_plans_keep_to_it(
    person: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("scheduling.services.jobs.DEFAULT_SECONDS", 0.5)
    season = set_up(person)
    kit = Technician.objects.get()
    post(person, f"technicians/{kit.pk}/edit/", {**TECHNICIAN, "max_head_per_day": "400"})
    for name, other in (("upper", "lower"), ("lower", "upper")):
        values = {**RANCH, "name": name.title()}
        assert "last stop of the day" in post(person, f"ranches/{name}/edit/", {**values, "last_stop": "on"})
        plan(person, season)
        assert season.plan is not None
        assert season.plan.broken == []
        ranches = {row["id"]: row["name"].lower() for row in season.plan.problem["ranches"]}
        groups = {row["id"]: ranches[row["ranch"]] for row in season.plan.problem["groups"]}
        visits = sorted(season.plan.document["visits"], key=lambda row: str(row["start"]))
        assert len({row["start"][:10] for row in visits}) == 1  # one day for both, as both wish
        assert [groups[row["group"]] for row in visits] == [other, name]
        assert "last stop of the day" not in post(person, f"ranches/{name}/edit/", values)


def test_a_form_that_is_sent_twice_makes_one_of_it(person: Client) -> None:
    """Poor signal, gloves, a second tap."""
    for _ in range(2):
        ranch = post(person, "ranches/new/", {**RANCH, "name": "Upper"})
        technician = post(person, "technicians/new/", TECHNICIAN)
        barn = post(person, "barns/new/", {"name": "Blue", "stalls": "2", "clean_hours": "2"})
        season = post(person, "seasons/new/", SEASON)
        herd = Ranch.objects.get().herds.first()
        assert herd is not None
        group = {"herd": str(herd.pk), "name": "Cows", "animal_class": "cow", "head": "80"}
        cows = post(person, "ranches/upper/groups/new/", group)
        wish = {**WISH, "group": str(BreedingGroup.objects.get().pk)}
        entered = post(person, f"seasons/{Season.objects.get().pk}/groups/new/", wish)
        address = f"seasons/{Season.objects.get().pk}/groups/{SeasonEntry.objects.get().pk}/"
        post(person, address, {"text": "Gate code 44"})
    for page, words in (
        (ranch, "a ranch of this name already"),
        (technician, "a technician of this name already"),
        (barn, "a barn of this name already"),
        (season, "has a season Spring already"),
        (cows, "a group of this name already"),
        (entered, "Select a valid choice"),
    ):
        assert words in page
    assert SeasonEntry.objects.get().notes.count() == 1


def test_bad_ranches_are_refused(person: Client) -> None:
    bad = {
        "lat": ("95", "less than or equal to 90"),
        "lon": ("104", "Did the minus get lost"),
        "zone": ("Mars/Base", "Select a valid choice"),
        "closes": ("05:00", "Choose an hour after"),
        "treat_rate": ("0", "greater than or equal to 1"),
    }
    for name, (value, words) in bad.items():
        assert words in post(person, "ranches/new/", {**RANCH, "name": "Upper", name: value}), name
    assert Ranch.objects.count() == 0


def test_a_step_that_is_ticked_off_stays_in_later_plans() -> None:
    season = published_demo(rounds=0)
    step = PlannedStep.objects.filter(ranch__slug="willow-draw", key="gnrh1").first()
    assert step is not None
    PlannedStep.objects.all().update(changed_at=timezone.now())
    person = Client()
    person.force_login(coordinator().user)
    early = person.post(f"/c/high-fork/steps/{step.pk}/done/", {"at": "2027-05-03T06:12"})
    assert "lies in the future" in early.content.decode()
    assert step.entry.records.count() == 0
    now = timezone.now() - timedelta(minutes=1)
    PlannedStep.objects.filter(entry=step.entry, key__in=("gnrh1", "in")).update(
        starts=now, ends=now + timedelta(hours=1)
    )
    done = person.post(f"/c/high-fork/steps/{step.pk}/done/", {"at": now.strftime("%Y-%m-%dT%H:%M")})
    assert done.status_code in (200, 302)
    assert season.state == "published"


def test_over_the_api_a_season_is_planned_and_published() -> None:
    season = published_demo(rounds=0)
    person = Client()
    person.force_login(coordinator().user)
    asked = person.post(f"/api/v1/seasons/{season.pk}/optimize/", {"rounds": 3}, content_type="application/json")
    assert asked.status_code == 202
    job = asked.json()["id"]
    assert person.get(f"/api/v1/jobs/{job}/").json()["state"] == "queued"
    run_jobs_once(now=timezone.now)
    told = person.get(f"/api/v1/jobs/{job}/").json()
    assert (told["state"], told["progress"], told["status"]) == ("done", 100, "complete")
    answer = person.post(f"/api/v1/seasons/{season.pk}/publish/")
    assert answer.status_code == 200
    assert answer.json()["plan"] == told["plan"]
    refused = person.post(f"/api/v1/seasons/{season.pk}/optimize/", {"rounds": -1}, content_type="application/json")
    assert refused.status_code == 400
    assert "rounds" in refused.json()
    schema = person.get("/api/v1/schema/?format=json").json()
    assert schema["openapi"].startswith("3.")
    assert {"/api/v1/visits/", "/api/v1/feeds/", "/api/v1/jobs/{id}/"} <= set(schema["paths"])


def test_an_adviser_signs_off_and_others_comment() -> None:
    season = published_demo(rounds=0)
    entry = season.entries.filter(group__herd__ranch__slug="willow-draw").first()
    assert entry is not None
    address = f"/c/high-fork/seasons/{season.pk}/groups/{entry.pk}/"

    def post(role: str, tail: str, **values: str) -> int:
        person = Client()
        person.force_login(User.objects.get(email=f"{role}@demo.example"))
        return person.post(address + tail, values).status_code

    assert post("rancher", "", text="Gate code has changed") == 302
    assert post("neighbour", "", text="x") == 404
    assert [note.text for note in entry.notes.all()] == ["Gate code has changed"]
    sign = "ready/sign/"
    assert post("rancher", sign, verdict="ready", reason="They look fine to me") == 403
    assert post("coordinator", sign, verdict="not_ready", reason="Twelve cows calved in the last three weeks") == 302
    assert post("adviser", sign, verdict="ready", reason="Late calvers taken out") == 302
    assert post("adviser", sign, verdict="moon", reason="x") == 200
    assert post("neighbour", sign, verdict="ready", reason="x") == 404
    words = entry.readiness_words.all()
    assert [(word.verdict, word.withdrawn_at is None) for word in words] == [("ready", True), ("not_ready", False)]
    person = Client()
    person.force_login(coordinator().user)
    page = person.get(f"/c/high-fork/seasons/{season.pk}/groups/").content.decode()
    assert page.count("✓</span>signed off</span>") == 1
