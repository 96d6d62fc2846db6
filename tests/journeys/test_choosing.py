"""A rancher compares programmes for a group, reads where every figure comes from, and makes one of them the group's own."""

import re
from datetime import date
from html import unescape

import pytest
from django.test import Client

from accounts.permissions import Role
from herdplan.technicians.models import DayOff
from scheduling.kernel.advice.results import Semen, expected
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass
from scheduling.models import Booking, Hands, SeasonEntry, StepRecord
from scheduling.services import publish
from scheduling.services.choice_room import Subject, subject_of
from scheduling.services.choosing import Wishes, compare_programmes
from tests.factories.pages import signed_in
from tests.factories.people import make_group, make_herd, make_person
from tests.factories.plans import NOW, Scene, make_scene, planned

pytestmark = pytest.mark.django_db
ALL = "first=COST&second=TRIPS&semen=conventional&crew=4"


@pytest.fixture
def scene() -> Scene:
    """Two ranches with a group each."""
    return make_scene()


def address(scene: Scene, entry: SeasonEntry | None = None) -> str:
    """The chooser of an entry."""
    row = entry or scene.willow
    return f"/c/north/seasons/{scene.season.pk}/groups/{row.pk}/programmes/"


def text(client: Client, where: str) -> str:
    """What the page says, without its marks."""
    answer = client.get(where)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())))


def _points(reasons: tuple[str, ...], last: int) -> int:
    """A card's rank worked out again from what it says: weight times place, three criteria."""
    total = 0
    for weight, reason in zip((3, 2, 1), reasons, strict=False):
        place = re.search(r"place (\d+) of", reason)
        total += weight * (int(place[1]) if place else last)
    return total


def test_every_programme_of_the_class_is_ranked_or_left_out_with_its_reason(scene: Scene) -> None:
    page = signed_in(scene.rancher.user).get(address(scene) + "?" + ALL).content.decode()
    for protocol in load_catalogue().protocols.values():
        link = f"/c/north/protocols/{protocol.id}/"
        assert (link in page) == protocol.fits(AnimalClass.COW), protocol.id
    said = text(signed_in(scene.rancher.user), address(scene) + "?" + ALL)
    assert "It ends with bulls, not with AI." in said
    assert "place 1 of" in said
    assert "weight 3" in said
    assert (
        "a low cost for each AI pregnancy counts three times, few trips through the chute counts twice, "
        "little work counts once."
    ) in said


def test_a_card_tells_cost_rate_and_source_as_the_kernel_has_them(scene: Scene) -> None:
    """60 cows, four people, 60 treated and 25 inseminated an hour: two trips of 1 h and one of 2.4 h are 17.6 hours of work; drugs, semen
    and supplies 48.24 ("Natural Service vs Artificial Insemination", Ohio State University Extension, 2020, and the others of the prices),
    work 17.6 x 20 / 60 = 5.87: 54.11 a head; at the 47.9 % in print 112.96 a pregnancy (worked out)."""
    found = compare_programmes(member=scene.rancher, subject=subject_of(scene.willow), wishes=Wishes())
    card = next(item for item in found.cards if item.id == "cow_7d_cosynch_insert")
    figures = {item.label: item for item in card.figures}
    assert card.now
    assert figures["Work, all people together"].value == "18 hours"
    assert figures["Cost of one female treated"].value == "$54.11"
    assert card.cost == "$112.96"
    printed = expected("cow_7d_cosynch_insert", Semen.CONVENTIONAL, bos_indicus=False)
    assert printed is not None
    assert figures["Pregnant to AI, of all treated"].value == "48 % of 240 head"
    assert printed.rows[0].source.words in figures["Pregnant to AI, of all treated"].lines[0]
    assert any("Ohio State University Extension, 2020" in line for line in figures["Cost of one female treated"].lines)
    assert any("typed by your co-op" in line for line in figures["Cost of one female treated"].lines) is False


def test_unasked_only_listed_programmes_are_ranked_and_the_older_are_one_tap_away(scene: Scene) -> None:
    catalogue = load_catalogue().protocols
    rancher = signed_in(scene.rancher.user)
    found = compare_programmes(member=scene.rancher, subject=subject_of(scene.willow), wishes=Wishes())
    assert found.cards
    assert all(catalogue[card.id].status.startswith("recommended") for card in found.cards)
    said = text(rancher, address(scene))
    assert "It is not on a recommended list" in said
    assert "rank older ones and trials too" in said
    assert "It is not on a recommended list" not in text(rancher, address(scene) + "?" + ALL)


def test_answers_leave_out_and_the_wish_decides_the_rank(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    said = text(rancher, address(scene) + "?" + ALL + "&most_trips=3&watch_days=0")
    assert "4 trips through the chute; you can stand 3." in said
    assert "you can watch for 0." in said
    short = rancher.get(address(scene) + "?first=LENGTH&second=TRIPS&semen=conventional&crew=4").context["comparison"]
    assert all(card.reasons[0].startswith("Days from start to AI: ") for card in short.cards)
    points = [_points(card.reasons, len(short.cards)) for card in short.cards]
    assert points == sorted(points)
    cheap = rancher.get(address(scene) + "?" + ALL).context["comparison"]
    assert [card.id for card in cheap.cards] != [card.id for card in short.cards]
    wrong = rancher.get(address(scene) + "?" + ALL.replace("TRIPS", "COST") + "&crew=0").content.decode()
    assert "Choose something else than what matters most" in wrong
    assert "greater than or equal to 1" in wrong
    assert "Use this programme" not in wrong


def test_ones_own_rate_stands_in_place_of_the_printed_one(scene: Scene) -> None:
    said = text(signed_in(scene.rancher.user), address(scene) + "?" + ALL + "&own_rate=62")
    assert "62 % (your own figure)" in said


def test_use_makes_it_the_entrys_programme(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    answer = rancher.post(address(scene) + "use/", {"protocol": "cow_5d_cosynch_insert"}, follow=True)
    assert "now goes by" in answer.content.decode()
    scene.willow.refresh_from_db()
    assert scene.willow.protocol == "cow_5d_cosynch_insert"


@pytest.mark.parametrize(
    ("protocol", "words"),
    [
        ("heifer_mga_pg_ftai", "is not for cows"),
        ("moon", "Choose a protocol of the catalogue"),
        ("", "cannot be blank"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_changes(scene: Scene, protocol: str, words: str) -> None:
    answer = signed_in(scene.rancher.user).post(address(scene) + "use/", {"protocol": protocol}, follow=True)
    assert words in answer.content.decode()
    assert "Nothing was changed." in answer.content.decode()
    scene.willow.refresh_from_db()
    assert scene.willow.protocol == "cow_7d_cosynch_insert"


def test_a_programme_that_has_begun_stays(scene: Scene) -> None:
    StepRecord.objects.create(entry=scene.willow, step="gnrh1", at=NOW)
    answer = signed_in(scene.rancher.user).post(
        address(scene) + "use/", {"protocol": "cow_5d_cosynch_insert"}, follow=True
    )
    assert "A step has been done: the protocol stays." in answer.content.decode()


def test_who_may_look_and_who_may_use(scene: Scene) -> None:
    rancher, worker = signed_in(scene.rancher.user), signed_in(scene.technician.user)
    adviser = signed_in(make_person(scene.coop, Role.ADVISER))
    assert rancher.get(address(scene, scene.birch)).status_code == 404
    assert rancher.post(address(scene, scene.birch) + "use/", {"protocol": "cow_5d_cosynch_insert"}).status_code == 404
    for person in (worker, adviser):
        page = person.get(address(scene))
        assert page.status_code == 200
        assert "Use this programme" not in page.content.decode()
        assert person.post(address(scene) + "use/", {"protocol": "cow_5d_cosynch_insert"}).status_code == 403
    assert signed_in(scene.stranger).get(address(scene)).status_code == 404


# --- technicians' days ---


def test_days_with_room_are_counted_from_days_off_and_published_bookings(scene: Scene) -> None:
    """Window 3 to 20 May: 18 days. Ann and Bo do 100 head a day each. Both are off on the 4th; Ann alone on the 5th (100 left, enough for 60).
    On the 6th Ann has 60 head of Birch and Bo 90: 50 left, too few for 60. So 16 days have room (by hand)."""
    for person in (scene.ann, scene.bo):
        DayOff.objects.create(technician=person, first_day=date(2027, 5, 4), last_day=date(2027, 5, 4))
    DayOff.objects.create(technician=scene.ann, first_day=date(2027, 5, 5), last_day=date(2027, 5, 5))
    for person, head in ((scene.ann, 60), (scene.bo, 90)):
        Booking.objects.create(
            entry=scene.birch,
            technician=person,
            lot=0,
            step="ai",
            starts="2027-05-06T15:00Z",
            ends="2027-05-06T18:00Z",
            busy_starts="2027-05-06T14:00Z",
            busy_ends="2027-05-06T18:00Z",
            head=head,
            changed_at=NOW,
        )
    found = compare_programmes(member=scene.rancher, subject=subject_of(scene.willow), wishes=Wishes())
    assert found.room is not None
    assert (found.room.wanted, len(found.room.all_day), len(found.room.any_day)) == (18, 16, 17)
    assert not {date(2027, 5, 4), date(2027, 5, 6)} & found.room.bookable
    said = text(signed_in(scene.rancher.user), address(scene))
    assert "16 of 18 days" in said


def test_ones_own_booking_takes_no_room_and_cancelled_ones_take_none(scene: Scene) -> None:
    plan = planned(scene)
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=NOW)
    both = [subject_of(entry) for entry in (scene.willow, scene.birch)]
    rooms = [compare_programmes(member=scene.coordinator, subject=item, wishes=Wishes()).room for item in both]
    assert all(room is not None and len(room.all_day) == 18 for room in rooms)
    scene.willow.head = 170  # more than the 200 of both technicians less the 50 of Birch
    day = Booking.objects.filter(entry=scene.birch)[0].starts.date()
    busy = compare_programmes(member=scene.coordinator, subject=subject_of(scene.willow), wishes=Wishes()).room
    assert busy is not None
    assert {day} == busy.any_day - busy.all_day
    Booking.objects.filter(entry=scene.birch).update(status="cancelled")
    free = compare_programmes(member=scene.coordinator, subject=subject_of(scene.willow), wishes=Wishes()).room
    assert free is not None
    assert len(free.all_day) == 18


def test_a_group_larger_than_a_days_work_counts_days_with_any_room(scene: Scene) -> None:
    scene.willow.head = 500
    room = compare_programmes(member=scene.rancher, subject=subject_of(scene.willow), wishes=Wishes()).room
    assert room is not None
    assert not room.for_all
    assert len(room.bookable) == 18
    assert room.most == 200


def test_a_ranch_that_inseminates_its_own_is_asked_for_no_technician(scene: Scene) -> None:
    scene.willow.ai_by = Hands.RANCH
    scene.willow.save()
    found = compare_programmes(member=scene.rancher, subject=subject_of(scene.willow), wishes=Wishes())
    assert found.room is None
    assert found.ai_rate == scene.home.ai_rate
    assert "The ranch inseminates itself" in text(signed_in(scene.rancher.user), address(scene))


def test_skills_narrow_who_may_come_and_the_slowest_sets_the_pace(scene: Scene) -> None:
    scene.bo.skills, scene.bo.ai_rate = ["sexed semen"], 18
    scene.bo.save()
    scene.willow.skills = ["sexed semen"]
    scene.willow.save()
    found = compare_programmes(member=scene.rancher, subject=subject_of(scene.willow), wishes=Wishes())
    assert found.ai_rate == 18
    scene.willow.skills = ["glass eye"]
    scene.willow.save()
    none = compare_programmes(member=scene.rancher, subject=subject_of(scene.willow), wishes=Wishes())
    assert none.room is None
    assert "has all the skills" in text(signed_in(scene.rancher.user), address(scene))


def test_a_slow_chute_cuts_the_group_into_lots(scene: Scene) -> None:
    scene.home.treat_rate = 200
    scene.home.save()
    scene.willow.head, scene.willow.order = 240, "any"
    scene.willow.save()
    said = text(signed_in(scene.rancher.user), address(scene))
    assert re.search(r"240 head in \d lots", said)


# --- before a group is entered ---


def test_a_group_outside_of_a_season_is_compared_and_entered_with_the_programme(scene: Scene) -> None:
    group = make_group(make_herd(scene.home), name="Late heifers", animal_class="heifer", head=40)
    rancher = signed_in(scene.rancher.user)
    page = rancher.get(f"/c/north/groups/{group.pk}/programmes/").content.decode()
    link = re.search(r'href="([^"]+groups/new/\?group=[^"]+)"', page)
    assert link is not None
    form = rancher.get(unescape(link[1])).content.decode()
    chosen = re.findall(r'<option value="([^"]+)" selected', form)
    assert str(group.pk) in chosen
    assert any(key.startswith("heifer_") for key in chosen)
    found = compare_programmes(member=scene.rancher, subject=Subject(group, 40), wishes=Wishes())
    assert found.room is None
    away = make_group(make_herd(scene.away), name="Others")
    assert rancher.get(f"/c/north/groups/{away.pk}/programmes/").status_code == 404


def test_an_entered_group_is_led_to_its_season(scene: Scene) -> None:
    page = signed_in(scene.rancher.user).get(f"/c/north/groups/{scene.willow.group.pk}/programmes/").content.decode()
    assert address(scene) in page
