"""Invitations, roles, sign-in with its limits, the permission table."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.http import Http404
from django.test import Client
from django.utils import timezone

from accounts.models import Cooperative, Invitation, Membership, User
from accounts.permissions import ROLE_REACH, Permission, Reach, Role, reach_of
from accounts.services import InvitationError, MemberError, accept, end_role, find_invitation, invite
from accounts.tenancy import member_in, members_of
from herdplan.reminders.services import run_once
from tests.factories.people import PASSWORD, make_coop, make_person

pytestmark = pytest.mark.django_db


def coordinator(coop: Cooperative) -> Client:
    """Signed in."""
    made = Client()
    made.force_login(make_person(coop, Role.COORDINATOR))
    return made


def link_of(page: str) -> str:
    """The invitation's path on the page that shows it once."""
    return page.split("http://localhost:8000")[1].split("<")[0]


def test_an_invitation_by_mail_makes_an_account_and_a_member() -> None:
    coop = make_coop()
    page = (
        coordinator(coop)
        .post("/c/north/people/invite/", {"email": "New@Example.org", "role": "rancher"})
        .content.decode()
    )
    run_once(now=timezone.now())
    path = link_of(page)
    assert path in mail.outbox[0].body
    assert not Invitation.objects.filter(token_hash__in=path.split("/")).exists()
    guest = Client()
    assert "Make an account to join" in guest.get(path).content.decode()
    sign_up = {"email": "other@example.org", "password1": "long-gate-latch-9", "password2": "long-gate-latch-9"}
    assert "use that address" in guest.post("/accounts/signup/", sign_up).content.decode()
    guest.post(f"/accounts/signup/?next={path}", {**sign_up, "email": "new@example.org"})
    assert "Join North Breeders" in guest.get(path).content.decode()
    assert guest.post(path).status_code == 302
    assert guest.get("/c/north/").status_code == 200
    assert Membership.objects.get(user__email="new@example.org").role == "rancher"
    assert guest.post(path).status_code == 410


def test_without_an_invitation_nobody_signs_up() -> None:
    answer = Client().post(
        "/accounts/signup/", {"email": "a@b.org", "password1": "long-gate-latch-9", "password2": "long-gate-latch-9"}
    )
    assert "by invitation" in answer.content.decode()
    assert User.objects.count() == 0


def test_a_link_is_for_the_invited_address_for_two_weeks_and_can_be_withdrawn() -> None:
    coop = make_coop()
    boss = member_in(make_person(coop, Role.COORDINATOR), "north")
    now = timezone.now()
    invitation, token = invite(member=boss, email="a@example.org", role=Role.ADVISER, now=now)
    with pytest.raises(InvitationError, match=r"is for a@example\.org"):
        accept(invitation=invitation, user=make_person(email="b@example.org"), now=now)
    with pytest.raises(InvitationError, match="older than 14 days"):
        find_invitation(token=token, now=now + timedelta(days=15))
    _, second = invite(member=boss, email="a@example.org", role=Role.ADVISER, now=now)
    with pytest.raises(InvitationError, match="not valid"):
        find_invitation(token=token, now=now)
    assert find_invitation(token=second, now=now).role == "adviser"
    with pytest.raises(InvitationError, match="already"):
        invite(member=boss, email=boss.user.email, role=Role.COORDINATOR, now=now)


def test_the_last_coordinator_stays_and_a_removed_member_is_a_stranger_at_once() -> None:
    coop = make_coop()
    boss = member_in(make_person(coop, Role.COORDINATOR), "north")
    with pytest.raises(MemberError, match="needs a coordinator"):
        end_role(member=boss, membership=Membership.objects.get(user=boss.user))
    person = make_person(coop, Role.ADVISER)
    browser = Client()
    browser.force_login(person)
    assert browser.get("/c/north/").status_code == 200
    end_role(member=boss, membership=Membership.objects.get(user=person))
    assert browser.get("/c/north/").status_code == 404


def test_several_roles_in_several_coops_add_up() -> None:
    north, south = make_coop("north"), make_coop("south")
    person = make_person(north, Role.RANCHER, Role.TECHNICIAN)
    Membership.objects.create(cooperative=south, user=person, role=Role.ADVISER)
    found = {member.cooperative.slug: member.roles for member in members_of(person)}
    assert found == {"north": {Role.RANCHER, Role.TECHNICIAN}, "south": {Role.ADVISER}}
    assert member_in(person, "north").reach(Permission.SEASON_VIEW) is Reach.COOP
    with pytest.raises(PermissionDenied):
        member_in(person, "south").require(Permission.RANCH_EDIT)
    with pytest.raises(Http404):
        member_in(person, "west")
    choice = Client()
    choice.force_login(person)
    assert "South Breeders" in choice.get("/").content.decode()


def test_the_permission_table_gives_nobody_more_than_the_coordinator() -> None:
    for role, table in ROLE_REACH.items():
        for permission, reach in table.items():
            assert reach <= ROLE_REACH[Role.COORDINATOR].get(permission, Reach.NONE)
            assert reach > Reach.NONE, role
    assert reach_of(frozenset(), Permission.RANCH_VIEW) is Reach.NONE
    assert ROLE_REACH[Role.TECHNICIAN].get(Permission.FEMALE_VIEW) is None


def test_sign_in_is_throttled_after_failures() -> None:
    cache.clear()
    person = make_person(make_coop(), Role.ADVISER)
    browser = Client()
    answers = [
        browser.post("/accounts/login/", {"login": person.email, "password": "wrong"}).content.decode()
        for _ in range(7)
    ]
    assert "Too many tries with a wrong password" in answers[-1]
    late = browser.post("/accounts/login/", {"login": person.email, "password": PASSWORD})
    assert late.status_code != 302
    cache.clear()
    assert browser.post("/accounts/login/", {"login": person.email, "password": PASSWORD}).status_code == 302


def test_second_factor_passkeys_and_sessions_are_offered() -> None:
    person = make_person(make_coop(), Role.ADVISER)
    browser = Client()
    browser.force_login(person)
    page = browser.get("/accounts/2fa/").content.decode()
    assert "Authenticator app" in page
    assert "Security keys" in page
    assert browser.get("/accounts/sessions/").status_code == 200
    assert "Sign in with a passkey" in Client().get("/accounts/login/").content.decode()


def test_the_command_makes_a_coop_and_its_coordinators_link(capsys: pytest.CaptureFixture[str]) -> None:
    wanted = {"slug": "west", "name": "West", "zone": "America/Denver", "coordinator_email": "c@example.org"}
    call_command("make_coop", **wanted)
    path = capsys.readouterr().out.split()[-1]
    assert Client().get(path).status_code == 200
    with pytest.raises(CommandError, match="zone"):
        call_command("make_coop", **{**wanted, "slug": "east", "zone": "Mars/Base"})
    with pytest.raises(CommandError, match="slug"):
        call_command("make_coop", **wanted)
    assert Cooperative.objects.count() == 1
