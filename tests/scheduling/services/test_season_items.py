"""Dated items of a group: where their days come from, what people do to them, what they cost the database."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from accounts.tenancy import Member, member_in
from scheduling.models import GroupCare, ItemAct, PlannedMove, PlannedStep, Season, SeasonEntry
from scheduling.services.calving import calving_of
from scheduling.services.item_acts import ItemError, drop_item, move_item, put_back, save_care, tick, untick
from scheduling.services.planned_moves import check_planned, drafted, save_move, withdraw_move
from scheduling.services.season_basis import Basis, bases_of, published
from scheduling.services.season_items import SeasonItem, bulls_for, by_time, items_of
from tests.factories.people import make_entry, make_group, make_herd, make_ranch
from tests.factories.published import DAY_0, ZONE, Published, make_published

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 3, 1, 15, 0, 0, 5, tzinfo=UTC)
AI = date(2027, 5, 13)


def rancher(made: Published) -> Member:
    """The ranch's own person."""
    return member_in(made.rancher, made.coop.slug)


def basis_of(made: Published) -> Basis:
    """The published basis, read anew."""
    (basis,) = published(PlannedStep.objects.all())
    assert basis.entry == made.entry.pk
    return basis


def item(made: Published, key: str) -> SeasonItem:
    """One item, read anew."""
    return {row.key: row for row in items_of(basis_of(made))}[key]


def version(made: Published) -> int:
    """What calendars look at."""
    return Season.objects.get(pk=made.entry.season_id).calendar_version


def test_items_count_from_the_published_ai_day_with_their_sources() -> None:
    """Days as in the kernel's tests; here that the service hands them on: no hauling days 5 to 44 (5 to 42 in print, "Movement/
    transportation after AI", South Dakota State University), boosters 30 days before ("Heifer breeding soundness exams", 2018)."""
    made = make_published()
    rows = {row.key: row for row in items_of(basis_of(made))}
    assert (rows["haul"].first, rows["haul"].last) == (AI + timedelta(days=5), AI + timedelta(days=44))
    assert rows["boosters"].last == AI - timedelta(days=30)
    assert rows["bulls"].first == AI + timedelta(days=10)
    assert rows["calving"].first == AI + timedelta(days=283)
    assert {"semen", "drugs", "facility", "score_first", "score_again", "first_dose", "bull_exam", "ration"} <= set(
        rows
    )
    assert all(row.source and row.text and row.who for row in rows.values())
    assert [row.first for row in items_of(basis_of(made))] == sorted(row.first for row in rows.values())


def test_a_moved_plan_moves_every_item_and_raises_its_sequence() -> None:
    made = make_published()
    before = {row.key: row for row in items_of(basis_of(made))}
    made.move("ai", timedelta(days=3), NOW)
    after = {row.key: row for row in items_of(basis_of(made))}
    for key, row in after.items():
        if row.basis.anchor and key != "heat":
            assert row.first - before[key].first == timedelta(days=3), key
        assert row.sequence == before[key].sequence + 1
    made.cancel("ai", NOW)
    assert basis_of(made).cancelled


def test_before_a_plan_is_published_the_plan_in_work_counts_then_the_wish() -> None:
    made = make_published()
    entry = SeasonEntry.objects.select_related("group__herd__ranch", "care").get(pk=made.entry.pk)
    assert bases_of([entry], {})[entry.pk].source == "published"
    made.cancel("ai", NOW)
    drafted_on = {str(entry.pk): date(2027, 5, 17)}
    draft, wish = bases_of([entry], drafted_on)[entry.pk], bases_of([entry], {})[entry.pk]
    assert (draft.source, draft.ai_day) == ("draft", date(2027, 5, 17))
    assert (wish.source, wish.ai_day) == ("wished", entry.ai_wanted)


def test_a_tick_says_who_and_when_and_can_be_taken_back() -> None:
    made = make_published()
    entry = made.entry
    seen = version(made)
    assert tick(member=rancher(made), entry=entry, item=item(made, "facility"), now=NOW)
    done = item(made, "facility")
    assert done.standing.done is not None
    assert (done.standing.done.by, done.standing.done.at) == (made.rancher, NOW.replace(microsecond=0))
    assert (done.open, done.sequence) == (False, 1)
    assert version(made) == seen + 1
    assert not tick(member=rancher(made), entry=entry, item=done, now=NOW)  # a page that was sent twice
    assert untick(member=rancher(made), entry=entry, item=done, now=NOW)
    again = item(made, "facility")
    assert (again.open, again.sequence) == (True, 2)
    assert not untick(member=rancher(made), entry=entry, item=again, now=NOW)
    assert list(ItemAct.objects.values_list("kind", flat=True)) == ["done", "undone"]


def test_an_item_is_moved_or_dropped_with_a_reason_and_put_back() -> None:
    made, day = make_published(), date(2027, 4, 20)
    counted = item(made, "score_again")
    move_item(member=rancher(made), entry=made.entry, item=counted, day=day, reason=" branding then ", now=NOW)
    moved = item(made, "score_again")
    assert (moved.first, moved.last, moved.counted) == (day, day, (counted.first, counted.last))
    assert moved.standing.moved is not None
    assert moved.standing.moved.reason == "branding then"
    drop_item(member=rancher(made), entry=made.entry, item=moved, reason="scored yesterday", now=NOW)
    dropped = item(made, "score_again")
    assert not dropped.open
    assert (dropped.first, dropped.sequence) == (counted.first, 2)
    with pytest.raises(ItemError, match="Put it back first"):
        tick(member=rancher(made), entry=made.entry, item=dropped, now=NOW)
    assert put_back(member=rancher(made), entry=made.entry, item=dropped, now=NOW)
    back = item(made, "score_again")
    assert (back.open, back.first, back.sequence) == (True, counted.first, 3)
    assert not put_back(member=rancher(made), entry=made.entry, item=back, now=NOW)


def test_bulls_on_another_day_take_their_exam_and_their_leaving_with_them() -> None:
    """Exam 60 to 30 days before they go in ("Breeding soundness exams", University of Arkansas, undated)."""
    made, day = make_published(), AI + timedelta(days=20)
    move_item(member=rancher(made), entry=made.entry, item=item(made, "bulls"), day=day, reason="late", now=NOW)
    assert item(made, "bulls").first == day
    exam = item(made, "bull_exam")
    assert (exam.first, exam.last) == (day - timedelta(days=60), day - timedelta(days=30))
    assert item(made, "bulls_out").first == day + timedelta(days=60)


@pytest.mark.parametrize(
    ("key", "day", "reason", "words"),
    [
        ("haul", date(2027, 6, 1), "because", "follows from the AI day"),
        ("calving", date(2028, 2, 1), "because", "follows from the AI day"),
        ("semen", date(2028, 6, 1), "because", "day: Choose a day from"),
        ("semen", None, "because", "day: Choose the day"),
        ("semen", date(2027, 3, 20), "  ", "reason: Say why"),
    ],
)
def test_what_cannot_be_is_refused_by_field_and_nothing_is_saved(key: str, day: Any, reason: str, words: str) -> None:
    made = make_published()
    with pytest.raises(ItemError, match=words):
        move_item(member=rancher(made), entry=made.entry, item=item(made, key), day=day, reason=reason, now=NOW)
    assert not ItemAct.objects.exists()


def test_others_may_not_and_the_database_keeps_reasons() -> None:
    made = make_published()
    worker = member_in(made.worker, "north")
    for act in (tick, untick, put_back):
        with pytest.raises(PermissionDenied):
            act(member=worker, entry=made.entry, item=item(made, "semen"), now=NOW)
    with pytest.raises(PermissionDenied):
        save_care(member=worker, entry=made.entry, values={"bulls": False}, now=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        ItemAct.objects.create(entry=made.entry, item="semen", kind="dropped", by=made.rancher, at=NOW)


def test_wishes_change_dates_once_and_the_same_again_changes_nothing() -> None:
    made = make_published()
    seen = version(made)
    values = {"tell_apart": True, "check_way": "palpation", "resynchronize": True, "expected_rate": 60}
    save_care(member=rancher(made), entry=made.entry, values=values, now=NOW)
    assert item(made, "bulls").first == AI + timedelta(days=31)  # insert out on day 21, bulls ten days later
    assert item(made, "check").first == AI + timedelta(days=42)  # routine by hand: University of Florida, 2015
    assert item(made, "resync_in").first == AI + timedelta(days=14)
    assert item(made, "haul").sequence == 1
    save_care(member=rancher(made), entry=SeasonEntry.objects.get(), values=values, now=NOW)
    assert (GroupCare.objects.get().sequence, version(made)) == (1, seen + 1)
    with pytest.raises(ItemError, match="bull_months"):
        save_care(member=rancher(made), entry=SeasonEntry.objects.get(), values={"bull_months": 3}, now=NOW)
    assert GroupCare.objects.get().bull_months == 24


def test_bulls_by_what_is_expected_open() -> None:
    """60 cows at 60 %: 24 open; mature bulls 25 to 35 females: 1 ("Bull to Female Ratios", Oklahoma State, 2022). At 15 months 12 to
    18 females: 2. Without a figure of the ranch, the printed 47.9 % of 240 cows (three-year trial, about 2019): 32 open."""
    made = make_published()
    assert bulls_for(basis_of(made)).open_head == 32
    save_care(member=rancher(made), entry=made.entry, values={"expected_rate": 60}, now=NOW)
    need = bulls_for(basis_of(made))
    assert (need.open_head, need.fewest, need.most) == (24, 1, 1)
    save_care(member=rancher(made), entry=SeasonEntry.objects.get(), values={"bull_months": 15}, now=NOW)
    need = bulls_for(basis_of(made))
    assert (need.fewest, need.most, need.fewest_each, need.most_each) == (2, 2, 12, 18)
    assert "About 24 of 60 are expected open: 2 bulls at 12 to 18 females each." in item(made, "bulls").text


def test_natural_service_prepares_bulls_and_no_semen() -> None:
    made = make_published(protocol="ns_14d_insert")
    rows = {row.key: row for row in items_of(basis_of(made))}
    assert not {"semen", "nitrogen", "bulls", "haul", "check"} & set(rows)
    turned = made.step("bulls").starts.astimezone(ZONE).date()
    assert rows["bull_exam"].last == turned - timedelta(days=30)
    assert rows["calving"].first == turned + timedelta(days=283)
    assert sum(week.calves for week in calving_of(basis_of(made), items_of(basis_of(made))).weeks) > 30


def test_the_calving_forecast_adds_up_and_begins_where_the_calendar_says() -> None:
    """283 days, spread 5.52: "Gestation Length (guideline)", Beef Improvement Federation."""
    made = make_published()
    save_care(member=rancher(made), entry=made.entry, values={"expected_rate": 50, "bulls": False}, now=NOW)
    basis = basis_of(made)
    told = calving_of(basis, items_of(basis))
    assert told.first_due == told.half_by == item(made, "calving").first
    assert told.calves == pytest.approx(30)
    assert sum(week.calves for week in told.weeks) == pytest.approx(30, abs=0.1)
    assert told.weeks[-1].until == 100
    assert max(week.length for week in told.weeks) == 1000
    save_care(member=rancher(made), entry=SeasonEntry.objects.get(), values={"bulls": True}, now=NOW)
    both = calving_of(basis_of(made), items_of(basis_of(made)))
    # 30 left open, bulls for 60 days settle 47 % a cycle: 21 + 21 + 18 days; 30 x (0.47 + 0.53 x 0.47 + 0.53^2 x 0.47 x 18/21)
    assert both.calves == pytest.approx(30 + 30 * (0.47 + 0.53 * 0.47 + 0.53**2 * 0.47 * 18 / 21))
    assert both.periods[0][2] > 30


def test_lists_by_what_is_asked_today() -> None:
    made = make_published()
    rows = by_time(items_of(basis_of(made)), AI - timedelta(days=35))
    assert {row.key for row in rows.now} >= {"boosters", "score_again"}
    assert {row.key for row in rows.late} >= {"score_first", "first_dose"}
    assert {row.key for row in rows.coming} >= {"bulls", "check", "calving"}
    assert not rows.closed
    assert not [row for row in by_time(items_of(basis_of(made)), AI + timedelta(days=400)).late if row.settled]


# --- planned moves ---


def typed(made: Published, **values: Any) -> PlannedMove:
    """A haul as the form hands it over."""
    given = {"kind": "haul", "day": AI + timedelta(days=20), "origin": "home", "goal": "the hills", **values}
    return drafted(entry=made.entry, basis=basis_of(made), values=given)


def test_a_move_is_held_against_the_bands_and_kept() -> None:
    made = make_published()
    move = typed(made)
    (row,) = check_planned(made.rancher, [move], {made.entry.pk: basis_of(made)}, [made.ranch])
    assert (row.light, row.warned, row.heat, row.heat_known) == ("closed", True, (), False)
    assert row.better == AI + timedelta(days=45)
    assert any("Hauling Pregnant Cows" in source for source in row.sources)
    seen = version(made)
    save_move(member=rancher(made), entry=made.entry, move=move, now=NOW)
    assert (PlannedMove.objects.get().sequence, version(made)) == (0, seen + 1)
    move.day = AI + timedelta(days=2)
    save_move(member=rancher(made), entry=made.entry, move=move, now=NOW)
    kept = PlannedMove.objects.get()
    assert (kept.sequence, kept.day) == (1, AI + timedelta(days=2))
    assert check_planned(made.rancher, [kept], {made.entry.pk: basis_of(made)}, [made.ranch])[0].light == "open"
    assert withdraw_move(member=rancher(made), move=kept, now=NOW)
    assert not withdraw_move(member=rancher(made), move=kept, now=NOW)
    assert PlannedMove.objects.get().sequence == 2


def test_bad_moves_name_the_field() -> None:
    made = make_published()
    begin = DAY_0.time().replace(hour=6)
    for values, words in (
        ({"ends": begin, "begins": begin}, "ends: Choose an hour after"),
        ({"day": date(2031, 1, 1)}, "day: Choose a day from"),
        ({"origin": ""}, "origin: "),
        ({"kind": "fly"}, "kind: "),
    ):
        with pytest.raises(ItemError, match=words):
            typed(made, **values)


# --- what it costs ---


def many(made: Published, count: int) -> None:
    """More published groups with acts, wishes and ranches of their own."""
    step = made.step("ai")
    for i in range(count):
        group = make_group(make_herd(make_ranch(made.coop, f"Ranch {i} of {count}")), head=40)
        entry = make_entry(made.entry.season, group)
        row = {"entry": entry, "ranch": group.herd.ranch, "lot": 0, "key": "ai", "head": 40, "changed_at": NOW}
        PlannedStep.objects.create(**row, starts=step.starts, ends=step.ends)
        ItemAct.objects.create(entry=entry, item="semen", kind="done", by=made.rancher, at=NOW)
        GroupCare.objects.create(entry=entry, tell_apart=True)


def test_a_constant_number_of_queries() -> None:
    made = make_published()
    counts = []
    for more in (1, 7):
        many(made, more)
        with CaptureQueriesContext(connection) as asked:
            rows = [row for basis in published(PlannedStep.objects.all()) for row in items_of(basis)]
        with CaptureQueriesContext(connection) as entered:
            entries = SeasonEntry.objects.select_related("group__herd__ranch", "care")
            bases = bases_of(entries, {})
            assert len(items_of(next(iter(bases.values())))) > 10
        counts.append((len(asked), len(entered)))
        assert len({row.basis.entry for row in rows}) == len(bases)
    assert counts == [(2, 3), (2, 3)]
