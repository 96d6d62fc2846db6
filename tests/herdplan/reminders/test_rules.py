"""Which reminders exist, when they come, what they say, and how a person changes them."""

import re
from datetime import datetime, time, timedelta
from datetime import timezone as utc
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.test import Client

from accounts.models import User
from accounts.tenancy import member_in
from herdplan.reminders.models import OutboxMessage, PersonSettings, RuleChoice
from herdplan.reminders.rules import BY_CODE, RULES
from herdplan.reminders.services import PreferenceError, run_once, save_choice, save_settings, sweep, sweep_where_due
from herdplan.reminders.texts import distance
from scheduling.services import record_step
from tests.factories.published import DAY_0, ZONE, Published, make_published

pytestmark = pytest.mark.django_db
ALWAYS = ("evening_before", "crew_confirmation")


def rows(made: Published, code: str, user: User | None = None) -> list[OutboxMessage]:
    """Live messages of a rule to a person (the rancher, unless told)."""
    found = OutboxMessage.objects.filter(purpose=BY_CODE[code].purpose, user=user or made.rancher)
    return list(found.exclude(state="cancelled").order_by("due"))


def swept(made: Published, start: datetime, until: datetime) -> None:
    """Sweep once a day, as the loop does more often."""
    while start <= until:
        sweep(now=start)
        start += timedelta(days=1)


def at(day: datetime, clock: time, before: int = 0) -> datetime:
    """A local time some days before a step."""
    return datetime.combine(day.astimezone(ZONE).date() - timedelta(days=before), clock, ZONE)


def everything(protocol: str, **fields: Any) -> Published:
    """A plan whose whole life is swept, from a month before to sixty days after."""
    made = make_published(protocol=protocol, **fields)
    swept(made, DAY_0 - timedelta(days=30), DAY_0 + timedelta(days=75))
    return made


def test_each_rule_comes_at_its_hour_to_its_people() -> None:
    made = everything("cow_7d_cosynch_insert")
    ai, out = made.step("ai").starts, made.step("out").starts
    assert [row.due for row in rows(made, "evening_before")] == [
        at(made.step(key).starts, time(17, 30), 1) for key in ("gnrh1", "out", "ai")
    ]
    assert [row.due for row in rows(made, "insert_out")] == [out - timedelta(hours=1)]
    # Semen is ordered 42 to 28 days before the programme's first day: still in time when the sweeps begin, 30 days before.
    assert [row.due for row in rows(made, "orders_due")] == [at(DAY_0, time(8), days) for days in (42, 21, 14)]
    assert [row.due for row in rows(made, "crew_confirmation")] == [
        at(made.step(key).starts, time(12), 3) for key in ("gnrh1", "out", "ai")
    ]
    assert [row.due for row in rows(made, "no_haul")] == [at(ai, time(8), -4)]
    assert [row.due for row in rows(made, "bull_turn_in")] == [at(ai, time(17, 30), -9)]
    assert [row.due for row in rows(made, "pregnancy_check")] == [at(ai, time(8), -50)]
    assert [row.due for row in rows(made, "technician_evening", made.worker)] == [at(ai, time(17, 30), 1)]
    assert [row.due for row in rows(made, "visit_confirmation", made.worker)] == [at(ai, time(12), 3)]
    assert not rows(made, "second_pg")
    assert not rows(made, "mga_last")
    assert not OutboxMessage.objects.filter(user=made.coordinator)


def test_a_five_day_programme_reminds_of_the_second_pg_eight_hours_later() -> None:
    made = everything("cow_5d_cosynch_insert", start=DAY_0.replace(hour=7))
    (row,) = rows(made, "second_pg")
    assert row.due == made.step("pg").starts + timedelta(hours=7)
    assert made.step("pg2").starts - made.step("pg").starts == timedelta(hours=8)
    assert "Second PG at" in row.subject
    assert "miscarriage" in row.body


def test_mga_ends_once_and_the_general_reminder_keeps_silent_about_it() -> None:
    made = everything("heifer_mga_pg_ftai")
    (row,) = rows(made, "mga_last")
    assert row.due == at(made.step("mga_last").starts, time(17, 30), 1)
    assert "From the next day on no MGA" in row.body
    assert not [other for other in rows(made, "evening_before") if other.about == row.about]


def test_the_second_session_is_told_to_all_as_soon_as_the_first_closes() -> None:
    made = everything("cow_7d_cosynch_insert_split")
    first, second = made.step("ai1"), made.step("ai2")
    hour = f"{second.starts.astimezone(ZONE):%H:%M}"
    for user in (made.rancher, made.worker):
        (row,) = rows(made, "second_session", user)
        assert row.due == first.ends
        assert hour in row.subject
    assert [row.due for row in rows(made, "no_haul")] == [at(first.starts, time(8), -4)]  # day 0 is the first session's


def test_a_first_session_that_closes_early_is_followed_at_once() -> None:
    made = make_published(protocol="cow_7d_cosynch_insert_split")
    first, second = made.step("ai1"), made.step("ai2")
    early = first.starts + timedelta(minutes=20)
    assert early < first.ends
    sweep(now=early)
    run_once(now=early)
    subject = f"Second session at {second.starts.astimezone(ZONE):%a} "
    assert not [letter for letter in mail.outbox if letter.subject.startswith(subject)]
    record_step(member=member_in(made.worker, "north"), entry=made.entry, step="ai1", at=first.starts, now=early)
    for minutes in (0, 1, 60):
        sweep_where_due(now=early + timedelta(minutes=minutes))
        run_once(now=early + timedelta(minutes=minutes))
        letters = [letter.to[0] for letter in mail.outbox if letter.subject.startswith(subject)]
        assert sorted(letters) == sorted([made.rancher.email, made.worker.email])


def test_messages_before_a_session_of_some_say_who_has_to_wait() -> None:
    """Treated on Mon 10 May from 16:00 to 18:00; the first session at 08:25, 64 h 25 min after the first female. The second,
    95 minutes early as well, comes 86 h 25 min after the last of the lot, whose least is 86 h: nobody waits."""
    made = make_published(protocol="cow_7d_cosynch_insert_split")
    PersonSettings.objects.create(user=made.worker, language="es")
    for key in ("ai1", "ai2"):
        made.move(key, timedelta(minutes=-95), DAY_0)
    swept(made, DAY_0 - timedelta(days=30), DAY_0 + timedelta(days=75))
    said = (
        "Bring them in the order in which they had PG. "
        "Inseminate nobody less than 64 h after her own PG: the last treated not before 10:00."
    )
    evening = rows(made, "evening_before")
    assert [said in row.body.split("\n") for row in evening] == [row.about == made.step("ai1").pk for row in evening]
    assert sum(said in row.body for row in evening) == 1
    stops = rows(made, "technician_evening", made.worker)
    assert ["No insemine a ninguna antes de 64 h de su propia PG" in row.body for row in stops] == [True, False]
    assert "10:00." in stops[0].body


def test_the_letter_to_confirm_a_visit_names_the_group_and_its_lot() -> None:
    made = make_published()
    made.cut(30, 30)
    swept(made, DAY_0 - timedelta(days=30), DAY_0 + timedelta(days=20))
    first, second = (row.subject for row in rows(made, "visit_confirmation", made.worker))
    assert first == "Confirm Willow Draw, Thu 13 May, 07:00: Willow, lot 1 of 2"
    assert second == "Confirm Willow Draw, Thu 13 May, 09:00: Willow, lot 2 of 2"


def test_bulls_of_natural_service_are_turned_in_on_their_day() -> None:
    made = everything("ns_14d_insert")
    (row,) = rows(made, "bull_turn_in")
    assert row.due == at(made.step("bulls").starts, time(17, 30), 1)
    assert "never alone in the pen" in row.body


def test_texts_say_weekday_hour_and_zone_of_the_ranch_and_the_cautions() -> None:
    made = everything("cow_7d_cosynch_insert")
    for row in OutboxMessage.objects.filter(about__isnull=False):
        assert "veterinarian" in row.body, row.purpose
        assert "%(" not in row.subject + row.body
        assert not re.search(r"\bUTC\b", row.body)
    evening = rows(made, "evening_before")
    assert evening[0].subject == "Mon 3 May, 16:00: GnRH + insert in, Willow"
    assert "Mon 3 May, 16:00 (MDT)" in evening[0].body
    assert "miscarriage" in evening[1].body
    stop = rows(made, "technician_evening", made.worker)[0]
    assert "Liquid nitrogen burns" in stop.body
    assert "40 miles, 60 min" in stop.body  # 64.4 km
    haul = rows(made, "no_haul")[0]
    # AI on 13 May: days 5 to 42 are 18 May to 24 June ("Movement/transportation after AI", South Dakota State University); days 43
    # and 44 are in no sheet and count as closed; day 45 is 27 June ("Hauling Pregnant Cows", Ohio State University Extension, 2015).
    assert made.step("ai").starts.astimezone(ZONE).date().isoformat() == "2027-05-13"
    assert "from Tue 18 May to Sat 26 Jun" in haul.body
    assert "wait until Sun 27 Jun" in haul.body


def test_reminders_of_two_lots_are_told_apart_by_title_and_text() -> None:
    made = make_published()
    made.cut(13, 47)
    swept(made, DAY_0 - timedelta(days=5), DAY_0 + timedelta(days=11))
    ours = [row for row in rows(made, "evening_before") if "GnRH + insert in" in row.subject]
    theirs = rows(made, "technician_evening", made.worker)
    for code, found in (("insert_out", rows(made, "insert_out")), ("evening", ours), ("technician", theirs)):
        assert len(found) == 2, code
        for row, (head, words) in zip(found, ((13, "lot 1 of 2"), (47, "lot 2 of 2")), strict=True):
            assert row.subject.endswith(f"Willow, {words}"), row.subject
            assert f"{head} head, Willow, {words}, Willow Draw" in row.body
    assert len(rows(made, "no_haul")) == 1  # what is counted from AI day is the whole group's
    assert "lot" not in rows(made, "no_haul")[0].body.split()


def test_distances_follow_the_persons_units() -> None:
    assert distance(64.4, "mi") == "40 miles"
    assert distance(64.4, "km") == "64 km"


def test_a_moved_step_moves_its_reminder_and_a_cancelled_one_takes_it_away() -> None:
    made = make_published()
    now = DAY_0 - timedelta(days=2)
    sweep(now=now)
    (before,) = rows(made, "evening_before")
    made.move("gnrh1", timedelta(days=1), now)
    sweep(now=now)
    (after,) = rows(made, "evening_before")
    assert after.due == before.due + timedelta(days=1)
    assert OutboxMessage.objects.get(pk=before.pk).state == "cancelled"
    made.cancel("gnrh1", now)
    sweep(now=now)
    assert not rows(made, "evening_before")


def test_what_changed_since_the_last_sweep_is_seen_just_before_sending() -> None:
    """The sweep has not run: the message is looked at again, dropped, and never sent wrong."""
    made = make_published()
    sweep(now=DAY_0 - timedelta(days=2))
    made.move("gnrh1", timedelta(hours=2), DAY_0 - timedelta(days=1))
    mail.outbox.clear()
    run_once(now=at(DAY_0, time(17, 31), 1))
    wrong = [message for message in mail.outbox if "16:00: GnRH" in message.subject]
    assert not wrong
    assert OutboxMessage.objects.get(purpose="evening before").why == "moved"
    sweep(now=at(DAY_0, time(17, 32), 1))
    run_once(now=at(DAY_0, time(17, 33), 1))
    assert [m.subject for m in mail.outbox if m.subject.startswith("Mon")] == [
        "Mon 3 May, 18:00: GnRH + insert in, Willow"
    ]


def test_a_step_ticked_off_needs_no_reminder_and_one_taken_back_gets_it_again() -> None:
    made = make_published()
    step, now = made.step("gnrh1"), DAY_0 - timedelta(days=2)
    sweep(now=now)
    for status, expected in (("done", 0), ("planned", 1)):
        type(step).objects.filter(pk=step.pk).update(status=status)
        sweep(now=now)
        assert len(rows(made, "evening_before")) == expected


def test_sweeping_again_makes_nothing_new_and_heals_what_was_lost() -> None:
    made = make_published()
    now = DAY_0 - timedelta(days=2)
    sweep(now=now)
    before = set(OutboxMessage.objects.values_list("dedup_key", flat=True))
    sweep(now=now + timedelta(minutes=1))
    assert set(OutboxMessage.objects.values_list("dedup_key", flat=True)) == before
    OutboxMessage.objects.filter(about__isnull=False).delete()
    sweep(now=now + timedelta(minutes=2))
    assert set(OutboxMessage.objects.values_list("dedup_key", flat=True)) == before
    assert made.coop.outbox.count() == len(before)


def test_a_person_switches_off_moves_and_redirects_a_rule() -> None:
    made = make_published()
    now = DAY_0 - timedelta(days=2)
    save_choice(user=made.rancher, rule="evening_before", on=True, channels=[], days=1, at=time(20, 0))
    save_choice(user=made.rancher, rule="crew_confirmation", on=False, channels=[], days=3, at=time(12))
    sweep(now=now)
    assert [row.due for row in rows(made, "evening_before")] == [at(DAY_0, time(20), 1)]
    assert not rows(made, "crew_confirmation")
    save_choice(user=made.rancher, rule="evening_before", on=True, channels=[], days=1, at=time(17, 30))
    assert not RuleChoice.objects.filter(rule="evening_before").exists()  # equal to the default: no trace
    sweep(now=now)
    (row,) = rows(made, "evening_before")
    assert row.due == at(DAY_0, time(17, 30), 1)
    with pytest.raises(PreferenceError, match="0 to 28"):
        save_choice(user=made.rancher, rule="evening_before", on=True, channels=[], days=40)
    with pytest.raises(PreferenceError, match="none of ours"):
        save_choice(user=made.rancher, rule="evening_before", on=True, channels=["smoke"])


def test_the_loop_sweeps_at_once_when_plan_or_wishes_change_and_rests_otherwise() -> None:
    made = make_published()
    now = DAY_0 - timedelta(days=2)
    sweep_where_due(now=now)
    OutboxMessage.objects.filter(purpose="evening before").delete()
    sweep_where_due(now=now + timedelta(minutes=1))
    assert not rows(made, "evening_before")  # nothing changed: it rests
    save_choice(user=made.rancher, rule="evening_before", on=True, channels=[], days=1, at=time(20, 0))
    sweep_where_due(now=now + timedelta(minutes=2))
    assert [row.due for row in rows(made, "evening_before")] == [at(DAY_0, time(20), 1)]
    made.move("gnrh1", timedelta(days=1), now)
    sweep_where_due(now=now + timedelta(minutes=3))
    assert [row.due for row in rows(made, "evening_before")] == [at(DAY_0, time(20))]
    OutboxMessage.objects.filter(purpose="evening before").delete()
    sweep_where_due(now=now + timedelta(minutes=9))
    assert len(rows(made, "evening_before")) == 1  # it heals with the regular sweep


def quiet(user: User, start: time | None, end: time | None, *, urgent: bool = False) -> None:
    """Quiet hours of a person."""
    save_settings(
        user=user, language="en", channels=["email"], quiet_from=start, quiet_to=end, urgent_passes=urgent
    )  # fmt: skip


def test_reminders_come_before_the_quiet_hours_never_in_them() -> None:
    start = datetime(2027, 5, 3, 5, 30, tzinfo=ZONE)
    made = make_published(start=start - timedelta(days=7))  # inserts out at 05:30
    quiet(made.rancher, time(20), time(5))
    sweep(now=start - timedelta(days=1))
    (row,) = rows(made, "insert_out")
    assert row.due == datetime(2027, 5, 2, 20, 0, tzinfo=ZONE)
    quiet(made.rancher, None, None)
    sweep(now=start - timedelta(days=1))
    assert rows(made, "insert_out")[0].due == start - timedelta(hours=1)


def test_what_comes_late_waits_for_the_end_of_the_quiet_hours_unless_that_is_too_late() -> None:
    """The loop was down in the evening and comes back at 23:00: steps at 16:00 wait until 05:00, one at 04:30 does not."""
    made = make_published()
    early = make_published("south", start=datetime(2027, 5, 3, 4, 30, tzinfo=ZONE))
    now = datetime(2027, 5, 2, 23, 0, tzinfo=ZONE)
    sweep(now=now - timedelta(days=1))
    mail.outbox.clear()
    run_once(now=now)
    assert rows(early, "evening_before")[0].state == "sent"
    (held,) = rows(made, "evening_before")
    assert (held.state, held.retry_at) == ("pending", datetime(2027, 5, 3, 5, 0, tzinfo=ZONE))
    run_once(now=datetime(2027, 5, 3, 5, 0, tzinfo=ZONE))
    held.refresh_from_db()
    assert held.state == "sent"


def test_whoever_left_the_ranch_or_the_site_gets_nothing() -> None:
    made = make_published()
    sweep(now=DAY_0 - timedelta(days=2))
    made.ranch.people.remove(made.rancher)
    User.objects.filter(pk=made.worker.pk).update(is_active=False)
    mail.outbox.clear()
    run_once(now=at(DAY_0, time(17, 31), 1))
    assert not [message for message in mail.outbox if message.subject.startswith(("Mon", "Confirm", "Inserts"))]


def test_lots_of_another_coop_are_left_alone() -> None:
    made, other = make_published(), make_published("south")
    sweep(now=DAY_0 - timedelta(days=2))
    mine = {row.user_id for row in OutboxMessage.objects.filter(cooperative=made.coop)}
    assert mine == {made.rancher.pk, made.worker.pk}
    assert {row.user_id for row in OutboxMessage.objects.filter(cooperative=other.coop)} == {
        other.rancher.pk,
        other.worker.pk,
    }


@pytest.mark.parametrize("zone", ["America/Denver", "Australia/Adelaide", "America/St_Johns"])
@pytest.mark.parametrize(
    "day", [datetime(2027, 3, 14), datetime(2027, 11, 7), datetime(2027, 4, 4), datetime(2027, 10, 3)]
)
def test_on_the_days_of_the_clock_change_the_local_hour_stands(zone: str, day: datetime) -> None:
    """17:30 on the evening before, whatever the clock does in that night."""
    place = ZoneInfo(zone)
    made = make_published(start=day.replace(hour=9, tzinfo=place))
    made.ranch.zone = zone
    made.ranch.save()
    sweep(now=day.replace(tzinfo=utc.utc) - timedelta(days=2))
    (row,) = rows(made, "evening_before")
    assert row.due.astimezone(place).replace(tzinfo=None) == day - timedelta(days=1) + timedelta(hours=17, minutes=30)


def test_every_word_goes_through_translation(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a translation that shouts, nothing of ours stays quiet: only names, numbers and times do."""
    made = make_published(protocol="cow_5d_cosynch_insert")
    for module in ("texts", "item_texts"):
        monkeypatch.setattr(
            f"herdplan.reminders.{module}._", lambda text: re.sub(r"(?<!\))[a-z](?![a-z_]*\))", "", text)
        )
    swept(made, DAY_0 - timedelta(days=30), DAY_0 + timedelta(days=75))
    kinds = set(OutboxMessage.objects.values_list("purpose", flat=True))
    assert {"evening before", "orders due", "no haul", "second pg", "pregnancy check", "plan changed"} <= kinds
    words = {"sort", "veterinarian", "caution", "label", "order", "haul", "confirm", "doses", "book"}
    for row in OutboxMessage.objects.all():
        text = f"{row.subject}\n{row.body}".lower()
        assert not {word for word in words if re.search(rf"\b{word}\b", text)}, text


def person(user: User) -> Client:
    """Signed in."""
    client = Client()
    client.force_login(user)
    return client


def test_the_page_shows_the_table_and_changes_it() -> None:
    made = make_published()
    client = person(made.rancher)
    page = client.get("/c/north/reminders/").content.decode()
    mine = [rule for rule in RULES if "rancher" in rule.roles]
    assert all(str(rule.title) in page for rule in mine)
    assert "My stops, the evening before" not in page
    assert "17:30, the day before" in page
    answer = client.post("/c/north/reminders/rules/evening_before/", {"on": "on", "days": "2", "at": "19:15"})
    assert answer.status_code == 302
    assert "19:15, 2 days before" in client.get("/c/north/reminders/").content.decode()
    answer = client.post("/c/north/reminders/rules/evening_before/", {"on": "on", "days": "99", "at": "19:15"})
    assert "less than or equal to 28" in answer.content.decode()
    answer = client.post("/c/north/reminders/", {"channels": ["email"], "language": "en", "quiet_from": "22:00"})
    assert "both ends of the quiet hours" in answer.content.decode()
    answer = client.post(
        "/c/north/reminders/",
        {"channels": ["email"], "language": "en", "quiet_from": "22:00", "quiet_to": "06:00", "urgent_passes": "on"},
    )
    assert answer.status_code == 302
    assert made.rancher.reminder_settings.urgent_passes is True
    assert client.get("/c/north/reminders/rules/technician_evening/").status_code == 404


def test_rules_are_data_that_hold_together() -> None:
    for rule in RULES:
        assert rule.roles
        assert rule.explains
        assert rule.plan or rule.about in ("booking", "move") or rule.marks or rule.items, rule.code
        assert rule.at is None or not rule.minutes, rule.code
        assert len(rule.purpose) <= 40
    assert len(BY_CODE) == len(RULES)
