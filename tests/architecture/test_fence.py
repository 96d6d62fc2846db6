"""Every page and API route, walked as everybody. A route that nobody classified fails."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from accounts.models import Invitation, Membership, User
from herdplan.calendars.models import FeedToken
from herdplan.herds.models import BreedingGroup, Female, Herd, Ranch
from herdplan.reminders.models import OutboxMessage
from herdplan.technicians.models import Barn, DayOff, Technician
from scheduling.models import PlanJob, PlannedStep, ProtocolAdjustment, Season, SeasonEntry
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
    "scheduling:protocols": (200, 200, 200, 200),
    "scheduling:protocol": (200, 200, 200, 200),
    "scheduling:adjustment_withdraw": (405, 405, 405, 405),
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
    "herds:female_edit": (200, 200, 403, 403),
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
    "calendars:feed_revoke": (405, 405, 405, 405),
    "reminders:outbox": (200, 403, 403, 403),
    "reminders:again": (405, 405, 405, 405),
    "accounts:people": (200, 403, 403, 200),
    "accounts:roles": (200, 403, 403, 200),
    "accounts:role_end": (405, 405, 405, 405),
    "accounts:invitation_withdraw": (405, 405, 405, 405),
    "invite": (405, 405, 405, 405),
}
# What POST answers where GET is not served: weak roles are refused; strangers get 404.
POSTS: dict[str, tuple[int, int, int, int]] = {
    "scheduling:adjustment_withdraw": (302, 403, 403, 302),
    "scheduling:entry_withdraw": (302, 302, 403, 403),
    "scheduling:plan_season": (302, 403, 403, 403),
    "scheduling:move": (302, 403, 403, 403),
    "scheduling:remedy": (302, 403, 403, 403),
    "scheduling:publish": (302, 403, 403, 403),
    "scheduling:use_plan": (302, 403, 403, 403),
    "scheduling:job_stop": (302, 403, 403, 403),
    "scheduling:step_undo": (302, 302, 403, 403),
    "herds:closed_day_add": (302, 302, 403, 403),
    "herds:closed_day_remove": (302, 302, 403, 403),
    "herds:herd_remove": (302, 302, 403, 403),
    "herds:group_remove": (302, 302, 403, 403),
    "technicians:day_off_add": (200, 403, 200, 403),
    "technicians:day_off_remove": (302, 403, 302, 403),
    "calendars:feed_revoke": (302, 404, 404, 404),
    "reminders:again": (302, 403, 403, 403),
    "accounts:role_end": (302, 403, 403, 403),
    "accounts:invitation_withdraw": (302, 403, 403, 403),
    "invite": (302, 403, 403, 403),
}
OPEN = {"home", "profile", "invitation", "feed", "healthz", "robots", "api-schema", "api-docs", "api-root"}
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
        "step": PlannedStep.objects.filter(ranch=ranch, key="gnrh1")[0].pk,
        "number": 1,
        "ranch": ranch.slug,
        "herd": herd.pk,
        "group": BreedingGroup.objects.filter(herd=herd)[0].pk,
        "female": Female.objects.filter(herd=herd)[0].pk,
        "technician": person.pk,
        "barn": Barn.objects.get().pk,
        "feed": feed.pk,
        "message": OutboxMessage.objects.create(
            cooperative=season.cooperative, address="a@b.c", subject="", body="", dedup_key="1", due=closed.day.strftime("%Y-%m-%dT00:00Z")
        ).pk,
        "membership": Membership.objects.get(user__email="adviser@demo.example").pk,
        "invitation": Invitation.objects.create(
            cooperative=season.cooperative, email="n@b.c", role="rancher", token_hash="2" * 64, expires_at="2030-01-01T00:00Z"
        ).pk,
        "protocol": "cow_7d_cosynch_insert",
        "adjustment": ProtocolAdjustment.objects.create(
            cooperative=season.cooperative, protocol="cow_7d_cosynch_insert", step="ai", min_h=61, target_h=63, max_h=66, reason="Advised"
        ).pk,
        "closed": closed.pk,
        "off": off.pk,
    }  # fmt: skip


def path_of(name: str, pattern: str, found: dict[str, Any]) -> str:
    """The address with the demo's objects filled in."""

    def fill(match: re.Match[str]) -> str:
        part = match[1]
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
        if path.count("<") > 1 and name != "scheduling:protocol":  # the catalogue is nobody's
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
        assert Client().get(f"/api/v1/{name}/{key}/").status_code == 401, name
    for name in ("ranches", "herds", "groups", "females", "technicians", "seasons"):
        answer = weak.patch(
            f"/api/v1/{name}/{details[name]}/", {"name": "x", "tag": "x"}, content_type="application/json"
        )
        assert answer.status_code == 403, name
    for action in ("optimize", "publish"):
        assert weak.post(f"/api/v1/seasons/{season.pk}/{action}/").status_code == 403
        assert stranger.post(f"/api/v1/seasons/{season.pk}/{action}/").status_code == 404


LISTED = [
    "herds:ranches",
    "scheduling:seasons",
    "scheduling:season",
    "scheduling:entries",
    "technicians:technicians",
    "accounts:people",
]


@pytest.mark.parametrize("name", LISTED)
def test_pages_ask_the_database_a_constant_number_of_times(
    season: Season, name: str, django_assert_max_num_queries: Any
) -> None:
    address, person = path_of(name, ours()[name], subjects(season)), client("coordinator")
    with django_assert_max_num_queries(14):  # 12 ranches, 25 groups, 4 technicians: a query a row would show
        assert person.get(address).status_code == 200


@pytest.mark.parametrize("name", list(LISTS))
def test_api_lists_ask_the_database_a_constant_number_of_times(
    season: Season, name: str, django_assert_max_num_queries: Any
) -> None:
    person = client("coordinator")
    with django_assert_max_num_queries(6):
        assert person.get(f"/api/v1/{name}/?limit=100").status_code == 200
