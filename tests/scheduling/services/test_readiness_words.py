"""What advisers say, a co-op's own limits, and late calvers as a group of their own: allowed, refused, kept on record."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from accounts.tenancy import member_in
from accounts.units import Units
from herdplan.herds.models import BreedingGroup, Female, Record
from scheduling.kernel.advice.rules import DEFAULT_RULES
from scheduling.models import ReadinessLimit, ReadinessWord, SeasonEntry, StepRecord
from scheduling.services.late_calvers import LateCalversError, Proposal, make_second_group, proposal_of
from scheduling.services.readiness import GroupReadiness, group_readiness
from scheduling.services.readiness_limits import (
    LimitError,
    limit_lines,
    past_lines,
    rules_of,
    set_limit,
    withdraw_limit,
)
from scheduling.services.readiness_words import WordError, override, sign_group, withdraw_word
from tests.factories.plans import NOW, Scene, make_scene
from tests.factories.readiness import AI, adviser, keep_from_bulls, make_cows

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=1)


@pytest.fixture
def scene() -> Scene:
    """Two ranches with a group each, AI wished on 10 May."""
    made = make_scene()
    keep_from_bulls(made.willow)
    return made


def judged(scene: Scene) -> GroupReadiness:
    """Willow as the coordinator sees it."""
    entry = SeasonEntry.objects.select_related("season", "group__herd__ranch").get(pk=scene.willow.pk)
    return group_readiness(member=scene.coordinator, entry=entry, now=NOW)


# --- words ---


def test_a_group_is_signed_off_replaced_withdrawn_and_all_of_it_stays(scene: Scene) -> None:
    make_cows(scene.willow, 2)
    vet = adviser(scene)
    first = sign_group(member=vet, entry=scene.willow, verdict="ready", reason=" All seen. ", now=NOW)
    assert (first.reason, first.ai_day, first.by) == ("All seen.", AI, vet.user)
    second = sign_group(member=scene.coordinator, entry=scene.willow, verdict="not_ready", reason="Wait.", now=LATER)
    first.refresh_from_db()
    assert (first.withdrawn_at, first.withdrawn_by) == (LATER, scene.coordinator.user)
    signed = judged(scene).signed
    assert signed == second
    withdraw_word(member=vet, word=second, now=LATER)
    assert judged(scene).signed is None
    assert ReadinessWord.objects.count() == 2
    withdraw_word(member=scene.coordinator, word=second, now=LATER + timedelta(days=1))
    second.refresh_from_db()
    assert (second.withdrawn_at, second.withdrawn_by) == (LATER, vet.user)


def test_a_word_for_another_ai_day_asks_for_another_look(scene: Scene) -> None:
    make_cows(scene.willow, 2)
    sign_group(member=adviser(scene), entry=scene.willow, verdict="ready", reason="Seen", now=NOW)
    assert not judged(scene).stale
    SeasonEntry.objects.filter(pk=scene.willow.pk).update(ai_wanted=date(2027, 5, 12))
    assert judged(scene).stale


def test_an_override_counts_until_it_is_withdrawn(scene: Scene) -> None:
    thin, sound = make_cows(scene.willow, 2)
    Record.objects.filter(female=thin, kind="condition").update(condition=3)
    assert judged(scene).counts == {"ready": 1, "ready_if": 0, "not_this_time": 1}
    vet = adviser(scene)
    word = override(member=vet, entry=scene.willow, female=thin.pk, verdict="ready", reason="Fed up", now=NOW)
    other = override(member=vet, entry=scene.willow, female=sound.pk, verdict="not_ready", reason="Wild", now=NOW)
    found = judged(scene)
    assert found.counts == {"ready": 1, "ready_if": 0, "not_this_time": 1}
    assert {animal.female.tag: animal.key for animal in found.animals} == {
        thin.tag: "ready",
        sound.tag: "not_this_time",
    }
    assert not found.work
    for one in (word, other):
        withdraw_word(member=vet, word=one, now=LATER)
    assert [animal.key for animal in judged(scene).animals] == ["not_this_time", "ready"]


def test_nobody_overrides_a_pregnancy_or_a_label(scene: Scene) -> None:
    pregnant, fresh = make_cows(scene.willow, 2)
    Record.objects.create(female=pregnant, kind="pregnancy", day=date(2027, 3, 31), pregnancy="pregnant")
    insert = AI - timedelta(days=10)
    Female.objects.filter(pk=fresh.pk).update(last_calved=insert - timedelta(days=15))
    vet = adviser(scene)
    for female in (pregnant, fresh):
        with pytest.raises(WordError, match="put the record right") as fault:
            override(member=vet, entry=scene.willow, female=female.pk, verdict="ready", reason="Sure", now=NOW)
        assert fault.value.field == "verdict"
    assert not ReadinessWord.objects.exists()
    override(member=vet, entry=scene.willow, female=pregnant.pk, verdict="not_ready", reason="Bred", now=NOW)


def test_a_word_is_set_aside_when_she_is_found_pregnant_later(scene: Scene) -> None:
    (cow,) = make_cows(scene.willow, 1)
    override(member=adviser(scene), entry=scene.willow, female=cow.pk, verdict="ready", reason="Seen", now=NOW)
    Record.objects.create(female=cow, kind="pregnancy", day=date(2027, 3, 31), pregnancy="pregnant")
    (animal,) = judged(scene).animals
    assert animal.set_aside
    assert animal.key == "not_this_time"
    assert [item.code for item in judged(scene).work if item.verdict] == ["pregnant"]


def test_words_need_a_reason_the_right_people_and_a_female_of_the_group(scene: Scene) -> None:
    make_cows(scene.willow, 1)
    (elsewhere,) = make_cows(scene.birch, 1)
    vet = adviser(scene)
    for verdict, reason, field in (("ready", "  ", "reason"), ("perhaps", "x", "verdict")):
        with pytest.raises(WordError) as fault:
            sign_group(member=vet, entry=scene.willow, verdict=verdict, reason=reason, now=NOW)
        assert fault.value.field == field
    with pytest.raises(WordError, match="not in this group"):
        override(member=vet, entry=scene.willow, female=elsewhere.pk, verdict="ready", reason="x", now=NOW)
    neighbour = member_in(scene.stranger, "north-other")
    for member in (scene.rancher, scene.technician, neighbour):
        with pytest.raises(PermissionDenied):
            sign_group(member=member, entry=scene.willow, verdict="ready", reason="x", now=NOW)
    assert not ReadinessWord.objects.exists()


def test_the_database_keeps_one_word_in_force(scene: Scene) -> None:
    ReadinessWord.objects.create(entry=scene.willow, verdict="ready", reason="x")
    with pytest.raises(IntegrityError), transaction.atomic():
        ReadinessWord.objects.create(entry=scene.willow, verdict="ready", reason="y")


# --- limits ---


def test_a_limit_is_set_replaced_withdrawn_and_kept_on_record(scene: Scene) -> None:
    make_cows(scene.willow, 2, calved=AI - timedelta(days=45))
    assert judged(scene).counts["ready_if"] == 2
    vet = adviser(scene)
    set_limit(member=vet, field="ai_days", typed=45, reason="Our cows cycle early", now=NOW)
    assert judged(scene).counts["ready"] == 2
    second = set_limit(member=scene.coordinator, field="ai_days", typed=46, reason="Say 46", now=LATER)
    assert rules_of(scene.coop.pk).rules.ai_days == 46
    line = next(line for line in limit_lines(rules_of(scene.coop.pk), units()) if line.field == "ai_days")
    assert (line.value, line.printed, line.row) == ("46 days", "50 days", second)
    assert "Beef Cattle Research Council" in line.sources[0]
    withdraw_limit(member=vet, row=second, now=LATER)
    assert rules_of(scene.coop.pk).rules == DEFAULT_RULES
    past = past_lines(ReadinessLimit.objects.all(), units())
    assert [words for words, _ in past] == [f"{line.words}: 46 days", f"{line.words}: 45 days"]


def units(weight: str = "lb") -> Units:
    """Units of a page."""
    return Units(weight=weight)


def test_limits_are_typed_in_the_persons_unit(scene: Scene) -> None:
    boss = scene.coordinator
    set_limit(member=boss, field="heifer_gain_max_kg", typed=1.5, reason="x", now=NOW)
    assert rules_of(scene.coop.pk).rules.heifer_gain_max_kg == pytest.approx(1.5 * 0.45359237)
    boss.user.weight_unit = "kg"
    set_limit(member=boss, field="heifer_gain_max_kg", typed=0.7, reason="x", now=NOW)
    assert rules_of(scene.coop.pk).rules.heifer_gain_max_kg == 0.7
    set_limit(member=boss, field="target_share", typed=60, reason="x", now=NOW)
    assert rules_of(scene.coop.pk).rules.target_share == pytest.approx(0.6)
    set_limit(member=boss, field="tract_needed", typed=1, reason="x", now=NOW)
    assert rules_of(scene.coop.pk).rules.tract_needed is True


@pytest.mark.parametrize(
    ("field", "typed", "reason", "at", "words"),
    [
        ("ai_days", 29, "x", "value", "From 30 days to 90 days"),
        ("ai_days", float("nan"), "x", "value", "From 30"),
        ("ai_days", 45, " ", "reason", "Say why"),
        ("ai_days", 45.5, "x", "value", "a whole number"),
        ("ai_days", 39, "x", "value", "days that the uterus needs"),
        ("insert_label_days", 10, "x", "field", "Choose one of the limits"),
        ("target_share", 0.6, "x", "value", "From 50 % to 75 %"),
    ],
)
def test_a_limit_that_cannot_be_is_refused_and_nothing_is_saved(
    scene: Scene, field: str, typed: float, reason: str, at: str, words: str
) -> None:
    with pytest.raises(LimitError, match=words) as fault:
        set_limit(member=scene.coordinator, field=field, typed=typed, reason=reason, now=NOW)
    assert fault.value.field == at
    assert not ReadinessLimit.objects.exists()


def test_a_limit_that_another_leans_on_cannot_be_withdrawn(scene: Scene) -> None:
    boss = scene.coordinator
    low = set_limit(member=boss, field="uterus_days", typed=30, reason="x", now=NOW)
    set_limit(member=boss, field="ai_days", typed=35, reason="x", now=NOW)
    with pytest.raises(LimitError, match="does not go with"):
        withdraw_limit(member=boss, row=low, now=LATER)
    assert rules_of(scene.coop.pk).rules.uterus_days == 30


def test_limits_that_a_new_edition_contradicts_are_named_and_the_printed_ones_stand(scene: Scene) -> None:
    ReadinessLimit.objects.create(cooperative=scene.coop, field="ai_days", value=35, reason="x")
    standing = rules_of(scene.coop.pk)
    assert standing.rules == DEFAULT_RULES
    assert "uterus" in standing.fault


def test_only_coordinator_and_adviser_set_limits(scene: Scene) -> None:
    for member in (scene.rancher, scene.technician):
        with pytest.raises(PermissionDenied):
            set_limit(member=member, field="ai_days", typed=45, reason="x", now=NOW)


# --- late calvers ---


@pytest.fixture
def late(scene: Scene) -> Proposal:
    """Eight sound cows and three that calved 39 days before AI, this morning; the entry says 11 head."""
    make_cows(scene.willow, 8)
    make_cows(scene.willow, 3, first=90, calved=AI - timedelta(days=39))
    for row in (scene.willow, scene.willow.group):
        row.head = 11
        row.save()
    found = proposal_of(judged(scene))
    assert found is not None
    return found


def make(scene: Scene, found: Proposal, **change: object) -> SeasonEntry:
    """Confirm the proposal."""
    values = {"name": found.name, "ai_wanted": found.ai_day, "token": found.token, **change}
    entry = SeasonEntry.objects.select_related("season__cooperative", "group__herd__ranch").get(pk=scene.willow.pk)
    return make_second_group(member=scene.rancher, entry=entry, now=NOW, **values)  # type: ignore[arg-type]


def state() -> tuple[int, int, list[tuple[str, int]]]:
    """What may not change when nothing is saved."""
    heads = SeasonEntry.objects.order_by("pk").values_list("group__name", "head")
    return BreedingGroup.objects.count(), SeasonEntry.objects.count(), list(heads)


def test_late_calvers_become_a_group_with_its_own_ai_day(scene: Scene, late: Proposal) -> None:
    assert ([animal.female.tag for animal in late.animals], late.days_later) == (["90", "91", "92"], 11)
    assert (late.ai_day, late.ready) == (AI + timedelta(days=11), 3)
    made = make(scene, late)
    assert (made.head, made.group.head, made.ai_wanted, made.protocol) == (3, 3, late.ai_day, scene.willow.protocol)
    assert made.ai_to == late.ai_day + timedelta(days=7)
    assert made.kept_from_bulls
    scene.willow.refresh_from_db()
    scene.willow.group.refresh_from_db()
    assert (scene.willow.head, scene.willow.group.head, scene.willow.group.females.count()) == (8, 8, 8)
    fresh = SeasonEntry.objects.select_related("season", "group__herd__ranch").get(pk=made.pk)
    assert group_readiness(member=scene.coordinator, entry=fresh, now=NOW).counts["ready"] == 3
    with pytest.raises(LateCalversError, match="no late calvers"):
        make(scene, late)


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"token": "x"}, "", "records have changed"),
        ({"ai_wanted": AI + timedelta(days=10)}, "ai_wanted", "Choose Fri 21 May 2027 or later"),
        ({"ai_wanted": date(2027, 6, 20)}, "ai_wanted", "Choose a day of the season"),
        ({"name": "willow"}, "name", "has a group of this name already"),
        ({"name": " "}, "name", "cannot be blank"),
    ],
)
def test_a_second_group_that_cannot_be_is_refused_and_nothing_is_half_saved(
    scene: Scene, late: Proposal, change: dict[str, object], field: str, words: str
) -> None:
    before = state()
    with pytest.raises(LateCalversError, match=words) as fault:
        make(scene, late, **change)
    assert fault.value.field == field
    assert state() == before
    assert scene.willow.group.females.count() == 11


def test_a_group_that_has_begun_or_is_late_altogether_is_not_split(scene: Scene, late: Proposal) -> None:
    step = StepRecord.objects.create(entry=scene.willow, step="gnrh1", at=NOW)
    with pytest.raises(LateCalversError, match="has begun"):
        make(scene, late)
    step.delete()
    scene.willow.group.females.filter(tag__lt="9").delete()
    found = proposal_of(judged(scene))
    assert found is not None
    SeasonEntry.objects.filter(pk=scene.willow.pk).update(head=3)
    with pytest.raises(LateCalversError, match="move its AI day"):
        make(scene, found)


def test_whom_an_adviser_has_spoken_of_stays(scene: Scene, late: Proposal) -> None:
    override(
        member=adviser(scene),
        entry=scene.willow,
        female=late.animals[0].female.pk,
        verdict="ready",
        reason="Fine",
        now=NOW,
    )
    found = proposal_of(judged(scene))
    assert found is not None
    assert [animal.female.tag for animal in found.animals] == ["91", "92"]


def test_only_the_ranch_and_the_coordinator_split_a_group(scene: Scene, late: Proposal) -> None:
    for member in (adviser(scene), scene.technician, member_in(scene.stranger, "north-other")):
        entry = SeasonEntry.objects.select_related("season", "group__herd__ranch").get(pk=scene.willow.pk)
        with pytest.raises(PermissionDenied):
            make_second_group(member=member, entry=entry, name="x", ai_wanted=late.ai_day, token=late.token, now=NOW)
