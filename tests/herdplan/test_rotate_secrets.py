"""`rotate_secrets` moves every stored secret to the first key, and knows of every column that holds one."""

import re
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.utils import timezone

from accounts.permissions import Role
from accounts.sealing import CALENDAR_PASSWORDS, INVITED, SERVICE_ADDRESSES, SealBroken
from herdplan.calendars.models import OwnCollection
from herdplan.management.commands.rotate_secrets import SEALED
from herdplan.reminders import journal
from herdplan.reminders.models import ServiceAddress
from tests.factories.people import make_coop, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows() -> tuple[OwnCollection, ServiceAddress]:
    """One secret of each kind."""
    user = make_person(make_coop(), Role.TECHNICIAN)
    own = OwnCollection.objects.create(
        user=user, address="https://dav.example.org/ann/", username="ann", secret=CALENDAR_PASSWORDS.seal("horse")
    )
    service = ServiceAddress.objects.create(
        user=user, label="phone", service="json", sealed=SERVICE_ADDRESSES.seal("cow"), created_at=timezone.now()
    )
    return own, service


def test_everything_is_sealed_anew_and_the_old_key_can_go(
    rows: tuple[OwnCollection, ServiceAddress], settings: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    own, service = rows
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "new-" + "y" * 60, [settings.SECRET_KEY]
    call_command("rotate_secrets")
    said = capsys.readouterr().out
    assert "1 passwords" in said
    assert "1 addresses" in said
    settings.SECRET_KEY_FALLBACKS = []
    with pytest.raises(SealBroken):
        CALENDAR_PASSWORDS.unseal(own.secret)
    own.refresh_from_db()
    service.refresh_from_db()
    assert (CALENDAR_PASSWORDS.unseal(own.secret), SERVICE_ADDRESSES.unseal(service.sealed)) == ("horse", "cow")


def test_one_that_no_key_opens_is_an_error_and_the_rest_is_done(
    rows: tuple[OwnCollection, ServiceAddress], settings: Any
) -> None:
    own, service = rows
    settings.SECRET_KEY = "another-" + "z" * 60
    ServiceAddress.objects.update(sealed=SERVICE_ADDRESSES.seal("cow"))
    with pytest.raises(CommandError, match=r"1 passwords .* HERDPLAN_SECRET_KEY_FALLBACKS"):
        call_command("rotate_secrets")
    service.refresh_from_db()
    assert SERVICE_ADDRESSES.unseal(service.sealed) == "cow"
    assert OwnCollection.objects.get().secret == own.secret


def test_no_column_that_holds_a_secret_is_forgotten() -> None:
    # Columns of our own rows that are named like something sealed; a new one has to come into the table.
    ours = [model for model in apps.get_models() if model.__module__.startswith(("accounts", "herdplan", "scheduling"))]
    named = {
        (model, field.name)
        for model in ours
        for field in model._meta.get_fields()
        if re.fullmatch(r"(.+_)?(secret|sealed|password)", field.name) and field.name != "password"
    }
    assert named == {(model, column) for model, column, _, _ in SEALED}


def test_lines_of_who_was_invited_move_to_the_new_key_as_well(
    settings: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    journal.append("invited-2027-05.log", INVITED.seal("{}"))
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "new-" + "y" * 60, [settings.SECRET_KEY]
    call_command("rotate_secrets")
    assert "1 lines of who was invited are under the current key." in capsys.readouterr().out
    settings.SECRET_KEY_FALLBACKS = []
    (line,) = (settings.OUTBOX_JOURNAL / "invited-2027-05.log").read_text().split()
    assert INVITED.unseal(line) == "{}"
    settings.SECRET_KEY = "another-" + "z" * 60
    with pytest.raises(CommandError, match="1 lines of who was invited cannot be read"):
        call_command("rotate_secrets")
    assert (settings.OUTBOX_JOURNAL / "invited-2027-05.log").read_text().split() == [line]
