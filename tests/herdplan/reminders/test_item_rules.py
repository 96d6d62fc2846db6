"""Reminders of dated items: when they come, what they say, and that ticking, moving or dropping an item is respected."""

from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.core import mail

from accounts.models import User
from accounts.tenancy import member_in
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.rules import BY_CODE, BY_ITEM
from herdplan.reminders.services import run_once, save_choice, sweep, sweep_where_due
from scheduling.models import PlannedStep, SeasonEntry
from scheduling.services.item_acts import drop_item, move_item, put_back, save_care, tick, untick
from scheduling.services.season_basis import published
from scheduling.services.season_items import SeasonItem, items_of
from tests.factories.published import ZONE, Published, make_published

pytestmark = pytest.mark.django_db
AI = date(2027, 5, 13)


def morning(day: date, before: int = 0) -> datetime:
    """Eight o'clock at the ranch, some days before."""
    return datetime.combine(day - timedelta(days=before), time(8), ZONE)


def item(made: Published, key: str) -> SeasonItem:
    """One item, read anew."""
    (basis,) = published(PlannedStep.objects.filter(entry=made.entry))
    return {row.key: row for row in items_of(basis)}[key]


def act(made: Published, key: str, now: datetime) -> dict[str, Any]:
    """What the services ask for."""
    return {"member": member_in(made.rancher, "north"), "entry": made.entry, "item": item(made, key), "now": now}


def rows(made: Published, code: str, user: User | None = None) -> list[OutboxMessage]:
    """Live messages of a rule."""
    found = OutboxMessage.objects.filter(purpose=BY_CODE[code].purpose, user=user or made.rancher)
    return list(found.exclude(state="cancelled").order_by("due"))


def swept(start: datetime, until: datetime) -> None:
    """Sweep once a day."""
    while start <= until:
        sweep(now=start)
        start += timedelta(days=1)


def test_each_item_is_reminded_of_on_its_day_to_the_ranch_alone() -> None:
    """Days by the kernel's calendar; leads are common practice."""
    made = make_published()
    swept(morning(AI, 125), morning(AI, -70))
    expected = {
        "weigh_and_score": [morning(item(made, key).first) for key in ("score_first", "score_again")],
        "boosters": [morning(item(made, key).first, 7) for key in ("first_dose", "boosters")],
        "bull_exam": [morning(item(made, "bull_exam").first, 7)],
        "ration_changes": [morning(item(made, "ration").first)],
        "facility_check": [morning(item(made, "facility").first)],
        "open_before_pg": [morning(item(made, "open").first, 7)],
        "orders_due": [morning(item(made, key).first) for key in ("semen", "drugs", "nitrogen")],
        "no_haul": [morning(AI + timedelta(days=5), 1)],
        "bull_turn_in": [datetime.combine(AI + timedelta(days=9), time(17, 30), ZONE)],
        "pregnancy_check": [morning(AI + timedelta(days=60), 10)],
    }
    assert {code: [row.due for row in rows(made, code)] for code in expected} == expected
    assert set(BY_ITEM) >= {"exam", "weigh_first", "haul", "bulls", "check"}
    # Crew and doses have rules tied to the trips themselves: the crew three days ahead, the doses on the evening before.
    before = {row.key for row in items_of(published(PlannedStep.objects.filter(entry=made.entry))[0]) if row.before}
    assert before - set(BY_ITEM) == {"crew", "count"}
    purposes = [BY_CODE[code].purpose for code in expected]
    assert set(OutboxMessage.objects.filter(purpose__in=purposes).values_list("user", flat=True)) == {made.rancher.pk}
    first = rows(made, "boosters")[1]
    assert first.subject == "Boosters by Tue 13 Apr: Willow"
    assert "From Sun 14 Mar to Tue 13 Apr." in first.body
    assert "AI on Thu 13 May" in first.body
    assert "No modified-live vaccine after these days." in first.body
    drugs = rows(made, "orders_due")[1]
    assert "- GnRH + insert in" in drugs.body
    assert "prescription" in drugs.body
    assert "Bulls that it takes: 1-2." in rows(made, "bull_turn_in")[0].body


def test_heifers_are_weighed_and_examined() -> None:
    made = make_published(protocol="heifer_7d_cosynch_insert")
    group = made.entry.group
    group.animal_class = "heifer"
    group.save()
    swept(morning(AI, 155), morning(AI, 25))
    day = item(made, "exam").basis.ai_day
    # Exam 42 to 28 days before AI ("Control of Estrus in Heifers, symposium summary", 2012), told two weeks ahead.
    assert [row.due for row in rows(made, "pre_breeding_exam")] == [morning(day, 42 + 14)]
    assert [row.due for row in rows(made, "weigh_and_score")] == [morning(day, 150), morning(day, 42)]


def test_what_is_ticked_or_dropped_rings_no_more_and_rings_again_when_taken_back() -> None:
    made = make_published()
    now = morning(item(made, "boosters").first, 8)
    sweep(now=now)
    assert len(rows(made, "boosters")) == 2  # the first dose is still in time
    tick(**act(made, "boosters", now))
    sweep_where_due(now=now + timedelta(minutes=1))  # a tick is seen at once, not with the next regular sweep
    (left,) = rows(made, "boosters")
    assert left.subject.startswith("First vaccine dose")
    untick(**act(made, "boosters", now))
    sweep_where_due(now=now + timedelta(minutes=2))
    assert len(rows(made, "boosters")) == 2
    drop_item(**act(made, "boosters", now), reason="done in autumn")
    sweep(now=now)
    assert len(rows(made, "boosters")) == 1
    put_back(**act(made, "boosters", now))
    sweep(now=now)
    assert len(rows(made, "boosters")) == 2
    assert OutboxMessage.objects.filter(purpose="boosters").count() == 2  # the same messages, put away and taken back


def test_a_moved_item_moves_its_reminder() -> None:
    made = make_published()
    day = AI + timedelta(days=20)
    now = morning(AI, -8)
    sweep(now=now)
    assert [row.due.date() for row in rows(made, "bull_turn_in")] == [AI + timedelta(days=9)]
    move_item(**act(made, "bulls", now), day=day, reason="bulls are late")
    sweep(now=now)
    assert rows(made, "bull_turn_in") == []
    sweep(now=morning(day, 3))
    (row,) = rows(made, "bull_turn_in")
    assert row.due == datetime.combine(day - timedelta(days=1), time(17, 30), ZONE)
    assert "Bulls in on Wed 2 Jun" in row.subject


def test_a_check_moved_to_autumn_is_still_reminded_of() -> None:
    made = make_published()
    day = AI + timedelta(days=170)
    move_item(**act(made, "check", morning(AI)), day=day, reason="at weaning")
    sweep(now=morning(day, 12))
    assert [row.due for row in rows(made, "pregnancy_check")] == [morning(day, 10)]
    run_once(now=morning(day, 10) + timedelta(minutes=1))
    assert [row.state for row in rows(made, "pregnancy_check")] == ["sent"]


def test_what_was_ticked_since_the_sweep_is_seen_just_before_sending() -> None:
    made = make_published()
    first = item(made, "drugs").first
    sweep(now=morning(first, 2))
    assert len(rows(made, "orders_due")) >= 1
    tick(**act(made, "drugs", morning(first, 1)))
    mail.outbox.clear()
    run_once(now=morning(first) + timedelta(minutes=1))
    assert not [message for message in mail.outbox if message.subject.startswith("Order drugs")]
    assert OutboxMessage.objects.get(purpose="orders due", subject__startswith="Order drugs").why == "moved"


def test_a_change_elsewhere_in_the_group_does_not_ring_twice() -> None:
    made = make_published()
    due = morning(AI + timedelta(days=5), 1)
    sweep(now=due - timedelta(hours=1))
    mail.outbox.clear()
    run_once(now=due + timedelta(minutes=1))
    assert len([message for message in mail.outbox if "No hauling" in message.subject]) == 1
    tick(**act(made, "bulls_out", due))
    member = member_in(made.rancher, "north")
    save_care(member=member, entry=SeasonEntry.objects.get(), values={"check_way": "palpation"}, now=due)
    sweep(now=due + timedelta(minutes=5))
    run_once(now=due + timedelta(minutes=6))
    assert len([message for message in mail.outbox if "No hauling" in message.subject]) == 1


def test_a_wish_moves_the_check_and_a_person_may_not_want_it() -> None:
    made = make_published()
    member = member_in(made.rancher, "north")
    save_care(member=member, entry=made.entry, values={"check_way": "ultrasound scan"}, now=morning(AI))
    # Scan as a routine 35 days after: "Avoid transportation, heat issues during early pregnancy", Texas A&M, 2021.
    sweep(now=morning(AI + timedelta(days=35), 11))
    assert [row.due for row in rows(made, "pregnancy_check")] == [morning(AI + timedelta(days=35), 10)]
    save_choice(user=made.rancher, rule="pregnancy_check", on=False, channels=[], days=10, at=time(8))
    sweep(now=morning(AI + timedelta(days=35), 11))
    assert rows(made, "pregnancy_check") == []


def test_a_cancelled_plan_takes_everything_away() -> None:
    made = make_published()
    now = morning(item(made, "semen").first, 1)
    sweep(now=now)
    assert rows(made, "orders_due")
    made.cancel("ai", now)
    sweep(now=now)
    assert rows(made, "orders_due") == []
