"""Seasons and the groups entered in them: what is refused, in which words, and that nothing is half-saved."""

from datetime import date
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from accounts.permissions import Role
from accounts.tenancy import member_in
from scheduling.models import Season, SeasonEntry
from scheduling.services import (
    EntryError,
    SeasonFault,
    change_entry,
    enter_group,
    publish,
    save_season,
    withdraw_entry,
)
from tests.factories.people import make_coop, make_entry, make_group, make_herd, make_person, make_ranch, make_season
from tests.factories.plans import NOW, make_scene, planned

pytestmark = pytest.mark.django_db

WISH: dict[str, Any] = {
    "protocol": "cow_7d_cosynch_insert",
    "head": 40,
    "ai_from": date(2027, 5, 3),
    "ai_to": date(2027, 5, 20),
    "ai_wanted": date(2027, 5, 10),
}


def test_a_rancher_enters_a_group_of_the_own_ranch() -> None:
    scene = make_scene()
    group = make_group(scene.willow.group.herd, head=40)
    entry = enter_group(member=scene.rancher, season=scene.season, group=group, values=WISH)
    saved = SeasonEntry.objects.get(pk=entry.pk)
    assert (saved.head, saved.ai_wanted, saved.order, saved.ai_by) == (40, date(2027, 5, 10), "kept", "technician")


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"protocol": "no_such"}, "protocol", "Choose a protocol of the catalogue"),
        ({"protocol": "heifer_mga_pg_ftai"}, "protocol", "is not for cows"),
        ({"ai_from": date(2027, 4, 11)}, "ai_from", "Choose a day of the season, 12 Apr 2027 to 05 Jun 2027"),
        ({"ai_to": date(2027, 6, 6)}, "ai_to", "Choose a day of the season"),
        ({"ai_from": date(2027, 5, 21)}, "ai_to", "not before the first possible AI day"),
        ({"ai_wanted": date(2027, 5, 2)}, "ai_wanted", "between the first and the last possible AI day"),
        ({"head": 0}, "head", "greater than or equal to 1"),
        # This programme treats on day 0 and inseminates on day 10 (Split-time AI in suckled beef cows, Kansas State, 2018).
        (
            {"ai_from": date(2027, 4, 12), "ai_wanted": date(2027, 4, 15), "ai_to": date(2027, 4, 20)},
            "ai_to",
            "choose 22 Apr 2027 or later",
        ),
    ],
)
def test_a_wish_that_cannot_be_met_names_its_field_and_the_way_out(
    change: dict[str, Any], field: str, says: str
) -> None:
    scene = make_scene()
    group = make_group(scene.willow.group.herd)
    with pytest.raises(EntryError) as caught:
        enter_group(member=scene.coordinator, season=scene.season, group=group, values={**WISH, **change})
    assert says in " ".join(caught.value.faults[field])
    assert not SeasonEntry.objects.filter(group=group).exists()


def test_a_group_is_entered_once_and_the_error_says_where_it_is() -> None:
    scene = make_scene()
    with pytest.raises(EntryError, match=r"is entered in .* already"):
        enter_group(member=scene.coordinator, season=scene.season, group=scene.willow.group, values=WISH)
    assert SeasonEntry.objects.filter(group=scene.willow.group).count() == 1


def test_no_one_enters_a_group_of_another_ranch_or_co_op() -> None:
    scene = make_scene()
    with pytest.raises(PermissionDenied):
        enter_group(member=scene.rancher, season=scene.season, group=make_group(scene.birch.group.herd), values=WISH)
    with pytest.raises(PermissionDenied):
        change_entry(member=scene.rancher, entry=scene.birch, values={"head": 1})
    foreign = make_group(make_herd(make_ranch(make_coop("south"))))
    with pytest.raises(PermissionDenied):
        enter_group(member=scene.coordinator, season=scene.season, group=foreign, values=WISH)
    stranger = member_in(scene.stranger, "north-other")
    with pytest.raises(PermissionDenied):
        change_entry(member=stranger, entry=scene.willow, values={"head": 1})
    assert SeasonEntry.objects.filter(season=scene.season).count() == 2
    assert not SeasonEntry.objects.filter(head=1).exists()


def test_a_refused_change_leaves_the_saved_entry_alone() -> None:
    scene = make_scene()
    with pytest.raises(EntryError):
        change_entry(member=scene.coordinator, entry=scene.willow, values={"head": 70, "ai_wanted": date(2027, 6, 1)})
    saved = SeasonEntry.objects.get(pk=scene.willow.pk)
    assert (saved.head, saved.ai_wanted) == (60, date(2027, 5, 10))


def test_the_protocol_stays_once_a_step_is_done() -> None:
    scene = make_scene()
    scene.willow.records.create(step="gnrh1", at=NOW)
    with pytest.raises(EntryError, match="the protocol stays"):
        change_entry(member=scene.coordinator, entry=scene.willow, values={"protocol": "cow_5d_cosynch_insert"})
    change_entry(member=scene.coordinator, entry=scene.willow, values={"head": 58})
    assert SeasonEntry.objects.get(pk=scene.willow.pk).head == 58


def test_a_group_leaves_the_season_and_its_published_dates_leave_with_the_next_publishing() -> None:
    scene = make_scene()
    assert withdraw_entry(member=scene.rancher, entry=scene.willow, now=NOW) is False
    assert not SeasonEntry.objects.filter(group=scene.willow.group).exists()
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    assert withdraw_entry(member=scene.coordinator, entry=scene.birch, now=NOW) is True
    assert {step.status for step in scene.birch.steps.all()} == {"planned"}
    again = planned(scene)  # nobody is left: the plan is empty, and may be published
    changes = publish(member=scene.coordinator, season=scene.season, plan=again, now=NOW)
    assert {(change.what, change.kind) for change in changes} == {("cancelled", "step"), ("cancelled", "booking")}
    assert {step.status for step in scene.birch.steps.all()} == {"cancelled"}
    back = enter_group(member=scene.coordinator, season=scene.season, group=scene.birch.group, values=WISH)
    assert back.pk == scene.birch.pk  # so that its rows, and everybody's events, rise in sequence
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    assert {(step.status, step.sequence) for step in scene.birch.steps.all()} == {("planned", 2)}


def _season(scene: Any, **values: Any) -> Season:
    frame = {
        "name": "Fall",
        "first_day": date(2027, 9, 1),
        "last_day": date(2027, 11, 30),
        "zone": "America/Denver",
        **values,
    }
    return save_season(member=scene.coordinator, season=Season(cooperative=scene.coop), values=frame)


def test_a_season_is_made_with_usual_travel_figures() -> None:
    saved = Season.objects.get(pk=_season(make_scene()).pk)
    assert (saved.road_factor, saved.speed_kmh, saved.state) == (1.3, 70, "open")


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"last_day": date(2027, 8, 31)}, "last_day", "not before the first day"),
        ({"last_day": date(2028, 12, 1)}, "last_day", "at most 400 days"),
        ({"zone": "America/Nowhere"}, "zone", "not a valid choice"),
        ({"name": ""}, "name", "blank"),
        ({"speed_kmh": 500}, "speed_kmh", "less than or equal to 130"),
    ],
)
def test_a_season_that_cannot_be_names_its_field(change: dict[str, Any], field: str, says: str) -> None:
    scene = make_scene()
    with pytest.raises(SeasonFault) as caught:
        _season(scene, **change)
    assert says in " ".join(caught.value.faults[field])
    assert Season.objects.count() == 1


def test_a_name_is_given_once_in_a_co_op_but_again_in_another() -> None:
    scene = make_scene()
    _season(scene)
    with pytest.raises(SeasonFault, match="choose another name"):
        _season(scene)
    make_season(make_coop("south"), name="Fall")
    assert Season.objects.filter(name="Fall").count() == 2


def test_a_season_does_not_shrink_away_from_its_groups() -> None:
    scene = make_scene()
    with pytest.raises(SeasonFault) as caught:
        save_season(
            member=scene.coordinator,
            season=scene.season,
            values={"first_day": date(2027, 5, 4), "last_day": date(2027, 5, 19)},
        )
    assert caught.value.faults == {
        "first_day": ["A group is entered for AI from 03 May 2027; choose that day or an earlier one."],
        "last_day": ["A group is entered for AI until 20 May 2027; choose that day or a later one."],
    }
    assert Season.objects.get(pk=scene.season.pk).last_day == date(2027, 6, 5)


def test_only_the_coordinator_of_that_co_op_changes_a_season() -> None:
    scene = make_scene()
    stranger = member_in(scene.stranger, "north-other")
    adviser = member_in(make_person(scene.coop, Role.ADVISER), "north")
    for member in (scene.rancher, scene.technician, adviser, stranger):
        with pytest.raises(PermissionDenied):
            save_season(member=member, season=scene.season, values={"name": "Taken"})
    assert not Season.objects.filter(name="Taken").exists()


def test_an_entry_of_another_class_gets_only_protocols_of_its_class() -> None:
    scene = make_scene()
    heifers = make_group(scene.willow.group.herd, animal_class="heifer")
    with pytest.raises(EntryError, match="is not for heifers"):
        enter_group(member=scene.rancher, season=scene.season, group=heifers, values=WISH)
    values = {**WISH, "protocol": "heifer_7d_cosynch_insert"}
    assert enter_group(member=scene.rancher, season=scene.season, group=heifers, values=values).pk
    assert make_entry(make_season(scene.coop), heifers).season.name != scene.season.name
