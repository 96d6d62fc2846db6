"""The clash desk: remedies are really planned, members answer, what is agreed is applied, who gave way is kept."""

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from accounts.permissions import Role
from accounts.tenancy import member_in
from herdplan.herds.models import BreedingGroup
from scheduling.models import ClashAnswer, ClashCase, ClashRemedy, GaveWay, PlanTrial, PlanVersion, Season, SeasonEntry
from scheduling.services import (
    TrialError,
    answer_ask,
    choose_remedy,
    drop_case,
    move_group,
    open_case,
    publish,
    run_jobs_once,
    season_document,
    stop_job,
)
from scheduling.services.clashes import suggestions
from scheduling.services.desk import Desk, desk_of
from tests.factories.people import make_barn, make_entry, make_group, make_herd, make_person
from tests.factories.plans import NOW, Scene, make_scene, planned

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=1)
DAY = date(2027, 5, 10)


@pytest.fixture
def scene() -> Scene:
    """One technician, 110 head on one day for a limit of 100: somebody must give way. Birch has a rancher too."""
    made = make_scene()
    made.bo.delete()
    made.away.people.add(make_person(made.coop, Role.RANCHER, email="birch@example.org"))
    return made


def opened(scene: Scene, entry: SeasonEntry, rival: SeasonEntry | None = None, **options: Any) -> Desk:
    """Open the desk and let the loop try the remedies."""
    case = open_case(
        member=scene.coordinator, season=scene.season, entry=entry, rival=rival, now=LATER, **{"rounds": 15, **options}
    )
    assert case.state == "trying"
    assert run_jobs_once(now=lambda: LATER) == 1
    return desk(case)


def desk(case: ClashCase) -> Desk:
    """The desk as the page shows it."""
    return desk_of(
        ClashCase.objects.select_related("season__cooperative", "season__published_plan", "base").get(pk=case.pk)
    )


def of_kind(found: Desk, kind: str) -> ClashRemedy:
    """The remedy of a kind."""
    return next(side.remedy for side in found.sides if side.remedy.kind == kind)


def moved_one(scene: Scene) -> tuple[SeasonEntry, SeasonEntry]:
    """Plan; returns the group that was moved from its wish, and the one that was not."""
    plan = planned(scene)
    days = {row["id"]: row["ai_day"] for row in plan.document["groups"]}
    assert len(set(days.values())) == 2
    pair = (scene.willow, scene.birch)
    return pair if days[str(scene.willow.pk)] != DAY.isoformat() else (pair[1], pair[0])


def test_on_a_day_that_is_full_others_may_move_too(scene: Scene) -> None:
    """A third group holds the day, and all but the two of the clash stay: before others might move, nothing was found."""
    scene.ann.max_head_per_day = 60
    scene.ann.save()
    held = make_entry(
        scene.season,
        make_group(make_herd(scene.home), name="Held", head=55),
        ai_from=DAY,
        ai_to=DAY + timedelta(days=1),
    )
    plan = planned(scene)
    for entry, day in ((scene.willow, DAY + timedelta(days=3)), (scene.birch, DAY + timedelta(days=4)), (held, DAY)):
        if next(row for row in plan.document["groups"] if row["id"] == str(entry.pk))["ai_day"] != day.isoformat():
            plan = move_group(member=scene.coordinator, plan=plan, entry=entry, ai_day=day, now=NOW)
    assert plan.broken == []
    scene.season.refresh_from_db()
    found = opened(scene, scene.willow, scene.birch)
    ways = [side for side in found.sides if side.remedy.kind == "anybody"]
    assert len(ways) == 2  # one for each of the two; both cannot have the day
    for side in ways:
        assert (str(held.group), (DAY + timedelta(days=1)).isoformat()) in [
            (name, str(item.day_now)) for name, item in side.moved
        ]


def test_two_that_want_one_technician_get_three_to_five_remedies_side_by_side(scene: Scene) -> None:
    planned(scene)
    found = opened(scene, scene.willow, scene.birch)
    assert found.case.state == "open"
    assert 3 <= len(found.sides) <= 5
    kinds = [side.remedy.kind for side in found.sides]
    assert "move" in kinds
    assert "own_hands" in kinds
    costs = [side.outcome.comparison.cost_now.total for side in found.sides]
    assert costs == sorted(costs)
    for side in found.sides:
        assert side.remedy.trial.broken == []
        assert side.outcome.comparison.lost == ()
    families = [side.remedy.family for side in found.sides]
    assert len(families) == len(set(families))


def test_what_cannot_work_is_said_with_its_reason(scene: Scene) -> None:
    scene.ann.ends = time(11, 0)  # too short a day for anything more than one group
    scene.ann.save()
    SeasonEntry.objects.filter(pk=scene.birch.pk).update(ai_from=DAY, ai_to=DAY)
    away, home = moved_one(scene)
    assert home == scene.birch
    found = opened(scene, away)
    told = {remedy.kind: remedy.fault for remedy in found.failed}
    assert "would have no place" in told["technician"]
    assert all(remedy.trial.document is None for remedy in found.failed)
    with pytest.raises(TrialError, match="does not work"):
        choose_remedy(member=scene.coordinator, remedy=found.failed[0], now=LATER)


def test_a_group_without_a_place_is_given_one(scene: Scene) -> None:
    SeasonEntry.objects.update(ai_from=DAY, ai_to=DAY)
    plan = planned(scene)
    (out,) = plan.document["unplaced"]
    entries = list(scene.season.entries.select_related("group__herd__ranch"))
    (offer,) = suggestions(scene.season, plan, entries)
    assert (str(offer.entry.pk), offer.kind) == (out["group"], "unplaced")
    found = opened(scene, offer.entry)
    assert found.case.kind == "unplaced"
    assert {side.remedy.kind for side in found.sides} >= {"move", "own_hands"}
    for side in found.sides:
        assert out["group"] in {item.group for item in side.outcome.comparison.gained}
    later = of_kind(found, "move")
    (write,) = later.writes
    days = {row["id"]: row["ai_day"] for row in later.trial.document["groups"]}  # type: ignore[index]
    assert write["to"] == days[write["entry"]]  # widened as far as it takes, no further


def test_suggestions_name_the_furthest_first(scene: Scene) -> None:
    away, _ = moved_one(scene)
    plan = PlanVersion.objects.get()
    entries = list(scene.season.entries.select_related("group__herd__ranch"))
    assert [item.entry for item in suggestions(scene.season, plan, entries, far=1)] == [away]
    assert suggestions(scene.season, plan, entries, far=5) == []


def test_trying_remedies_touches_neither_plan_nor_wishes(scene: Scene) -> None:
    planned(scene)
    before = season_document(scene.season)
    opened(scene, scene.willow, scene.birch)
    assert season_document(scene.season) == before
    assert PlanVersion.objects.count() == 1
    assert BreedingGroup.objects.count() == 2
    scene.season.refresh_from_db()
    assert scene.season.plan is not None
    assert scene.season.plan.number == 1


def test_each_ranch_is_asked_and_when_all_accept_it_is_applied_and_kept_on_record(scene: Scene) -> None:
    away, home = moved_one(scene)
    found = opened(scene, away)
    own = of_kind(found, "own_hands")
    case = choose_remedy(member=scene.coordinator, remedy=own, now=LATER)
    assert case.state == "asking"
    (ask,) = ClashAnswer.objects.select_related("ranch", "remedy")
    assert ask.ranch == away.group.herd.ranch
    assert any("inseminates itself" in text for text in ask.texts)
    assert GaveWay.objects.count() == 0
    user = ask.ranch.people.get()
    case = answer_ask(member=member_in(user, "north"), answer=ask, accept=True, now=LATER)
    assert case.state == "applied"
    away.refresh_from_db()
    assert away.ai_by == "ranch"
    scene.season.refresh_from_db()
    assert scene.season.plan is not None
    assert scene.season.plan == case.result
    assert scene.season.plan.broken == []
    assert scene.season.published_plan is None
    (row,) = GaveWay.objects.all()
    assert (row.ranch, row.season, row.days) == (ask.ranch, scene.season, 0)
    assert "inseminates itself" in row.text
    assert home.group.herd.ranch != row.ranch
    publish(member=scene.coordinator, season=scene.season, plan=scene.season.plan, now=LATER)


def test_a_ranch_that_declines_sends_it_back_and_the_remedy_is_off(scene: Scene) -> None:
    away, _ = moved_one(scene)
    found = opened(scene, away)
    remedy = of_kind(found, "own_hands")
    choose_remedy(member=scene.coordinator, remedy=remedy, now=LATER)
    ask = ClashAnswer.objects.select_related("ranch", "remedy").get()
    member = member_in(ask.ranch.people.get(), "north")
    case = answer_ask(member=member, answer=ask, accept=False, reason="No crew that day", now=LATER)
    assert (case.state, case.chosen) == ("open", None)
    away.refresh_from_db()
    assert away.ai_by == "technician"
    with pytest.raises(TrialError, match="declined"):
        choose_remedy(member=scene.coordinator, remedy=remedy, now=LATER)
    with pytest.raises(TrialError, match="no longer asked"):
        answer_ask(member=member, answer=ask, accept=True, now=LATER)
    (side,) = [side for side in desk(case).sides if side.remedy == remedy]
    assert side.declined
    assert side.answers[0].reason == "No crew that day"
    assert PlanVersion.objects.count() == 1


def test_choosing_another_remedy_withdraws_what_was_asked(scene: Scene) -> None:
    away, _ = moved_one(scene)
    found = opened(scene, away)
    one, other = found.sides[0].remedy, found.sides[1].remedy
    choose_remedy(member=scene.coordinator, remedy=one, now=LATER)
    choose_remedy(member=scene.coordinator, remedy=other, now=LATER)
    states = set(ClashAnswer.objects.filter(remedy=one).values_list("state", flat=True))
    assert states == {"withdrawn"}
    assert ClashAnswer.objects.filter(remedy=other, state="waiting").exists()


def test_nobody_answers_for_another_ranch_but_the_coordinator(scene: Scene) -> None:
    away, home = moved_one(scene)
    found = opened(scene, away)
    choose_remedy(member=scene.coordinator, remedy=of_kind(found, "own_hands"), now=LATER)
    ask = ClashAnswer.objects.select_related("ranch", "remedy").get()
    other = member_in(home.group.herd.ranch.people.get(), "north")
    for person in (other, scene.technician, make_scene("south").coordinator):
        with pytest.raises(PermissionDenied):
            answer_ask(member=person, answer=ask, accept=True, now=LATER)
    case = answer_ask(member=scene.coordinator, answer=ask, accept=True, reason="By telephone", now=LATER)
    assert case.state == "applied"
    ask.refresh_from_db()
    assert ask.by == scene.coordinator.user


def test_only_the_coordinator_opens_chooses_and_drops(scene: Scene) -> None:
    away, _ = moved_one(scene)
    found = opened(scene, away)
    for person in (scene.rancher, scene.technician, make_scene("south").coordinator):
        with pytest.raises(PermissionDenied):
            open_case(member=person, season=scene.season, entry=away, now=LATER)
        with pytest.raises(PermissionDenied):
            choose_remedy(member=person, remedy=found.sides[0].remedy, now=LATER)
        with pytest.raises(PermissionDenied):
            drop_case(member=person, case=found.case, now=LATER)


def test_a_split_group_becomes_two_entries(scene: Scene) -> None:
    away, _ = moved_one(scene)
    head = away.head
    found = opened(scene, away, rounds=30)
    kinds = {side.remedy.kind for side in found.sides}
    assert "split" in kinds, [(side.title, side.fault) for side in found.failed]
    remedy = of_kind(found, "split")
    choose_remedy(member=scene.coordinator, remedy=remedy, now=LATER)
    for ask in ClashAnswer.objects.filter(state="waiting").select_related("ranch", "remedy"):
        answer_ask(member=scene.coordinator, answer=ask, accept=True, now=LATER)
    found.case.refresh_from_db()
    assert found.case.state == "applied", ClashRemedy.objects.get(pk=remedy.pk).fault
    away.refresh_from_db()
    part = SeasonEntry.objects.exclude(pk__in=(scene.willow.pk, scene.birch.pk)).get()
    assert away.head + part.head == head
    assert part.group.name.endswith(", part 2")
    scene.season.refresh_from_db()
    assert scene.season.plan is not None
    assert scene.season.plan.broken == []
    publish(member=scene.coordinator, season=scene.season, plan=scene.season.plan, now=LATER)


def test_two_technicians_at_once_in_the_barn() -> None:
    scene = make_scene()
    make_barn(scene.coop)
    # Where treatments are bought, nobody takes over from the one who may take no more.
    SeasonEntry.objects.filter(pk=scene.willow.pk).update(head=130, steps_by="technician")
    SeasonEntry.objects.filter(pk=scene.birch.pk).update(ai_wanted=date(2027, 5, 13))
    scene.willow.refresh_from_db()
    plan = planned(scene)
    assert [row["group"] for row in plan.document["unplaced"]] == [str(scene.willow.pk)]
    found = opened(scene, scene.willow)
    both = of_kind(found, "two_at_once")
    assert both.writes == [{"entry": str(scene.willow.pk), "field": "needs_barn", "to": True, "was": False}]
    choose_remedy(member=scene.coordinator, remedy=both, now=LATER)
    ask = ClashAnswer.objects.select_related("ranch", "remedy").get()
    assert "Willow Draw: Willow: The breeding barn comes." in ask.texts
    answer_ask(member=scene.coordinator, answer=ask, accept=True, now=LATER)
    scene.willow.refresh_from_db()
    assert scene.willow.needs_barn
    # Both wishes are met: nobody gave way but the ranch that takes the barn.
    assert [row.ranch for row in GaveWay.objects.all()] == [scene.home]


def test_dropping_the_barn_wish_is_a_remedy(scene: Scene) -> None:
    make_barn(scene.coop)
    SeasonEntry.objects.update(needs_barn=True, head=45)
    for name in ("willow", "birch"):
        getattr(scene, name).refresh_from_db()
    away, _ = moved_one(scene)  # 90 head are few enough for a day, but the barn is at one ranch a day
    found = opened(scene, away)
    assert of_kind(found, "no_barn").writes[0]["field"] == "needs_barn"


def test_before_anything_is_published_only_those_off_their_wish_are_asked(scene: Scene) -> None:
    away, home = moved_one(scene)
    found = opened(scene, away)
    move = of_kind(found, "move")  # the one that has the day goes, the other gets it
    choose_remedy(member=scene.coordinator, remedy=move, now=LATER)
    asked = set(ClashAnswer.objects.values_list("ranch", flat=True))
    assert asked == {home.group.herd.ranch_id}


def test_once_published_everybody_whose_day_changes_is_asked(scene: Scene) -> None:
    away, home = moved_one(scene)
    publish(member=scene.coordinator, season=scene.season, plan=PlanVersion.objects.get(), now=NOW)
    scene.season.refresh_from_db()
    found = opened(scene, away)
    choose_remedy(member=scene.coordinator, remedy=of_kind(found, "move"), now=LATER)
    asked = set(ClashAnswer.objects.values_list("ranch", flat=True))
    assert asked == {home.group.herd.ranch_id, away.group.herd.ranch_id}
    for ask in ClashAnswer.objects.select_related("ranch", "remedy"):
        answer_ask(member=scene.coordinator, answer=ask, accept=True, now=LATER)
    (row,) = GaveWay.objects.all()  # whoever comes nearer to the wish gave nothing away
    assert row.ranch == home.group.herd.ranch
    assert row.days >= 1


def test_burdens_of_this_season_and_the_last_stand_side_by_side(scene: Scene) -> None:
    last = Season.objects.create(
        cooperative=scene.coop,
        name="Spring 2026",
        first_day=date(2026, 4, 12),
        last_day=date(2026, 6, 5),
        zone=scene.coop.zone,
    )
    days = {"ai_from": date(2026, 5, 9), "ai_to": date(2026, 5, 9), "ai_wanted": date(2026, 5, 9)}  # a Saturday
    SeasonEntry.objects.create(season=last, group=scene.willow.group, protocol=scene.willow.protocol, head=40, **days)
    now, season = scene.season, scene.season
    scene.season = last
    plan = planned(scene)
    publish(member=scene.coordinator, season=last, plan=plan, now=NOW)
    scene.season = season
    away, _ = moved_one(scene)
    found = opened(scene, away)
    assert found.earlier == [last]
    rows = {row.ranch: row for side in found.sides for row in side.burdens}
    assert rows["Willow Draw"].last is not None
    assert rows["Willow Draw"].last.rest_days == 1
    assert rows["Willow Draw"].earlier == rows["Willow Draw"].last
    if "Birch Flat" in rows:
        assert rows["Birch Flat"].last is None
    assert now == season


def test_what_changed_meanwhile_is_not_overwritten(scene: Scene) -> None:
    away, home = moved_one(scene)
    found = opened(scene, away)
    remedy = of_kind(found, "own_hands")
    choose_remedy(member=scene.coordinator, remedy=remedy, now=LATER)
    SeasonEntry.objects.filter(pk=home.pk).update(head=45)
    ask = ClashAnswer.objects.select_related("ranch", "remedy").get()
    case = answer_ask(member=scene.coordinator, answer=ask, accept=True, now=LATER)
    assert case.state == "open"
    remedy.refresh_from_db()
    assert "This has changed since it was tried" in remedy.fault
    assert PlanVersion.objects.count() == 1
    assert GaveWay.objects.count() == 0
    with pytest.raises(TrialError, match="Plan the season again"):
        open_case(member=scene.coordinator, season=scene.season, entry=away, now=LATER)


def test_what_does_not_collide_is_not_opened(scene: Scene) -> None:
    away, home = moved_one(scene)
    with pytest.raises(TrialError, match="has the day"):
        opened(scene, home)
    with pytest.raises(TrialError, match="two different"):
        opened(scene, home, home)
    with pytest.raises(TrialError, match="of this season"):
        opened(scene, make_scene("south").willow)
    SeasonEntry.objects.filter(pk=away.pk).update(ai_wanted=date(2027, 5, 12))
    away.refresh_from_db()
    planned(scene)
    with pytest.raises(TrialError, match="do not collide"):
        opened(scene, away, home)
    assert ClashCase.objects.count() == 0
    assert PlanTrial.objects.count() == 0


def test_dropped_is_closed_and_nobody_waits(scene: Scene) -> None:
    away, _ = moved_one(scene)
    found = opened(scene, away)
    choose_remedy(member=scene.coordinator, remedy=found.sides[0].remedy, now=LATER)
    drop_case(member=scene.coordinator, case=found.case, now=LATER)
    assert not ClashAnswer.objects.filter(state="waiting").exists()
    with pytest.raises(TrialError, match="closed"):
        choose_remedy(member=scene.coordinator, remedy=found.sides[0].remedy, now=LATER)
    with pytest.raises(TrialError, match="closed"):
        drop_case(member=scene.coordinator, case=found.case, now=LATER)


def test_stopping_before_anything_was_tried_is_said(scene: Scene) -> None:
    away, _ = moved_one(scene)
    case = open_case(member=scene.coordinator, season=scene.season, entry=away, now=LATER)
    assert case.job is not None
    stop_job(member=scene.coordinator, job=case.job, now=LATER)
    assert desk(case).sides == []
    drop_case(member=scene.coordinator, case=case, now=LATER)


def test_the_desk_asks_the_database_a_constant_number_of_times(
    scene: Scene, django_assert_max_num_queries: Any
) -> None:
    away, _ = moved_one(scene)
    found = opened(scene, away)
    assert len(found.sides) >= 2
    case = ClashCase.objects.select_related("season__cooperative", "season__published_plan", "base").get()
    with django_assert_max_num_queries(9):  # a query a remedy would show
        desk_of(case)
