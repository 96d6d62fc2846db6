"""Life happens, and wishes collide: over HTTP, as the coordinator and as the ranches that are asked."""

from datetime import date, timedelta

import pytest
from django.core import mail
from django.test import Client
from django.utils import timezone

from accounts.models import User
from accounts.permissions import Role
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services import run_once
from herdplan.reminders.services.asking import sweep_asks
from scheduling.models import ClashAnswer, ClashCase, GaveWay, Holiday, PlannedStep, PlanVersion, Replanning
from scheduling.services import publish, run_jobs_once
from tests.factories.clock import run_from
from tests.factories.pages import signed_in
from tests.factories.people import make_person
from tests.factories.plans import NOW, Scene, make_scene, planned

pytestmark = pytest.mark.django_db
DAY = date(2027, 5, 10)


@pytest.fixture(autouse=True)
def _before_the_season(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever day these tests run on: pages show what is to come."""
    run_from(monkeypatch, NOW)


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Scene:
    """Two groups, one technician with too few hours for both on one day; both ranches have a rancher."""
    monkeypatch.setattr("scheduling.services.replanning.SECONDS", 0.3)
    made = make_scene()
    made.bo.delete()
    made.away.people.add(make_person(made.coop, Role.RANCHER, email="birch@example.org"))
    planned(made)
    return made


def page(person: Client, address: str, **values: str) -> str:
    """The page, or the one that follows a form."""
    path = f"/c/north/{address}"
    answer = person.post(path, values, follow=True) if values else person.get(path)
    assert answer.status_code == 200, answer
    return answer.content.decode()


def desk(scene: Scene, person: Client) -> ClashCase:
    """Lay the two on the desk and let the loop try the remedies."""
    asked = page(person, f"seasons/{scene.season.pk}/clashes/", entry=str(scene.willow.pk), rival=str(scene.birch.pk))
    assert "Waiting to plan" in asked
    assert run_jobs_once(now=timezone.now) == 1
    return ClashCase.objects.get()


def test_a_clash_is_settled_by_the_members_who_are_asked(scene: Scene) -> None:
    person = signed_in(scene.coordinator.user)
    assert "Clash desk" in page(person, f"seasons/{scene.season.pk}/")
    case = desk(scene, person)
    shown = page(person, f"clashes/{case.pk}/")
    assert 3 <= shown.count("Choose this and ask the ranches") <= 5
    for words in ("Calves", "Driving", "Technician days", "What each ranch bears", "No earlier season is published"):
        assert words in shown
    remedy = case.remedies.get(kind="own_hands", family=f"own {scene.willow.pk}")
    assert "are asked" in page(person, f"clashes/remedies/{remedy.pk}/choose/", go="1")
    rancher = signed_in(scene.rancher.user)
    assert "You are asked" in page(rancher, "")
    assert "inseminates itself" in page(rancher, "asked/")
    ask = ClashAnswer.objects.get(ranch=scene.home)
    for other in ClashAnswer.objects.filter(state="waiting").exclude(pk=ask.pk):
        assert rancher.get(f"/c/north/asked/{other.pk}/").status_code == 404
        page(person, f"asked/{other.pk}/", answer="accept", reason="By telephone")
    assert rancher.post(f"/c/north/asked/{ask.pk}/", {"answer": "perhaps"}).status_code == 200
    said = page(rancher, f"asked/{ask.pk}/", answer="accept")
    assert "the plan is changed" in said
    case.refresh_from_db()
    assert case.state == "applied"
    assert "Settled" in page(person, f"clashes/{case.pk}/")
    assert "inseminates itself" in page(person, "shares/")
    assert "inseminates itself" in page(rancher, "shares/")
    stranger = signed_in(User.objects.get(email="birch@example.org"))
    assert "inseminates itself" not in page(stranger, "shares/")
    scene.season.refresh_from_db()
    assert scene.season.plan is not None
    assert "is published" in page(person, f"seasons/{scene.season.pk}/publish/", go="1")
    assert GaveWay.objects.get().ranch == scene.home


def test_a_ranch_declines_on_its_phone_and_the_coordinator_reads_why(scene: Scene) -> None:
    person, rancher = signed_in(scene.coordinator.user), signed_in(scene.rancher.user)
    case = desk(scene, person)
    remedy = case.remedies.get(kind="own_hands", family=f"own {scene.willow.pk}")
    page(person, f"clashes/remedies/{remedy.pk}/choose/", go="1")
    ask = ClashAnswer.objects.get(ranch=scene.home)
    assert "You have declined" in page(rancher, f"asked/{ask.pk}/", answer="decline", reason="Nobody here can")
    assert "Nobody here can" in page(person, f"clashes/{case.pk}/")
    assert "A ranch has declined" in page(person, f"clashes/{case.pk}/")
    assert "no longer asked" in page(rancher, f"asked/{ask.pk}/", answer="accept")
    assert "Dropped" in page(person, f"clashes/{case.pk}/drop/", go="1")


def look() -> None:
    """One look at the outbox, tomorrow at noon in Denver, outside of everybody's quiet hours.

    Not the command, which lets go of the connection that the test's transaction is on.
    """
    noon = timezone.now().replace(hour=18, minute=30) + timedelta(days=1)
    sweep_asks(now=noon)
    run_once(now=noon)


def test_messages_ask_and_tell_once_each(scene: Scene) -> None:
    person = signed_in(scene.coordinator.user)
    case = desk(scene, person)
    remedy = case.remedies.get(kind="own_hands", family=f"own {scene.willow.pk}")
    page(person, f"clashes/remedies/{remedy.pk}/choose/", go="1")
    waiting = ClashAnswer.objects.filter(state="waiting").count()
    look()
    look()
    asked = [message for message in mail.outbox if "is asked" in message.subject]
    assert len(asked) == waiting >= 1
    ask = ClashAnswer.objects.get(ranch=scene.home)
    (mine,) = [message for message in asked if message.to == [scene.rancher.user.email]]
    assert f"/c/north/asked/{ask.pk}/" in mine.body
    assert "inseminates itself" in mine.body
    page(signed_in(scene.rancher.user), f"asked/{ask.pk}/", answer="decline", reason="No crew")
    look()
    look()
    told = [message for message in mail.outbox if "declines" in message.subject]
    assert [message.to for message in told] == [[scene.coordinator.user.email]]
    assert "No crew" in told[0].body


def test_a_question_that_is_withdrawn_is_not_sent(scene: Scene) -> None:
    person = signed_in(scene.coordinator.user)
    case = desk(scene, person)
    remedy = case.remedies.get(kind="own_hands", family=f"own {scene.willow.pk}")
    page(person, f"clashes/remedies/{remedy.pk}/choose/", go="1")
    assert sweep_asks(now=timezone.now()) >= 1
    page(person, f"clashes/{case.pk}/drop/", go="1")
    assert sweep_asks(now=timezone.now()) == 0
    assert set(OutboxMessage.objects.values_list("state", flat=True)) == {"cancelled"}


def test_what_does_not_collide_is_said_on_the_form(scene: Scene) -> None:
    person = signed_in(scene.coordinator.user)
    address = f"seasons/{scene.season.pk}/clashes/"
    same = str(scene.willow.pk)
    assert "Choose two different groups" in page(person, address, entry=same, rival=same)
    assert "Select a valid choice" in page(person, address, entry="00000000-0000-0000-0000-000000000000")
    assert "days from their wish" in page(person, f"{address}?days=1")
    assert "days from their wish" in page(person, f"{address}?days=x")
    assert not ClashCase.objects.exists()


def test_somebody_falls_ill_and_the_new_plan_is_accepted_and_published(scene: Scene) -> None:
    plan = PlanVersion.objects.get()
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=NOW)
    person = signed_in(scene.coordinator.user)
    start = f"seasons/{scene.season.pk}/replan/"
    listed = page(person, start)
    for _, label in Replanning.Kind.choices:
        assert label in listed
    values = {"technician": str(scene.ann.pk), "first_day": "2027-05-10", "last_day": "2027-05-10", "reason": "Flu"}
    assert "not before the first" in page(person, f"{start}technician_ill/", **{**values, "last_day": "2027-05-09"})
    assert not Replanning.objects.exists()
    assert "Waiting to plan" in page(person, f"{start}technician_ill/", **values, past_is_done="on")
    assert run_jobs_once(now=timezone.now) == 1
    row = Replanning.objects.get()
    shown = page(person, f"replannings/{row.pk}/")
    for words in (
        "Ann cannot come on Mon 10 May",
        "Who is asked to change what",
        "Not changing would cost",
        "AI moves from",
    ):
        assert words in shown
    assert "is published" in page(person, f"replannings/{row.pk}/accept/", publish="yes")
    assert scene.ann.days_off.get().reason == "Flu"
    moved = PlannedStep.objects.filter(key="ai", status="planned").values_list("starts", flat=True)
    assert DAY not in {start.date() for start in moved}
    assert "accepted already" in page(person, f"replannings/{row.pk}/accept/", publish="yes")
    assert "Accepted" in page(person, start)
    assert person.get(f"/c/north/{start}moon/").status_code == 404


FORMS = [
    ("ranch_closed", {"first_day": "2027-05-10", "last_day": "2027-05-10", "reason": ""}),
    ("weather", {"around": "", "first_day": "2027-05-10", "last_day": "2027-05-11", "reason": "Blizzard"}),
    ("late_headcount", {"head": "71"}),
    ("lost_slot", {"first_day": "2027-05-14", "last_day": "2027-05-19"}),
]


@pytest.mark.parametrize(("kind", "values"), FORMS)
def test_each_kind_is_said_planned_and_dropped(scene: Scene, kind: str, values: dict[str, str]) -> None:
    person = signed_in(scene.coordinator.user)
    subject = {"ranch": str(scene.home.pk)} if kind == "ranch_closed" else {}
    subject |= {"entry": str(scene.willow.pk)} if kind in ("late_headcount", "lost_slot") else {}
    address = f"seasons/{scene.season.pk}/replan/{kind}/"
    assert "Plan around it" in page(person, address)
    assert "Waiting to plan" in page(person, address, **values, **subject)
    run_jobs_once(now=timezone.now)
    row = Replanning.objects.get()
    assert "Accept as a draft" in page(person, f"replannings/{row.pk}/")
    assert "Dropped" in page(person, f"replannings/{row.pk}/drop/", go="1")
    assert "is the plan in work" not in page(person, f"replannings/{row.pk}/accept/", go="1")
    assert PlanVersion.objects.count() == 1


def test_weather_around_a_ranch_counts_in_the_persons_unit(scene: Scene) -> None:
    person = signed_in(scene.coordinator.user)
    address = f"seasons/{scene.season.pk}/replan/weather/"
    assert "Within, miles" in page(person, address)
    days = {"first_day": "2027-05-10", "last_day": "2027-05-10"}
    page(person, address, around=str(scene.home.pk), within="5", **days)
    assert Replanning.objects.get().event["ranches"] == [str(scene.home.pk)]


def test_holidays_are_kept_by_the_coordinator_and_read_by_all(scene: Scene) -> None:
    person, rancher = signed_in(scene.coordinator.user), signed_in(scene.rancher.user)
    values = {"day": "2027-05-31", "name": "Memorial Day"}
    assert "is in the list" in page(person, "holidays/", **values)
    assert "in the list already" in page(person, "holidays/", **values)
    assert "Enter a valid date" in page(person, "holidays/", day="soon", name="x")
    assert rancher.post("/c/north/holidays/", values).status_code == 403
    assert "Memorial Day" in page(rancher, "holidays/")
    row = Holiday.objects.get()
    assert "like any other day" in page(person, f"holidays/{row.pk}/remove/", go="1")
    assert not Holiday.objects.exists()


def test_shares_count_published_weekends_and_holidays(scene: Scene) -> None:
    person = signed_in(scene.coordinator.user)
    assert "No season is published yet" in page(person, "shares/")
    plan = PlanVersion.objects.get()
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=NOW)
    assert "0 of 1 AI days" in page(person, "shares/")
    for group in plan.document["groups"]:
        Holiday.objects.create(cooperative=scene.coop, day=group["ai_day"], name="Fair")
    shown = page(person, "shares/")
    assert shown.count("1 of 1 AI days") == 2
    assert page(signed_in(scene.rancher.user), "shares/").count("1 of 1 AI days") == 1
