"""Pushes through a push service that keeps strictly to the standards, to a browser that opens them with its own keys."""

import base64
from collections.abc import Iterator
from datetime import datetime, timedelta
from datetime import timezone as utc
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from django.test import Client

from accounts.models import User
from accounts.permissions import Role
from herdplan.reminders.models import OutboxMessage, PushSubscription
from herdplan.reminders.services import enqueue, run_once
from herdplan.reminders.vapid import public_key
from tests.clients.push_service import Browser, PushService, coded, decoded, opened
from tests.factories.people import make_coop, make_person

NOW = datetime(2027, 5, 1, 18, tzinfo=utc.utc)


@pytest.fixture
def service(settings: Any) -> Iterator[PushService]:
    """On loopback, which the settings allow."""
    settings.SERVICE_HOSTS = ["127.0.0.1"]
    made = PushService()
    yield made
    made.stop()


@pytest.fixture
def person(db: None) -> User:
    """A rancher."""
    return make_person(make_coop(), Role.RANCHER, email="rancher@north.example")


def subscribed(service: PushService, person: User) -> Browser:
    """A browser that asked the service with our key and gave us its keys over the page's own address."""
    browser, client = service.subscribe(public_key()), Client()
    client.force_login(person)
    answer = client.post("/c/north/reminders/channels/push/", browser.document(), content_type="application/json")
    assert answer.status_code == 200, answer.content
    return browser


def queue(person: User, dedup: str = "a", **fields: Any) -> None:
    """A message for push."""
    values = {
        "subject": "Mon 3 May, 16:00: GnRH",
        "body": "Sort and pen.\nCaution: gloves.\n",
        "urgent": False,
        **fields,
    }
    enqueue(
        cooperative=person.memberships.get().cooperative, user=person, channel="push", address=person.email,
        purpose="test", dedup=dedup, due=NOW, expires=None, now=NOW, **values,
    )  # fmt: skip


# RFC 8291, 5 and appendix A: the example of the standard, sealed by its authors.
EXAMPLE = (
    "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_"
    "yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
)
EXAMPLE_KEY, EXAMPLE_SECRET = "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94", "BTBZMqHH6r4Tts7J_aSIgg"


def test_the_browser_opens_the_standards_own_example() -> None:
    key = ec.derive_private_key(int.from_bytes(decoded(EXAMPLE_KEY), "big"), ec.SECP256R1())
    text = opened(base64.urlsafe_b64decode(EXAMPLE + "=" * (-len(EXAMPLE) % 4)), key, decoded(EXAMPLE_SECRET))
    assert text == b"When I grow up, I want to be a watermelon"
    with pytest.raises(ValueError, match="somebody else"):
        opened(decoded(EXAMPLE), ec.generate_private_key(ec.SECP256R1()), decoded(EXAMPLE_SECRET))


@pytest.mark.parametrize(("urgent", "urgency"), [(True, "high"), (False, "normal")])
def test_a_push_keeps_to_the_standards_and_reads_as_written(
    service: PushService, person: User, urgent: bool, urgency: str
) -> None:
    browser = subscribed(service, person)
    queue(person, urgent=urgent)
    run_once(now=NOW)
    assert service.faults == []
    (message,), (headers,) = browser.waiting.values(), browser.headers
    assert (message["title"], message["body"]) == ("Mon 3 May, 16:00: GnRH", "Sort and pen.\nCaution: gloves.")
    assert headers["urgency"] == urgency
    assert int(headers["ttl"]) == 12 * 3600
    assert OutboxMessage.objects.get().state == "sent"


def test_the_longest_message_fits_what_every_service_takes(service: PushService, person: User) -> None:
    browser = subscribed(service, person)
    queue(person, subject="ñ" * 200, body="Último día: 漢\n" * 400)
    run_once(now=NOW)
    assert service.faults == []
    assert OutboxMessage.objects.get().state == "sent"
    assert len(browser.waiting) == 1


def test_a_repeat_replaces_the_message_that_waits_and_another_does_not(
    service: PushService, person: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = subscribed(service, person)
    queue(person)
    run_once(now=NOW)
    OutboxMessage.objects.update(state="pending")
    monkeypatch.setattr("herdplan.reminders.journal.has", lambda key: False)
    run_once(now=NOW)
    assert len(browser.headers) == 2
    assert len(browser.waiting) == 1
    queue(person, "b")
    run_once(now=NOW)
    assert len(browser.waiting) == 2


@pytest.mark.parametrize("gone", [404, 410])
def test_a_subscription_that_is_gone_is_forgotten_and_mail_takes_over(
    service: PushService, person: User, gone: int
) -> None:
    browser = subscribed(service, person)
    if gone == 410:
        service.forget(browser)
    else:
        service.browsers.clear()
    queue(person)
    run_once(now=NOW)
    assert not PushSubscription.objects.exists()
    assert set(OutboxMessage.objects.values_list("channel", "state")) == {("push", "dead"), ("email", "sent")}


def test_a_service_that_asks_for_patience_gets_the_message_later(service: PushService, person: User) -> None:
    browser = subscribed(service, person)
    service.answer = 429
    queue(person)
    run_once(now=NOW)
    assert (OutboxMessage.objects.get().state, service.asked) == ("pending", 1)
    run_once(now=NOW + timedelta(seconds=1))
    assert service.asked == 1  # it is not asked again at once
    service.answer = 0
    run_once(now=NOW + timedelta(hours=1))
    assert OutboxMessage.objects.get().state == "sent"
    assert len(browser.waiting) == 1
    assert PushSubscription.objects.count() == 1


def test_somebody_elses_key_is_not_let_through(service: PushService, person: User) -> None:
    browser = subscribed(service, person)
    browser.sender = coded(b"\4" + bytes(64))
    queue(person)
    run_once(now=NOW)
    assert browser.waiting == {}
    assert service.faults == ["another sender than the one subscribed to"]
    assert OutboxMessage.objects.get(channel="push").state == "pending"
