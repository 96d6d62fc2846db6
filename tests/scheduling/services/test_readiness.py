"""Readiness from the rows: what records become, whose dates count, and that neither head nor records cost a query."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from accounts.permissions import Role
from accounts.tenancy import member_in
from herdplan.herds.models import GESTATION_DAYS as BOOK_GESTATION_DAYS
from herdplan.herds.models import Female, Record
from herdplan.herds.queries import histories
from scheduling.kernel.advice.records import Pregnancy, VaccineKind
from scheduling.kernel.advice.verdicts import Verdict
from scheduling.kernel.calving import GESTATION_DAYS
from scheduling.kernel.catalogue import load_catalogue
from scheduling.models import ReadinessWord, SeasonEntry
from scheduling.services import publish
from scheduling.services.readiness import GroupReadiness, as_record, group_readiness, season_readiness
from scheduling.services.readiness_pages import RECORD_OF, animal_page, spreads_of, work_of
from scheduling.services.reasons import codes_of, reason_of
from tests.factories.people import make_entry, make_person, make_season
from tests.factories.plans import NOW, Scene, make_scene, planned
from tests.factories.readiness import AI, TODAY, WEANED_LB, keep_from_bulls, make_cows, make_heifers

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene() -> Scene:
    """Two ranches with a group each, AI wished on 10 May."""
    return make_scene()


def judged(scene: Scene, entry: SeasonEntry, who: Any = None) -> GroupReadiness:
    """The entry as the coordinator sees it, fresh from the rows."""
    fresh = SeasonEntry.objects.select_related("season", "group__herd__ranch").get(pk=entry.pk)
    return group_readiness(member=who or scene.coordinator, entry=fresh, now=NOW)


def codes(found: GroupReadiness, tag: str) -> dict[str, Verdict]:
    """What each rule says of the female with a tag, the gravest where it says more than one thing."""
    animal = next(one for one in found.animals if one.female.tag == tag)
    return {reason.code: reason.verdict for reason in reversed(animal.judged.reasons)}


# --- what rows become ---


def record_of(female: Female, *, kept: bool = False) -> Any:
    """The female as the kernel reads her."""
    return as_record(histories(Female.objects.filter(pk=female.pk))[0], kept_from_bulls=kept)


def test_records_become_what_the_rules_read(scene: Scene) -> None:
    entry, (heifer,) = make_heifers(scene, [700])
    Record.objects.create(female=heifer, kind="vaccination", day=date(2026, 12, 1), vaccine="clostridial")
    Record.objects.create(female=heifer, kind="vaccination", day=date(2026, 12, 2), vaccine="viral_live")
    Record.objects.create(female=heifer, kind="hold", day=date(2027, 3, 1), until=date(2027, 3, 9), reason="Lame")
    Record.objects.create(
        female=heifer, kind="weight", day=date(2027, 3, 16), weight_kg=1, withdrawn_at="2027-03-17T00:00Z"
    )
    one = record_of(heifer)
    assert one.is_heifer
    assert (one.latest_weight.day, one.latest_weight.kg) == (date(2027, 3, 15), 700 * WEANED_LB)
    assert one.pelvis.area_cm2 == 156
    assert (one.tract.score, one.tract.day) == (4, date(2027, 3, 31))
    assert [(dose.kind, dose.first_time, dose.vaccine) for dose in one.vaccinations] == [
        (VaccineKind.MODIFIED_LIVE, True, "viral_live"),
        (VaccineKind.KILLED, True, "viral_killed"),
        (VaccineKind.KILLED, False, "viral_killed"),
    ]
    assert [(hold.since, hold.until, hold.why) for hold in one.holds] == [(date(2027, 3, 1), date(2027, 3, 9), "Lame")]
    assert entry.kept_from_bulls


def test_a_pregnancy_is_over_when_she_has_calved_and_guessed_on_while_she_has_not(scene: Scene) -> None:
    (cow,) = make_cows(scene.willow, 1, calved=date(2027, 2, 20))
    check = Record.objects.create(female=cow, kind="pregnancy", day=date(2026, 11, 1), pregnancy="pregnant")
    one = record_of(cow)
    assert (one.pregnancy, one.calved, one.due) == (Pregnancy.UNKNOWN, date(2027, 2, 20), None)
    Record.objects.filter(pk=check.pk).update(day=date(2027, 2, 21))
    one = record_of(cow)
    assert (one.pregnancy, one.due, one.due_guessed) == (Pregnancy.PREGNANT, date(2028, 2, 20), True)
    # 60 days along on 21 February: 283 - 60 = 223 days on, 2 October ("Gestation Length" guideline, Beef Improvement Federation).
    Record.objects.filter(pk=check.pk).update(days_pregnant=60)
    one = record_of(cow)
    assert (one.due, one.due_guessed) == (date(2027, 10, 2), False)
    assert GESTATION_DAYS == BOOK_GESTATION_DAYS
    heifer = make_heifers(scene, [700])[1][0]
    Record.objects.create(female=heifer, kind="pregnancy", day=TODAY, pregnancy="pregnant")
    assert record_of(heifer).due is None
    assert record_of(cow, kept=True).kept_from_bulls


def test_an_open_check_counts_for_sixty_days(scene: Scene) -> None:
    first, second, third = make_cows(scene.willow, 3)
    for female, ago in ((first, 60), (second, 61)):
        day = TODAY - timedelta(days=ago)
        Record.objects.filter(female=female, kind="calving").update(day=date(2027, 1, 1))
        Female.objects.filter(pk=female.pk).update(last_calved=date(2027, 1, 1))
        Record.objects.create(female=female, kind="pregnancy", day=day, pregnancy="open")
    found = judged(scene, scene.willow)
    verdicts = [codes(found, one.tag)["unknown_pregnancy"] for one in (first, second, third)]
    assert verdicts == [Verdict.READY, Verdict.READY_IF, Verdict.READY_IF]
    keep_from_bulls(scene.willow)
    assert judged(scene, scene.willow).counts == {"ready": 3, "ready_if": 0, "not_this_time": 0}


def test_that_they_were_kept_from_bulls_is_said_anew_each_season(scene: Scene) -> None:
    (cow,) = make_cows(scene.willow, 1)
    keep_from_bulls(scene.willow)
    assert judged(scene, scene.willow).counts["ready"] == 1
    again = make_entry(make_season(scene.coop), scene.willow.group)
    assert codes(judged(scene, again), cow.tag)["unknown_pregnancy"] is Verdict.READY_IF


def test_one_dose_on_record_of_a_heifer_is_her_first_and_of_a_cow_is_not(scene: Scene) -> None:
    entry, heifers = make_heifers(scene, [715, 715])
    Record.objects.filter(female=heifers[0], kind="vaccination", day=date(2027, 3, 25)).delete()
    cows = make_cows(scene.willow, 1)
    found = judged(scene, entry)
    assert codes(found, heifers[0].tag)["primary_course"] is Verdict.READY_IF
    assert "primary_course" not in codes(found, heifers[1].tag)
    assert "primary_course" not in codes(judged(scene, scene.willow), cows[0].tag)
    reason = next(r for a in found.animals for r in a.judged.reasons if r.code == "primary_course")
    # First dose 1 March: the second from 15 to 29 March, which is over; two more end after 10 April, too close to AI.
    assert (reason.by, reason.seen) == (AI - timedelta(days=9), date(2027, 3, 1))
    assert "Too close to AI for a second dose" in (reason.do or "")


# --- dates ---


def test_the_published_day_counts_before_the_draft_and_the_draft_before_the_wish(scene: Scene) -> None:
    make_cows(scene.willow, 2)
    keep_from_bulls(scene.willow)
    found = judged(scene, scene.willow)
    assert found.dated is not None
    assert (found.dated.origin, found.dated.plan.ai, found.dated.plan.today) == ("wish", AI, TODAY)
    plan = planned(scene)
    days = {row["id"]: date.fromisoformat(row["ai_day"]) for row in plan.document["groups"]}
    moved = plan.document | {
        "groups": [row | {"ai_day": "2027-05-13"} for row in plan.document["groups"]],
    }
    type(plan).objects.filter(pk=plan.pk).update(document=moved)
    draft = judged(scene, scene.willow)
    assert draft.dated is not None
    assert (draft.dated.origin, draft.dated.plan.ai) == ("draft", date(2027, 5, 13))
    seen = judged(scene, scene.willow, scene.rancher)
    assert seen.dated is not None
    assert seen.dated.origin == "wish"  # drafts are not for ranchers
    type(plan).objects.filter(pk=plan.pk).update(document=plan.document)
    plan.refresh_from_db()
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=NOW)
    for who in (scene.coordinator, scene.rancher):
        published = judged(scene, scene.willow, who)
        assert published.dated is not None
        assert (published.dated.origin, published.dated.plan.ai) == ("published", days[str(scene.willow.pk)])


def test_once_the_programme_runs_nothing_is_split_and_after_ai_she_is_judged_as_she_stood(scene: Scene) -> None:
    cows = make_cows(scene.willow, 3)
    make_cows(scene.willow, 1, first=90, calved=AI - timedelta(days=41))
    keep_from_bulls(scene.willow)

    def on(day: date) -> GroupReadiness:
        entry = SeasonEntry.objects.select_related("season", "group__herd__ranch").get(pk=scene.willow.pk)
        now = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)
        return group_readiness(member=scene.coordinator, entry=entry, now=now)

    start = AI - timedelta(days=10)
    assert on(start).late is not None
    assert on(start + timedelta(days=1)).late is None
    before = on(AI).counts
    Record.objects.create(female=cows[0], kind="pregnancy", day=AI + timedelta(days=35), pregnancy="pregnant")
    Record.objects.create(female=cows[1], kind="condition", day=AI + timedelta(days=35), condition=2)
    Female.objects.filter(pk=cows[2].pk).update(last_calved=AI + timedelta(days=283))
    after = on(AI + timedelta(days=290))
    assert after.counts == before
    assert not after.work
    assert after.dated is not None
    assert after.dated.over


def test_a_protocol_that_is_gone_is_no_error(scene: Scene) -> None:
    make_cows(scene.willow, 2)
    SeasonEntry.objects.filter(pk=scene.willow.pk).update(protocol="gone")
    found = judged(scene, scene.willow)
    assert (found.dated, found.head, found.per_cent, work_of(found)) == (None, 0, None, [])


def test_a_rancher_who_is_a_technician_too_judges_only_the_own_females(scene: Scene) -> None:
    make_cows(scene.willow, 2)
    make_cows(scene.birch, 3)
    user = make_person(scene.coop, Role.RANCHER, Role.TECHNICIAN)
    scene.home.people.add(user)
    both = member_in(user, scene.coop.slug)
    assert judged(scene, scene.willow, both).head == 2
    assert judged(scene, scene.birch, both).head == 0


# --- what the pages show ---


def test_charts_know_the_limit_and_name_the_target_in_the_persons_unit(scene: Scene) -> None:
    entry, _ = make_heifers(scene, [540, 610, 700, 715, 800])
    found = judged(scene, entry)
    user = scene.coordinator.user
    share = next(chart for chart in spreads_of(found, user) if chart.key == "share")
    assert share.limit == "target 65 %: 715 lb of 1,100 lb"
    assert [(bar.label, bar.head, bar.reached) for bar in share.bars] == [
        ("under 50", 1, False),
        ("50 to under 55", 0, False),
        ("55 to under 60", 1, False),
        ("60 to under 65", 1, False),
        ("65 to under 70", 1, True),
        ("70 and more", 1, True),
    ]
    user.weight_unit = "kg"
    assert next(c for c in spreads_of(found, user) if c.key == "share").limit == "target 65 %: 324 kg of 499 kg"
    Record.objects.filter(female__group=entry.group, kind="tract").delete()
    tract = next(chart for chart in spreads_of(judged(scene, entry), user) if chart.key == "tract")
    assert (tract.missing, sum(bar.head for bar in tract.bars)) == (5, 0)
    assert [(bar.label, bar.reached) for bar in tract.bars] == [
        ("1", False), ("2", False), ("3", False), ("4", True), ("5", True),
    ]  # fmt: skip


def test_the_work_says_the_gain_the_day_and_whether_it_can_be_done(scene: Scene) -> None:
    entry, _ = make_heifers(scene, [659, 687, 715, 545])
    found = judged(scene, entry)
    said = {(item.code, item.key): item for item in work_of(found)}
    # 56 days from 15 March to 10 May: 56 lb are 1.0 lb a day, 28 lb half of that; 545 lb is under 55 % and 170 lb short.
    gain = said["target_weight", "ready_if"]
    assert gain.sentence == (
        "Feed 2 head to gain 0.50 lb to 1.0 lb a day until Mon 10 May 2027. This can be done: up to 2.0 lb a day can be counted on."
    )
    assert (gain.by, gain.tags, gain.kind) == (AI, ("H000", "H001"), "weight")
    assert "out of reach, even at 2.0 lb a day" in said["target_weight", "not_this_time"].sentence
    assert found.counts == {"ready": 1, "ready_if": 2, "not_this_time": 1}
    assert found.per_cent == 25


def test_every_check_names_the_record_that_decided_it_and_who_typed_it(scene: Scene) -> None:
    entry, (heifer, *_) = make_heifers(scene, [659, 715])
    Record.objects.filter(female=heifer).update(by=scene.rancher.user, at="2027-03-20T12:00Z")
    Record.objects.filter(female=heifer, kind="pelvis").delete()
    fresh = judged(scene, entry).entry
    page = animal_page(member=scene.coordinator, entry=fresh, female=heifer.pk, now=NOW)
    assert page is not None
    checks = {check.code: check for check in page.checks}
    weight = checks["target_weight"]
    assert (weight.record, weight.day, weight.key) == ("Weight: 659 lb", date(2027, 3, 15), "ready_if")
    assert weight.typed == "Robin Vale, Sat 20 Mar 2027"
    assert (checks["pelvis"].missing, checks["pelvis"].kind, checks["pelvis"].record) == (True, "pelvis", "")
    assert checks["age"].record == "Herd book: born"
    assert checks["unknown_pregnancy"].sentence.startswith("She was kept from bulls")
    assert {"target_weight", "age", "tract", "pelvis", "boosters", "unknown_pregnancy", "hold"} <= set(checks)
    assert page.share == "60 % of mature weight; the target is 65 %"
    assert all(reason_of(code) for code in {*checks, *RECORD_OF})
    other = make_cows(scene.birch, 1)[0]
    assert animal_page(member=scene.coordinator, entry=fresh, female=other.pk, now=NOW) is None


def test_protocols_call_for_rules_that_exist() -> None:
    from_catalogue = load_catalogue().protocols
    for protocol in from_catalogue.values():
        assert all(reason_of(code) for code in codes_of(protocol))
    assert {"mga_label", "unknown_pregnancy", "safety"} <= set(codes_of(from_catalogue["heifer_mga_pg_ftai"]))
    assert "days_insert" in codes_of(from_catalogue["cow_7d_cosynch_insert"])
    assert "days_insert" not in codes_of(from_catalogue["heifer_7d_cosynch_insert"])


# --- how many queries ---


@pytest.mark.parametrize("head", [10, 200])
def test_a_group_costs_four_queries_whatever_its_head(scene: Scene, head: int, django_assert_num_queries: Any) -> None:
    make_cows(scene.willow, head)
    fresh = SeasonEntry.objects.select_related("season", "group__herd__ranch").get(pk=scene.willow.pk)
    season = type(fresh.season).objects.select_related("plan", "published_plan").get(pk=fresh.season_id)
    fresh.season = season
    with django_assert_num_queries(4):
        found = group_readiness(member=scene.coordinator, entry=fresh, now=NOW)
        assert len(spreads_of(found, scene.coordinator.user)) == 2
        assert work_of(found)
    assert found.head == head


def test_a_season_costs_four_queries_whatever_its_groups(scene: Scene, django_assert_num_queries: Any) -> None:
    make_cows(scene.willow, 5)
    make_cows(scene.birch, 5)
    heifers, _ = make_heifers(scene, [700, 715])
    season = type(scene.season).objects.select_related("plan", "published_plan").get(pk=scene.season.pk)
    entries = list(SeasonEntry.objects.filter(season=season).select_related("group__herd__ranch"))
    ReadinessWord.objects.create(entry=heifers, verdict="ready", reason="Seen")
    with django_assert_num_queries(4):
        found = season_readiness(member=scene.coordinator, season=season, entries=entries, now=NOW)
    assert sorted(item.head for item in found) == [2, 5, 5]
    assert [item.entry.group.name for item in found if item.signed] == ["Heifers"]
