"""What people are told when the plan changes, the tap that is asked for, and the call list."""

import re
from datetime import datetime, time, timedelta
from smtplib import SMTPDataError

import pytest
from django.core import mail
from django.core.mail import EmailMessage
from django.test import Client

from accounts.models import User
from herdplan.reminders.models import ChangeNotice, OutboxMessage, PersonSettings, Told
from herdplan.reminders.services import run_once, save_choice, save_settings, sweep
from scheduling.models import PlannedStep
from tests.factories.clock import stand_still
from tests.factories.published import DAY_0, Published, make_published

pytestmark = pytest.mark.django_db
# Noon, ten days before the protocol begins: nothing is urgent and nobody sleeps.
EARLY = DAY_0.replace(hour=12) - timedelta(days=10)
# Noon of the day before: the first step is a little more than a day away; 14:00 of the day itself: two hours.
LATE = DAY_0 - timedelta(hours=2)


@pytest.fixture(autouse=True)
def _early(monkeypatch: pytest.MonkeyPatch) -> None:
    """What pages take for now, whatever day these tests run on: links hold for a time only."""
    stand_still(monkeypatch, EARLY)


def turn(now: datetime) -> list[EmailMessage]:
    """Sweep and send; the change messages that went out."""
    mail.outbox.clear()
    sweep(now=now)
    run_once(now=now)
    return [message for message in mail.outbox if re.match(r"North Breeders|Changed|Call ", str(message.subject))]


def to(user: User, sent: list[EmailMessage]) -> list[EmailMessage]:
    """Those to one person."""
    return [message for message in sent if message.to == [user.email]]


def test_publishing_tells_each_person_once_what_is_theirs() -> None:
    made = make_published()
    sent = turn(EARLY)
    (rancher,), (worker,) = to(made.rancher, sent), to(made.worker, sent)
    assert len(sent) == 2
    assert rancher.subject == "North Breeders: the plan is published, 3 dates for you"
    assert "New: Mon 3 May, 16:00: GnRH + insert in, Willow, Willow Draw, 60 head" in rancher.body
    assert worker.subject == "North Breeders: the plan is published, 1 date for you"
    assert "Willow Draw, Timed AI + GnRH at AI, Willow" in worker.body
    assert turn(EARLY + timedelta(minutes=5)) == []


def test_a_change_names_old_and_new_and_what_did_not_change_is_silent() -> None:
    made = make_published()
    turn(EARLY)
    made.move("out", timedelta(hours=1), EARLY)
    made.cancel("ai", EARLY)
    now = EARLY + timedelta(hours=1)
    sent = turn(now)
    (rancher,), (worker,) = to(made.rancher, sent), to(made.worker, sent)
    assert "Moved from Mon 10 May, 16:00 to Mon 10 May, 17:00: Insert out + PG" in rancher.body
    assert "Cancelled: Thu 13 May, 07:00: Timed AI" in rancher.body
    assert "Cancelled: Thu 13 May, 07:00: Willow Draw" in worker.body
    assert "GnRH + insert in" not in rancher.body
    PlannedStep.objects.filter(pk=made.step("gnrh1").pk).update(head=55, sequence=1)
    PlannedStep.objects.filter(key="ai").update(status="planned", sequence=2)
    (rancher,) = to(made.rancher, turn(now + timedelta(hours=1)))
    assert "Head changed from 60 to 55" in rancher.body
    assert "On again: Thu 13 May, 07:00" in rancher.body


def test_lots_are_told_apart_and_for_a_word_nobody_is_told_anything() -> None:
    """A second lot is published, and the first, with its hours and head as they were, is "lot 1 of 2" from now on."""
    made = make_published()
    PersonSettings.objects.create(user=made.worker, language="es")
    turn(EARLY)
    made.cut(60, 60)
    sent = turn(EARLY + timedelta(hours=1))
    (rancher,), (worker,) = to(made.rancher, sent), to(made.worker, sent)
    assert rancher.body.count("New: ") == 3
    assert "New: Mon 3 May, 18:00: GnRH + insert in, Willow, lot 2 of 2, Willow Draw, 60 head" in rancher.body
    assert "lot 1 of 2" not in rancher.body
    assert worker.body.count("Willow, lote 2 de 2") == 1
    assert turn(EARLY + timedelta(hours=2)) == []
    for row in [*PlannedStep.objects.filter(lot=1, key="gnrh1"), *PlannedStep.objects.filter(lot=0, key="out")]:
        row.starts, row.sequence = row.starts + timedelta(hours=1), row.sequence + 1
        row.save()
    (rancher,) = to(made.rancher, turn(EARLY + timedelta(hours=3)))
    assert "to Mon 3 May, 19:00: GnRH + insert in, Willow, lot 2 of 2" in rancher.body
    assert "to Mon 10 May, 17:00: Insert out + PG (put patches on), Willow, lot 1 of 2" in rancher.body
    PlannedStep.objects.filter(lot=1).update(status="cancelled", sequence=9)
    (rancher,) = to(made.rancher, turn(EARLY + timedelta(hours=4)))
    assert "Cancelled: Thu 13 May, 09:00: Timed AI + GnRH at AI, Willow, lot 2 of 2" in rancher.body


def test_two_moves_before_anything_was_sent_are_one_message_with_the_net_change() -> None:
    """The mail server is down for the first message; when it is back only the right one goes out."""
    made = make_published()
    turn(EARLY)
    made.move("out", timedelta(hours=1), EARLY)
    sweep(now=EARLY)
    made.move("out", timedelta(hours=1), EARLY)
    (rancher,) = turn(EARLY + timedelta(minutes=1))
    assert "Moved from Mon 10 May, 16:00 to Mon 10 May, 18:00" in rancher.body
    assert OutboxMessage.objects.filter(purpose="plan changed", why="moved").count() == 1


def test_a_move_that_the_sweep_has_not_seen_stops_the_message_just_before_sending() -> None:
    made = make_published()
    turn(EARLY)
    made.move("out", timedelta(hours=1), EARLY)
    sweep(now=EARLY)
    made.move("out", timedelta(hours=-1), EARLY)
    mail.outbox.clear()
    run_once(now=EARLY + timedelta(minutes=1))
    assert mail.outbox == []
    assert turn(EARLY + timedelta(minutes=2)) == []  # moved there and back: there is nothing to tell
    assert Told.objects.get(user=made.rancher, about=made.step("out").pk).sequence == 2


def test_an_entry_withdrawn_altogether_is_told_as_cancelled() -> None:
    made = make_published()
    turn(EARLY)
    made.entry.delete()
    (rancher,) = to(made.rancher, turn(EARLY + timedelta(hours=1)))
    assert rancher.body.count("Cancelled: ") == 3


def test_whoever_leaves_a_ranch_is_not_told_that_everything_is_cancelled() -> None:
    made = make_published()
    turn(EARLY)
    made.ranch.people.remove(made.rancher)
    assert turn(EARLY + timedelta(hours=1)) == []


def test_the_past_is_no_news() -> None:
    made = make_published()
    turn(EARLY)
    made.move("gnrh1", timedelta(hours=-2), DAY_0 + timedelta(days=1))
    assert turn(DAY_0 + timedelta(days=1)) == []


def test_whoever_does_not_want_it_is_left_in_peace_but_for_the_next_day() -> None:
    made = make_published()
    save_choice(user=made.rancher, rule="plan_changed", on=False, channels=[])
    save_choice(user=made.rancher, rule="same_day_change", on=False, channels=[])
    assert to(made.rancher, turn(EARLY)) == []
    made.move("gnrh1", timedelta(hours=1), LATE)
    assert len(to(made.rancher, turn(LATE))) == 1


def urgent(made: Published) -> ChangeNotice:
    """The first step of today is moved by an hour, two hours before it; the notice of the rancher."""
    turn(EARLY)
    made.move("gnrh1", timedelta(hours=1), LATE)
    (message,) = to(made.rancher, turn(LATE))
    assert message.subject.startswith("Changed for the next 24 hours: Moved from Mon 3 May, 16:00 to Mon 3 May, 17:00")
    assert "Without the tap the coordinator calls you." in message.body
    return ChangeNotice.objects.get(user=made.rancher, urgent=True)


def link_in(body: str) -> str:
    """The path of the link of a message."""
    found = re.search(r"http://localhost:8000(/seen/\S+)", body)
    assert found is not None
    return found[1]


def test_one_tap_on_the_link_says_seen_and_opening_it_does_not() -> None:
    made = make_published()
    notice = urgent(made)
    address = link_in(str(to(made.rancher, [m for m in mail.outbox if "Changed" in m.subject])[0].body))
    anybody = Client(enforce_csrf_checks=True)
    for _ in range(3):  # programs that check mail open every link
        assert "I have seen this" in anybody.get(address).content.decode()
    notice.refresh_from_db()
    assert notice.seen_at is None
    assert "Seen " in anybody.post(address).content.decode()
    notice.refresh_from_db()
    assert (notice.seen_how, notice.called_by) == ("link", None)
    first = notice.seen_at
    anybody.post(address)
    notice.refresh_from_db()
    assert notice.seen_at == first
    assert anybody.get("/seen/" + "0" * 32 + ":forged/").status_code == 404
    assert anybody.post(address[:-2] + "x/").status_code == 404


def test_signed_in_the_change_stands_on_every_page_until_the_tap() -> None:
    made = make_published()
    notice = urgent(made)
    client = Client()
    client.force_login(made.rancher)
    assert "has changed for you" in client.get("/c/north/").content.decode()
    assert "Moved from" in client.get("/c/north/changes/").content.decode()
    client.post(f"/c/north/changes/{notice.pk}/seen/")
    notice.refresh_from_db()
    assert notice.seen_how == "page"
    assert "has changed for you" not in client.get("/c/north/").content.decode()


def test_unseen_in_time_puts_the_person_on_the_call_list_until_called() -> None:
    made = make_published()
    User.objects.filter(pk=made.rancher.pk).update(phone="+1 555 0100", name="Robin Vale")
    notice = urgent(made)
    # Two hours are left until 16:00: half of that is the co-op's 60 minutes as well.
    assert notice.seen_by == LATE + timedelta(minutes=60)
    assert not to(made.coordinator, turn(LATE + timedelta(minutes=59)))
    (call,) = to(made.coordinator, turn(LATE + timedelta(minutes=60)))
    assert "+1 555 0100" in call.body
    assert turn(LATE + timedelta(minutes=62)) == []  # told once
    ChangeNotice.objects.filter(pk=notice.pk).update(seen_by=datetime(2020, 1, 1, tzinfo=DAY_0.tzinfo))
    client = Client()
    client.force_login(made.coordinator)
    page = client.get("/c/north/calls/").content.decode()
    assert "Robin Vale" in page
    assert 'href="tel:+1 555 0100"' in page
    assert "Call list: 1 to call" in client.get("/c/north/messages/").content.decode()
    client.post(f"/c/north/calls/{notice.pk}/called/", {"note": "Knows; crew comes at five"})
    page = client.get("/c/north/calls/").content.decode()
    assert "Nobody to call" in page
    assert "Knows; crew comes at five" in page
    notice.refresh_from_db()
    assert (notice.seen_how, notice.called_by) == ("call", made.coordinator)
    answer = client.post(f"/c/north/calls/{notice.pk}/called/", {"note": "again"}, follow=True)
    assert "has seen it in the meantime" in answer.content.decode()


def test_the_coordinator_sets_the_time_and_little_time_left_shortens_it() -> None:
    made = make_published()
    client = Client()
    client.force_login(made.coordinator)
    assert "greater than or equal to 10" in client.post("/c/north/calls/", {"minutes": "3"}).content.decode()
    client.post("/c/north/calls/", {"minutes": "30"})
    assert urgent(made).seen_by == LATE + timedelta(minutes=30)
    made.move("gnrh1", timedelta(minutes=-60), LATE + timedelta(minutes=45))
    turn(LATE + timedelta(minutes=60))
    newest = ChangeNotice.objects.filter(user=made.rancher).latest("made_at")
    assert newest.seen_by == LATE + timedelta(minutes=60 + 30)


def test_a_change_that_could_not_be_delivered_goes_on_the_call_list_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    made = make_published()
    turn(EARLY)
    made.move("gnrh1", timedelta(hours=1), LATE)
    with monkeypatch.context() as patched:
        patched.setattr("herdplan.reminders.channels.EmailMessage.send", _refuse)
        turn(LATE)
    notice = ChangeNotice.objects.get(user=made.rancher, urgent=True)
    assert notice.seen_by is not None
    assert notice.seen_by - LATE < timedelta(seconds=5)
    sent = to(made.coordinator, turn(LATE + timedelta(seconds=10)))
    assert any(message.subject.startswith("Call ") for message in sent)


def _refuse(self: EmailMessage, fail_silently: bool = False) -> int:
    raise SMTPDataError(550, b"no such mailbox")


def test_in_quiet_hours_an_urgent_change_waits_unless_the_person_allows_it() -> None:
    night = datetime.combine(DAY_0.date(), time(1, 0), DAY_0.tzinfo)
    both = {passes: make_published(f"coop-{passes}".lower()) for passes in (False, True)}
    for passes, made in both.items():
        save_settings(
            user=made.rancher, language="en", channels=["email"], quiet_from=time(21), quiet_to=time(5), urgent_passes=passes
        )  # fmt: skip
    sweep(now=EARLY)
    run_once(now=EARLY)
    for made, expected in ((both[False], 0), (both[True], 1)):
        made.move("gnrh1", timedelta(hours=1), night)
        mail.outbox.clear()
        sweep(now=night)
        run_once(now=night)
        mine = [m for m in mail.outbox if m.to == [made.rancher.email] and m.subject.startswith("Changed")]
        assert len(mine) == expected
        assert ChangeNotice.objects.get(user=made.rancher, urgent=True).seen_by == night + timedelta(minutes=60)
    mail.outbox.clear()
    run_once(now=night + timedelta(hours=4))
    assert [m.to for m in mail.outbox if m.subject.startswith("Changed")] == [["rancher@coop-false.example"]]


def test_a_newer_change_seen_counts_for_the_older_one_as_well() -> None:
    made = make_published()
    first = urgent(made)
    made.move("gnrh1", timedelta(hours=1), LATE + timedelta(minutes=5))
    (message,) = to(made.rancher, turn(LATE + timedelta(minutes=6)))
    assert "from Mon 3 May, 17:00 to Mon 3 May, 18:00" in message.subject
    Client().post(link_in(str(message.body)))
    first.refresh_from_db()
    assert first.seen_at is not None


def test_send_again_does_not_send_what_has_become_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    made = make_published()
    with monkeypatch.context() as patched:
        patched.setattr("herdplan.reminders.channels.EmailMessage.send", _refuse)
        turn(EARLY)
    dead = OutboxMessage.objects.get(user=made.rancher, purpose="plan changed")
    assert dead.state == "dead"
    made.move("out", timedelta(hours=1), EARLY)
    client = Client()
    client.force_login(made.coordinator)
    assert "Could not be sent" in client.get("/c/north/messages/").content.decode()
    client.post(f"/c/north/messages/{dead.pk}/again/")
    OutboxMessage.objects.filter(pk=dead.pk).update(due=EARLY)
    mail.outbox.clear()
    run_once(now=EARLY + timedelta(hours=1))
    assert mail.outbox == []
    (message,) = to(made.rancher, turn(EARLY + timedelta(hours=2)))
    assert "New: Mon 10 May, 17:00: Insert out + PG" in message.body
