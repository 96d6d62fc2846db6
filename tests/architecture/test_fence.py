"""Every page and API route, walked as everybody. A route that nobody classified fails."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from accounts.models import Invitation, Membership, User
from herdplan.calendars.models import FeedToken
from herdplan.herds.models import BreedingGroup, ChuteDay, Female, Herd, Ranch, Record, RecordUpload
from herdplan.reminders.models import ChangeNotice, OutboxMessage, PushSubscription, ServiceAddress
from herdplan.technicians.models import Barn, DayOff, Technician
from scheduling.models import (
    ClashAnswer,
    ClashCase,
    ClashRemedy,
    Holiday,
    PlanJob,
    PlannedMove,
    PlannedStep,
    PlanTrial,
    ProtocolAdjustment,
    ReadinessLimit,
    ReadinessWord,
    Replanning,
    Season,
    SeasonEntry,
    WeatherFile,
)
from tests.factories.demo import published_demo

pytestmark = pytest.mark.django_db

# What GET answers: coordinator, rancher (on a ranch of her own), technician, adviser. A page for POST alone says 405 to whoever
# gets past the fence. Strangers always get 404, anonymous visitors are sent to sign in.
PAGES: dict[str, tuple[int, int, int, int]] = {
    "scheduling:today": (200, 200, 200, 200),
    "scheduling:technician_week": (200, 403, 200, 200),
    "scheduling:seasons": (200, 200, 200, 200),
    "scheduling:season_new": (200, 403, 403, 403),
    "scheduling:season": (200, 200, 200, 200),
    "scheduling:season_edit": (200, 403, 403, 403),
    "scheduling:entries": (200, 200, 200, 200),
    "scheduling:entry_new": (200, 200, 403, 403),
    "scheduling:entry": (200, 200, 200, 200),
    "scheduling:entry_edit": (200, 200, 403, 403),
    "scheduling:entry_withdraw": (405, 405, 405, 405),
    "scheduling:plan_season": (405, 405, 405, 405),
    "scheduling:move": (405, 405, 405, 405),
    "scheduling:remedy": (405, 405, 405, 405),
    "scheduling:publish": (405, 405, 405, 405),
    "scheduling:use_plan": (405, 405, 405, 405),
    "scheduling:choose": (200, 200, 200, 200),
    "scheduling:choose_use": (405, 405, 405, 405),
    "scheduling:choose_group": (200, 200, 200, 200),
    "scheduling:budget": (200, 200, 200, 200),
    "scheduling:preparation": (200, 200, 200, 200),
    "scheduling:moves": (200, 200, 200, 200),
    "scheduling:day_sheet": (200, 200, 200, 200),
    "scheduling:entry_preparation": (200, 200, 200, 200),
    "scheduling:after_ai": (200, 200, 200, 200),
    "scheduling:care": (200, 200, 403, 403),
    "scheduling:item": (200, 200, 200, 200),
    "scheduling:item_tick": (405, 405, 405, 405),
    "scheduling:move_new": (200, 200, 403, 403),
    "scheduling:move_edit": (200, 200, 403, 403),
    "scheduling:move_withdraw": (405, 405, 405, 405),
    "scheduling:group_preparation": (200, 200, 200, 200),
    "scheduling:ready": (302, 302, 403, 302),
    "scheduling:readiness": (200, 200, 403, 200),
    "scheduling:ready_group": (200, 200, 403, 200),
    "scheduling:ready_sign": (405, 405, 405, 405),
    "scheduling:late_calvers": (200, 200, 403, 200),
    "scheduling:ready_female": (200, 200, 403, 200),
    "scheduling:ready_override": (405, 405, 405, 405),
    "scheduling:ready_withdraw": (405, 405, 405, 405),
    "scheduling:ready_of_group": (302, 302, 403, 302),
    "scheduling:ready_of_female": (302, 302, 403, 302),
    "scheduling:limits": (200, 200, 200, 200),
    "scheduling:limit_withdraw": (405, 405, 405, 405),
    "scheduling:whys": (200, 200, 200, 200),
    "scheduling:why": (200, 200, 200, 200),
    "scheduling:prices": (200, 200, 403, 200),
    "scheduling:costs": (200, 200, 403, 403),
    "scheduling:statement": (200, 200, 403, 403),
    "scheduling:statement_csv": (200, 200, 403, 403),
    "scheduling:heat": (200, 302, 200, 200),
    "scheduling:heat_ranch": (200, 200, 200, 200),
    "scheduling:weather_file_new": (200, 200, 403, 403),
    "scheduling:weather_file_coop": (200, 403, 403, 403),
    "scheduling:weather_normals": (200, 200, 403, 403),
    "scheduling:weather_normals_coop": (200, 403, 403, 403),
    "scheduling:weather_file_remove": (405, 405, 405, 405),
    "scheduling:protocols": (200, 200, 200, 200),
    "scheduling:protocol": (200, 200, 200, 200),
    "scheduling:adjustment_withdraw": (405, 405, 405, 405),
    "scheduling:replan": (200, 403, 403, 403),
    "scheduling:replan_form": (200, 403, 403, 403),
    "scheduling:replanning": (200, 403, 403, 403),
    "scheduling:replanning_accept": (405, 405, 405, 405),
    "scheduling:replanning_drop": (405, 405, 405, 405),
    "scheduling:clashes": (200, 403, 403, 403),
    "scheduling:clash": (200, 403, 403, 403),
    "scheduling:clash_drop": (405, 405, 405, 405),
    "scheduling:remedy_choose": (405, 405, 405, 405),
    "scheduling:asks": (200, 200, 403, 403),
    "scheduling:ask": (200, 200, 403, 403),
    "scheduling:shares": (200, 200, 200, 200),
    "scheduling:holidays": (200, 200, 200, 200),
    "scheduling:holiday_remove": (405, 405, 405, 405),
    "scheduling:job": (200, 403, 200, 200),
    "scheduling:job_stop": (405, 405, 405, 405),
    "scheduling:step_done": (200, 200, 200, 403),
    "scheduling:step_undo": (405, 405, 405, 405),
    "herds:ranches": (200, 200, 200, 200),
    "herds:ranch_new": (200, 403, 403, 403),
    "herds:ranch": (200, 200, 200, 200),
    "herds:ranch_edit": (200, 200, 403, 403),
    "herds:closed_day_add": (405, 405, 405, 405),
    "herds:closed_day_remove": (405, 405, 405, 405),
    "herds:herd_new": (200, 200, 403, 403),
    "herds:group_new": (200, 200, 403, 403),
    "herds:import": (200, 200, 403, 403),
    "herds:females": (200, 200, 403, 200),
    "herds:herd_edit": (200, 200, 403, 403),
    "herds:herd_remove": (405, 405, 405, 405),
    "herds:export": (200, 200, 403, 200),
    "herds:female_new": (200, 200, 403, 403),
    "herds:female": (200, 200, 403, 200),
    "herds:female_edit": (200, 200, 403, 403),
    "herds:record_new": (200, 200, 403, 403),
    "herds:record_remove": (405, 405, 405, 405),
    "herds:hold_end": (405, 405, 405, 405),
    "herds:records_csv": (200, 200, 403, 200),
    "herds:records_xlsx": (200, 200, 403, 200),
    "herds:records_import": (200, 200, 403, 403),
    "herds:records_match": (200, 200, 403, 403),
    "herds:chute_start": (200, 200, 403, 403),
    "herds:chute": (200, 200, 403, 403),
    "herds:chute_edit": (200, 200, 403, 403),
    "herds:chute_animal": (200, 200, 403, 403),
    "herds:group_edit": (200, 200, 403, 403),
    "herds:group_remove": (405, 405, 405, 405),
    "technicians:technicians": (200, 403, 200, 200),
    "technicians:technician_new": (200, 403, 403, 403),
    "technicians:technician": (200, 403, 200, 200),
    "technicians:technician_edit": (200, 403, 200, 403),
    "technicians:day_off_add": (405, 405, 405, 405),
    "technicians:day_off_remove": (405, 405, 405, 405),
    "technicians:barn_new": (200, 403, 403, 403),
    "technicians:barn_edit": (200, 403, 403, 403),
    "calendars:feeds": (200, 200, 200, 200),
    "calendars:channel": (405, 405, 405, 405),
    "calendars:answers": (200, 403, 403, 403),
    "calendars:own": (200, 200, 200, 200),
    "calendars:own_stop": (405, 405, 405, 405),
    "calendars:feed_revoke": (405, 405, 405, 405),
    "reminders:outbox": (200, 403, 403, 403),
    "reminders:again": (405, 405, 405, 405),
    "reminders:calls": (200, 403, 403, 403),
    "reminders:called": (405, 405, 405, 405),
    "reminders:changes": (200, 200, 200, 200),
    "reminders:change_seen": (405, 405, 405, 405),
    "reminders:mine": (200, 200, 200, 200),
    "reminders:rule": (404, 200, 404, 404),
    "reminders:channels": (200, 200, 200, 200),
    "reminders:trial": (405, 405, 405, 405),
    "reminders:push_add": (405, 405, 405, 405),
    "reminders:push_remove": (405, 405, 405, 405),
    "reminders:service_remove": (405, 405, 405, 405),
    "accounts:people": (200, 403, 403, 200),
    "accounts:roles": (200, 403, 403, 200),
    "accounts:role_end": (405, 405, 405, 405),
    "accounts:invitation_withdraw": (405, 405, 405, 405),
    "invite": (405, 405, 405, 405),
}
# What POST answers where GET is not served: weak roles are refused; strangers get 404.
POSTS: dict[str, tuple[int, int, int, int]] = {
    "scheduling:adjustment_withdraw": (302, 403, 403, 302),
    "scheduling:choose_use": (302, 302, 403, 403),
    "scheduling:weather_file_remove": (302, 302, 403, 403),
    "scheduling:item_tick": (302, 302, 403, 403),
    "scheduling:move_withdraw": (302, 302, 403, 403),
    "scheduling:ready_sign": (200, 403, 403, 200),
    "scheduling:ready_override": (200, 403, 403, 200),
    "scheduling:ready_withdraw": (302, 403, 403, 302),
    "scheduling:limit_withdraw": (302, 403, 403, 302),
    "scheduling:entry_withdraw": (302, 302, 403, 403),
    "scheduling:plan_season": (302, 403, 403, 403),
    "scheduling:move": (302, 403, 403, 403),
    "scheduling:remedy": (302, 403, 403, 403),
    "scheduling:publish": (302, 403, 403, 403),
    "scheduling:use_plan": (302, 403, 403, 403),
    "scheduling:replanning_accept": (302, 403, 403, 403),
    "scheduling:replanning_drop": (302, 403, 403, 403),
    "scheduling:clash_drop": (302, 403, 403, 403),
    "scheduling:remedy_choose": (302, 403, 403, 403),
    "scheduling:holiday_remove": (302, 403, 403, 403),
    "scheduling:job_stop": (302, 403, 403, 403),
    "scheduling:step_undo": (302, 302, 403, 403),
    "herds:closed_day_add": (302, 302, 403, 403),
    "herds:closed_day_remove": (302, 302, 403, 403),
    "herds:herd_remove": (302, 302, 403, 403),
    "herds:group_remove": (302, 302, 403, 403),
    "herds:hold_end": (302, 302, 403, 403),
    "herds:record_remove": (302, 302, 403, 403),
    "technicians:day_off_add": (200, 403, 200, 403),
    "technicians:day_off_remove": (302, 403, 302, 403),
    "calendars:channel": (302, 302, 302, 302),
    "calendars:own_stop": (302, 302, 302, 302),
    "calendars:feed_revoke": (302, 404, 404, 404),
    "reminders:again": (302, 403, 403, 403),
    "reminders:called": (302, 403, 403, 403),
    "reminders:change_seen": (302, 404, 404, 404),
    "reminders:trial": (302, 302, 302, 302),
    "reminders:push_add": (400, 400, 400, 400),
    "reminders:push_remove": (302, 404, 404, 404),
    "reminders:service_remove": (302, 404, 404, 404),
    "accounts:role_end": (302, 403, 403, 403),
    "accounts:invitation_withdraw": (302, 403, 403, 403),
    "invite": (302, 403, 403, 403),
}
OPEN = {
    "home",
    "profile",
    "invitation",
    "feed",
    "answer",
    "caldav",
    "caldav_below",
    "caldav_known",
    "healthz",
    "robots",
    "api-schema",
    "api-docs",
    "api-root",
    "seen",
    "push_worker",
}
ROLES = ("coordinator", "rancher", "technician", "adviser")
LISTS = {
    "ranches": (12, 1, 12, 12),
    "herds": (12, 1, 12, 12),
    "groups": (25, 2, 25, 25),
    "females": (140, 140, 0, 140),
    "technicians": (4, 0, 4, 4),
    "seasons": (1, 1, 1, 1),
}


@pytest.fixture
def season() -> Season:
    """The published demo."""
    return published_demo(rounds=2)


def routes() -> Iterator[tuple[str, str]]:
    """Name and path pattern of every address of ours."""

    def walk(patterns: list[Any], prefix: str, space: str) -> Iterator[tuple[str, str]]:
        for item in patterns:
            if isinstance(item, URLResolver):
                inner = f"{space}{item.namespace}:" if item.namespace else space
                yield from walk(item.url_patterns, prefix + str(item.pattern), inner)
            elif isinstance(item, URLPattern):
                yield f"{space}{item.name}", prefix + str(item.pattern)

    yield from walk(get_resolver().url_patterns, "", "")


def ours() -> dict[str, str]:
    """Addresses below a co-op."""
    return {name: path for name, path in routes() if path.startswith("c/<slug:coop>/")}


def test_every_address_is_classified() -> None:
    others = {
        name
        for name, path in routes()
        if not path.startswith(("c/<slug:coop>/", "accounts/", "admin/", "api/v1/")) and name not in OPEN
    }
    assert not others
    assert set(ours()) == set(PAGES)
    assert {name for name, answers in PAGES.items() if answers[0] == 405} == set(POSTS)


def test_every_api_route_is_walked() -> None:
    prefixes = {path.split("/")[2].split("^")[-1] for _, path in routes() if path.startswith("api/v1/^")}
    named = {name.split("-")[1] for name, path in routes() if name.startswith("api-") and "list" in name}
    assert prefixes or named
    assert named == {*LISTS, "visits", "feeds"}


def client(role: str) -> Client:
    """Signed in as the demo's person of that role."""
    made = Client(raise_request_exception=True)
    made.force_login(User.objects.get(email=f"{role}@demo.example"))
    return made


def step_of_others(ranch: Ranch, person: Technician) -> PlannedStep:
    """A first treatment of a group that the technician is not booked for: whoever is booked may tick its steps off."""
    steps = PlannedStep.objects.filter(ranch=ranch, key="gnrh1")
    free = steps.exclude(entry__bookings__technician=person).first()
    if free is not None:
        return free
    step = steps[0]
    step.entry.bookings.filter(technician=person).update(status="cancelled")
    return step


def subjects(season: Season) -> dict[str, Any]:
    """An object for every part of an address: on the rancher's own ranch, the technician's own profile."""
    ranch = Ranch.objects.get(slug="willow-draw")
    person = Technician.objects.get(user__email="technician@demo.example")
    herd = Herd.objects.get(ranch=ranch)
    closed = ranch.closed_days.create(day=season.first_day)
    off = DayOff.objects.create(technician=person, first_day=season.first_day, last_day=season.first_day)
    owner = User.objects.get(email="coordinator@demo.example")
    feed = FeedToken.objects.create(
        cooperative=season.cooperative, owner=owner, name="x", kind="coop", token_hash="0" * 64
    )
    return {
        "coop": "high-fork",
        "season": season.pk,
        "entry": SeasonEntry.objects.filter(group__herd=herd).order_by("group__name")[0].pk,
        "job": PlanJob.objects.filter(season=season)[0].pk,
        "step": step_of_others(ranch, person).pk,
        "number": 1,
        "ranch": ranch.slug,
        "herd": herd.pk,
        "group": BreedingGroup.objects.filter(herd=herd)[0].pk,
        "female": Female.objects.filter(herd=herd)[0].pk,
        "record": Record.objects.create(
            female=Female.objects.filter(herd=herd)[0], kind="hold", day="2026-03-02", reason="Lame"
        ).pk,
        "chute": ChuteDay.objects.create(herd=herd, day="2026-03-02", asked=["weight"]).pk,
        "upload": RecordUpload.objects.create(herd=herd, name="f.csv", table=[["Tag", "Weight"], ["101", "1150"]]).pk,
        "technician": person.pk,
        "barn": Barn.objects.get().pk,
        "feed": feed.pk,
        "message": OutboxMessage.objects.create(
            cooperative=season.cooperative, address="a@b.c", subject="", body="", dedup_key="1", due=closed.day.strftime("%Y-%m-%dT00:00Z")
        ).pk,
        "notice": ChangeNotice.objects.create(
            cooperative=season.cooperative, user=owner, title="Moved", text="Moved", urgent=True, seen_by="2027-01-01T00:00Z"
        ).pk,
        "push": PushSubscription.objects.create(user=owner, label="x", endpoint="https://push.example/x", endpoint_hash="3" * 64).pk,
        "service": ServiceAddress.objects.create(user=owner, label="x", service="x", sealed="x").pk,
        "code": "evening_before",
        "membership": Membership.objects.get(user__email="adviser@demo.example").pk,
        "invitation": Invitation.objects.create(
            cooperative=season.cooperative, email="n@b.c", role="rancher", token_hash="2" * 64, expires_at="2030-01-01T00:00Z"
        ).pk,
        "protocol": "cow_7d_cosynch_insert",
        "adjustment": ProtocolAdjustment.objects.create(
            cooperative=season.cooperative, protocol="cow_7d_cosynch_insert", step="ai", min_h=61, target_h=63, max_h=66, reason="Advised"
        ).pk,
        "weather": WeatherFile.objects.create(
            cooperative=season.cooperative, ranch=ranch, name="w.csv", first_hour="2027-05-01T00:00Z", last_hour="2027-05-01T02:00Z", count=2
        ).pk,
        "word": ReadinessWord.objects.create(
            entry=SeasonEntry.objects.filter(group__herd=herd).order_by("group__name")[0], verdict="ready", reason="Seen"
        ).pk,
        "limit": ReadinessLimit.objects.create(
            cooperative=season.cooperative, field="ai_days", value=45, reason="Advised"
        ).pk,
        "closed": closed.pk,
        "off": off.pk,
        **on_the_desk(season, ranch),
    }  # fmt: skip


def on_the_desk(season: Season, ranch: Ranch) -> dict[str, Any]:
    """Something that happened, a clash with a remedy, a question to the rancher's ranch, a holiday."""
    plan = season.published_plan
    assert plan is not None

    def trial() -> PlanTrial:
        return PlanTrial.objects.create(season=season, base=plan, problem=plan.problem, document=plan.document)

    entry = SeasonEntry.objects.filter(group__herd__ranch=ranch)[0]
    move = PlannedMove.objects.create(
        entry=entry, kind="haul", day=entry.ai_wanted, origin="home", goal="hills", changed_at="2027-03-01T00:00Z"
    )
    case = ClashCase.objects.create(
        season=season, kind="moved", group=entry, day=entry.ai_wanted, base=plan, state="asking"
    )
    remedy = ClashRemedy.objects.create(
        case=case, number=1, kind="move", family="a", title="x", trial=trial(), works=True
    )
    ClashCase.objects.filter(pk=case.pk).update(chosen=remedy)
    return {
        "item": "facility",
        "planned": move.pk,
        "kind": "technician_ill",
        "replanning": Replanning.objects.create(
            season=season, kind="steps_done", event={}, title="x", trial=trial()
        ).pk,
        "case": case.pk,
        "remedy": remedy.pk,
        "answer": ClashAnswer.objects.create(remedy=remedy, ranch=ranch, texts=["x"]).pk,
        "holiday": Holiday.objects.create(cooperative=season.cooperative, day=season.first_day, name="x").pk,
    }


def path_of(name: str, pattern: str, found: dict[str, Any]) -> str:
    """The address with the demo's objects filled in."""

    def fill(match: re.Match[str]) -> str:
        part = match[1]
        if name == "scheduling:why":
            return {"coop": str(found["coop"]), "code": "haul"}[part]
        if part == "day":
            return str(found["closed" if name.startswith("herds") else "off"])
        return str(found[part])

    return "/" + re.sub(r"<\w+:(\w+)>", fill, pattern)


@pytest.mark.parametrize("who", [0, 1, 2, 3])
def test_pages_answer_each_role_as_the_table_says(season: Season, who: int) -> None:
    found, person = subjects(season), client(ROLES[who])
    answers = {name: person.get(path_of(name, path, found)).status_code for name, path in ours().items()}
    assert answers == {name: expected[who] for name, expected in PAGES.items()}


@pytest.mark.parametrize("who", [1, 2, 3])
def test_weak_roles_cannot_post(season: Season, who: int) -> None:
    found, person = subjects(season), client(ROLES[who])
    for name, expected in POSTS.items():
        if expected[who] in (403, 404):
            assert person.post(path_of(name, ours()[name], found)).status_code == expected[who], name


def test_whoever_may_can_post(season: Season) -> None:
    found, person = subjects(season), client("coordinator")
    answers = {name: person.post(path_of(name, ours()[name], found)).status_code for name in POSTS}
    assert answers == {name: expected[0] for name, expected in POSTS.items()}


def test_a_stranger_finds_nothing(season: Season) -> None:
    found, stranger = subjects(season), client("neighbour")
    for name, path in ours().items():
        address = path_of(name, path, found)
        wanted = 405 if name in POSTS else 404
        assert stranger.get(address).status_code == wanted, name
        assert stranger.post(address).status_code == 404, name


def test_another_coops_ids_are_not_found_through_ones_own_address(season: Season) -> None:
    found, stranger = {**subjects(season), "coop": "salt-reach"}, client("neighbour")
    for name, path in ours().items():
        if path.count("<") > 1 and name not in (
            "scheduling:protocol",
            "scheduling:why",
        ):  # catalogue and whys are nobody's
            answer = (
                stranger.post(path_of(name, path, found)) if name in POSTS else stranger.get(path_of(name, path, found))
            )
            assert answer.status_code == 404, name


def test_anonymous_visitors_are_sent_to_sign_in(season: Season) -> None:
    found = subjects(season)
    for name, path in ours().items():
        answer = Client().get(path_of(name, path, found))
        assert answer.status_code == (405 if name in POSTS else 302), name
        if name not in POSTS:
            assert answer["Location"].startswith("/accounts/login/")


@pytest.mark.parametrize("who", [0, 1, 2, 3])
def test_the_api_lists_what_each_role_may_see(season: Season, who: int) -> None:
    person = client(ROLES[who])
    counts = {name: person.get(f"/api/v1/{name}/").json()["count"] for name in LISTS}
    assert counts == {name: expected[who] for name, expected in LISTS.items()}


def test_the_api_hides_foreign_objects_and_refuses_weak_roles(season: Season) -> None:
    found = subjects(season)
    ranch = Ranch.objects.get(slug="willow-draw").pk
    details = {
        "ranches": ranch,
        "herds": found["herd"],
        "groups": found["group"],
        "females": found["female"],
        "technicians": found["technician"],
        "seasons": season.pk,
        "jobs": found["job"],
        "feeds": found["feed"],
    }
    stranger, weak = client("neighbour"), client("adviser")
    for name, key in details.items():
        assert stranger.get(f"/api/v1/{name}/{key}/").status_code == 404, name
    assert stranger.get(f"/api/v1/females/{found['female']}/records/").status_code == 404
    assert client("rancher").get(f"/api/v1/females/{found['female']}/records/").json()["count"] == 5
    for name, key in details.items():
        assert Client().get(f"/api/v1/{name}/{key}/").status_code == 401, name
    for name in ("ranches", "herds", "groups", "females", "technicians", "seasons"):
        answer = weak.patch(
            f"/api/v1/{name}/{details[name]}/", {"name": "x", "tag": "x"}, content_type="application/json"
        )
        assert answer.status_code == 403, name
    for action in ("optimize", "publish"):
        assert weak.post(f"/api/v1/seasons/{season.pk}/{action}/").status_code == 403
        assert stranger.post(f"/api/v1/seasons/{season.pk}/{action}/").status_code == 404


# What GET on the routes below a row answers: coordinator, rancher (her own ranch), technician, adviser; strangers get 404.
API_BELOW: dict[str, tuple[int, int, int, int]] = {
    "females-records": (200, 200, 404, 200),
    "seasons-optimize": (405, 405, 405, 405),
    "seasons-publish-plan": (405, 405, 405, 405),
    "seasons-readiness": (200, 200, 403, 200),
    "seasons-readiness-of-group": (200, 200, 403, 200),
    "seasons-readiness-of-female": (200, 200, 403, 200),
    "seasons-programmes": (200, 200, 200, 200),
    "seasons-budget": (200, 200, 200, 200),
    "seasons-costs": (200, 200, 403, 403),
    "seasons-costs-of-ranch": (200, 200, 403, 403),
}


def api_below() -> dict[str, str]:
    """Routes of the API below a row, by name."""
    rows = {name: path for name, path in routes() if "(?P<pk>" in path and "format" not in path}
    plain = {name: path.replace("^", "").replace("$", "") for name, path in rows.items()}
    return {name.removeprefix("api-"): path for name, path in plain.items() if not name.endswith("-detail")}


def api_path(path: str, season: Season, found: dict[str, Any], **others: Any) -> str:
    """The address of a route below a row with the demo's objects filled in."""
    parts = {**found, "pk": found["female"] if "females" in path else season.pk, **others}
    parts["ranch"] = others.get("ranch", Ranch.objects.get(slug="willow-draw").pk)
    return "/" + re.sub(r"\(\?P<(\w+)>[^)]*\)", lambda match: str(parts[match[1]]), path)


def shown_to(season: Season) -> dict[str, Any]:
    """Subjects whose female is in the group of the entry."""
    found = subjects(season)
    entry = SeasonEntry.objects.get(pk=found["entry"])
    return {**found, "female": Female.objects.filter(group=entry.group)[0].pk}


@pytest.mark.parametrize("who", [0, 1, 2, 3])
def test_routes_below_a_row_answer_each_role_as_the_table_says(season: Season, who: int) -> None:
    found, person, below = shown_to(season), client(ROLES[who]), api_below()
    assert set(below) == set(API_BELOW)
    answers = {name: person.get(api_path(path, season, found)).status_code for name, path in below.items()}
    assert answers == {name: expected[who] for name, expected in API_BELOW.items()}


def test_strangers_and_foreign_ids_find_nothing_below_a_row(season: Season) -> None:
    found, stranger = shown_to(season), client("neighbour")
    other = SeasonEntry.objects.exclude(group__herd__ranch__slug="willow-draw")[0]
    theirs = {"entry": other.pk, "ranch": other.group.herd.ranch_id, "female": found["female"]}
    for name, path in api_below().items():
        if API_BELOW[name][0] != 405:
            assert stranger.get(api_path(path, season, found)).status_code == 404, name
            assert Client().get(api_path(path, season, found)).status_code == 401, name
            if "entry" in path or "ranch" in path:
                assert client("rancher").get(api_path(path, season, found, **theirs)).status_code == 404, name


def test_weak_roles_and_strangers_cannot_post_records(season: Season) -> None:
    address = f"/api/v1/females/{shown_to(season)['female']}/records/"
    answers = {
        role: client(role).post(address, {"day": "2026-03-20", "condition": 5}, "application/json").status_code
        for role in (*ROLES, "neighbour")
    }
    assert answers == {"coordinator": 201, "rancher": 201, "technician": 404, "adviser": 403, "neighbour": 404}


LISTED = [
    "herds:ranches",
    "scheduling:seasons",
    "scheduling:season",
    "scheduling:entries",
    "scheduling:today",
    "scheduling:entry",
    "scheduling:choose",
    "scheduling:choose_group",
    "scheduling:budget",
    "scheduling:preparation",
    "scheduling:moves",
    "scheduling:day_sheet",
    "scheduling:entry_preparation",
    "scheduling:after_ai",
    "scheduling:item",
    "scheduling:care",
    "scheduling:move_new",
    "scheduling:move_edit",
    "scheduling:group_preparation",
    "scheduling:costs",
    "scheduling:statement",
    "scheduling:heat",
    "scheduling:heat_ranch",
    "technicians:technicians",
    "accounts:people",
    "herds:females",
    "herds:female",
    "herds:records_csv",
    "herds:chute",
    "herds:chute_animal",
    "scheduling:replan",
    "scheduling:replanning",
    "scheduling:clashes",
    "scheduling:clash",
    "scheduling:asks",
    "scheduling:shares",
]


@pytest.mark.parametrize("name", LISTED)
def test_pages_ask_the_database_a_constant_number_of_times(
    season: Season, name: str, django_assert_max_num_queries: Any
) -> None:
    address, person = path_of(name, ours()[name], subjects(season)), client("coordinator")
    # Today holds concerns, steps, hands, lots and their weather; the board also holds the plan against the season as it is now;
    # After AI its moves with their weather, and that of 30 days.
    most = {"scheduling:today": 23, "scheduling:season": 25, "scheduling:after_ai": 20}.get(name, 16)
    with django_assert_max_num_queries(most):  # 12 ranches, 25 groups, 4 technicians: a query a row would show
        assert person.get(address).status_code == 200


@pytest.mark.parametrize("name", list(LISTS))
def test_api_lists_ask_the_database_a_constant_number_of_times(
    season: Season, name: str, django_assert_max_num_queries: Any
) -> None:
    person = client("coordinator")
    with django_assert_max_num_queries(6):
        assert person.get(f"/api/v1/{name}/?limit=100").status_code == 200
