"""Readiness over HTTP, as rancher, coordinator, adviser, technician and stranger: looked at, worked on, signed, split."""

import re
from datetime import date, timedelta
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.models import User
from herdplan.herds.models import BreedingGroup, Female, Herd, Record
from scheduling.models import ReadinessLimit, ReadinessWord, SeasonEntry
from tests.factories.clock import stand_still
from tests.factories.pages import signed_in, text
from tests.factories.people import make_group
from tests.factories.plans import NOW, Scene, make_scene
from tests.factories.readiness import AI, adviser, keep_from_bulls, make_cows, make_heifers

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Scene:
    """Two ranches with a group each on 1 April 2027, AI wished on 10 May."""
    stand_still(monkeypatch, NOW)
    return make_scene()


def at(entry: SeasonEntry, tail: str = "") -> str:
    """The address of an entry's readiness."""
    return f"/c/north/seasons/{entry.season_id}/groups/{entry.pk}/ready/{tail}"


def overview(scene: Scene) -> str:
    """The address of the season's readiness."""
    return f"/c/north/seasons/{scene.season.pk}/ready/"


# --- looking ---


def test_the_rancher_finds_what_to_do_and_does_it(scene: Scene) -> None:
    cows = make_cows(scene.willow, 4)
    boss = signed_in(scene.rancher.user)
    assert boss.get("/c/north/ready/")["Location"] == overview(scene)
    said = text(boss.get(overview(scene)))
    assert "0 % ready now : 0 of 4; 4 ready if something is done or recorded first; 0 not this time" in said
    assert "56 head of this group are not in the herd book one by one" in said
    assert "Birch" not in said  # another ranch
    page = boss.get(at(scene.willow))
    said = text(page)
    assert "Have 4 head checked for pregnancy before Fri 7 May 2027, or say that the group was kept from bulls." in said
    assert "We plan; the veterinarian decides" in said
    wishes = f"/c/north/seasons/{scene.season.pk}/groups/{scene.willow.pk}/edit/"
    assert f'href="{wishes}"' in page.content.decode()
    values = {
        "protocol": scene.willow.protocol, "head": 60, "ai_wanted": "2027-05-10", "ai_from": "2027-05-03", "ai_to": "2027-05-20",
        "order": "kept", "ai_by": "technician", "steps_by": "ranch", "kept_from_bulls": "on", "skills_text": "",
    }  # fmt: skip
    assert boss.post(wishes, values).status_code == 302
    assert "100 % are ready now" in text(boss.get(at(scene.willow)))
    answer = boss.get(f"/c/north/females/{cows[0].pk}/ready/", follow=True)
    assert "Every check" in text(answer)
    assert "She was kept from bulls" in text(answer)


def test_what_is_missing_is_typed_at_the_chute_with_the_right_fields(scene: Scene) -> None:
    (cow,) = make_cows(scene.willow, 1)
    Record.objects.filter(kind="condition").delete()
    keep_from_bulls(scene.willow)
    boss = signed_in(scene.rancher.user)
    page = boss.get(at(scene.willow, f"{cow.pk}/")).content.decode()
    links = [unescape(link) for link in re.findall(r'href="([^"]+asked=condition)"', page)]
    assert links
    form = boss.get(links[0]).content.decode()
    ticked = re.findall(r'name="asked" value="(\w+)"[^>]*checked', form)
    assert ticked == ["condition"]
    assert f'<option value="{scene.willow.group.pk}" selected>' in form
    record = f"/c/north/females/{cow.pk}/records/new/"
    assert f'href="{record}"' in page
    boss.post(record, {"day": "2027-04-01", "condition": "5"})
    assert "Condition 5 on Thu 1 Apr 2027." in text(boss.get(at(scene.willow, f"{cow.pk}/")))


def test_the_mature_weight_is_typed_in_the_persons_unit_and_gives_targets(scene: Scene) -> None:
    entry, _ = make_heifers(scene, [650, 720])
    Herd.objects.update(mature_kg=None)
    boss = signed_in(scene.rancher.user)
    assert "Enter the weight of the herd's mature cows: 2 head wait for it" in text(boss.get(at(entry)))
    herd = f"/c/north/herds/{entry.group.herd_id}/edit/"
    for typed, words in (("110", "A mature cow weighs"), ("heavy", "Type a figure")):
        assert words in text(boss.post(herd, {"name": "Herd", "mature": typed, "notes": ""}))
    boss.post(herd, {"name": "Herd", "mature": "1,100", "notes": ""})
    assert Herd.objects.get(pk=entry.group.herd_id).mature_kg == pytest.approx(1_100 * 0.45359237)
    said = text(boss.get(at(entry)))
    assert "Target 65 %: 715 lb of 1,100 lb" in said
    User.objects.update(weight_unit="kg", length_unit="cm")
    said = text(boss.get(at(entry)))
    assert "324 kg of 499 kg" in said
    assert "715 lb" not in said
    kept = Herd.objects.get(pk=entry.group.herd_id).mature_kg
    boss.post(herd, {"name": "Herd", "mature": "499", "notes": "read only"})
    assert Herd.objects.get(pk=entry.group.herd_id).mature_kg == kept  # what was only read comes back unchanged


def test_animals_are_filtered_by_verdict_and_every_reason_leads_to_its_why(scene: Scene) -> None:
    entry, heifers = make_heifers(scene, [715, 610, 540])
    Record.objects.filter(female=heifers[0], kind="tract").update(tract_score=2)
    boss = signed_in(scene.rancher.user)
    page = boss.get(at(entry) + "?verdict=not_this_time").content.decode()
    table = page[page.index('id="animals"') :]
    assert [tag for tag in ("H000", "H001", "H002") if f">{tag}</a>" in table] == ["H000", "H002"]
    whole = boss.get(at(entry)).content.decode()
    codes = set(re.findall(r"/c/north/whys/(\w+)/", whole))
    assert {"tract", "target_weight", "second_group"} & codes >= {"tract", "target_weight"}
    for code in sorted(codes):
        answer = boss.get(f"/c/north/whys/{code}/")
        assert answer.status_code == 200
        assert "If it is ignored" in text(answer)
        assert "Where it comes from" in text(answer)


def test_a_group_without_females_or_without_season_says_what_to_do(scene: Scene) -> None:
    boss = signed_in(scene.rancher.user)
    assert "None of the 60 head is in the herd book one by one" in text(boss.get(at(scene.willow)))
    other = make_group(scene.willow.group.herd, name="Spare")
    answer = boss.get(f"/c/north/groups/{other.pk}/ready/")
    assert "Spare is in no season yet" in text(answer)
    assert f"?group={other.pk}" in answer.content.decode()
    assert boss.get(f"/c/north/groups/{scene.willow.group.pk}/ready/")["Location"] == at(scene.willow)
    SeasonEntry.objects.filter(pk=scene.willow.pk).update(protocol="gone")
    assert "does not know the group's protocol" in text(boss.get(at(scene.willow)))
    assert boss.get(overview(scene)).status_code == 200


def test_a_programme_that_runs_or_is_over_says_so(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    (cow,) = make_cows(scene.willow, 1)
    for days, words in (
        (5, "The programme began on Fri 30 Apr"),
        (30, "AI is over. This is how they stood on Mon 10 May"),
    ):
        stand_still(monkeypatch, NOW + timedelta(days=(AI - NOW.date()).days - 9 + days))
        boss = signed_in(scene.rancher.user)  # two weeks later she signs in anew
        assert words in text(boss.get(at(scene.willow)))
    assert "What to do by when" not in text(boss.get(at(scene.willow)))
    assert "This is how she stood that day" in text(boss.get(at(scene.willow, f"{cow.pk}/")))
    assert boss.get(at(scene.willow, "late/")).status_code == 200


def test_technicians_and_strangers_see_no_female(scene: Scene) -> None:
    (cow,) = make_cows(scene.willow, 1)
    pages = [overview(scene), at(scene.willow), at(scene.willow, "late/"), at(scene.willow, f"{cow.pk}/")]
    for address in pages:
        assert signed_in(scene.technician.user).get(address).status_code == 403
        assert signed_in(scene.stranger).get(address).status_code == 404
        assert signed_in(adviser(scene).user).get(address).status_code == 200
    other = make_cows(scene.birch, 1)[0]
    mate = signed_in(scene.rancher.user)
    assert mate.get(at(scene.birch)).status_code == 404
    assert mate.get(at(scene.willow, f"{other.pk}/")).status_code == 404


@pytest.mark.parametrize("head", [10, 200])
def test_pages_ask_as_much_of_the_database_for_ten_as_for_two_hundred(scene: Scene, head: int) -> None:
    females = make_cows(scene.willow, head)
    boss = signed_in(scene.rancher.user)
    counts = {}
    for address in (overview(scene), at(scene.willow), at(scene.willow, f"{females[0].pk}/")):
        with CaptureQueriesContext(
            connection,
        ) as caught:
            assert boss.get(address).status_code == 200
        counts[address.removeprefix(at(scene.willow))] = len(caught)
    assert list(counts.values()) == QUERIES


# Overview, group, female: session, person, membership, season, entries, limits, words, females, records, and what each page adds.
QUERIES = [11, 13, 16]


# --- signing ---


def test_the_adviser_signs_overrides_and_withdraws_and_everybody_sees_it(scene: Scene) -> None:
    keep_from_bulls(scene.willow)
    thin, _ = make_cows(scene.willow, 2)
    Record.objects.filter(female=thin, kind="condition").update(condition=3)
    vet, rancher = signed_in(adviser(scene).user), signed_in(scene.rancher.user)
    where = at(scene.willow, f"{thin.pk}/")
    said = text(vet.post(where + "override/", {"verdict": "ready", "reason": ""}))
    assert "This field is required" in said
    assert not ReadinessWord.objects.exists()
    said = text(vet.post(where + "override/", {"verdict": "ready", "reason": "Scored anew by hand"}, follow=True))
    assert "Your word on her is saved." in said
    said = text(rancher.get(where))
    assert "Robin Vale has spoken of her, Thu 1 Apr 2027: Scored anew by hand" in said
    assert "By the rules alone: not this time" in said
    assert "100 % are ready now" in text(rancher.get(at(scene.willow)))
    vet.post(at(scene.willow, "sign/"), {"verdict": "ready", "reason": "All seen"})
    for address in (at(scene.willow), overview(scene), f"/c/north/seasons/{scene.season.pk}/groups/"):
        assert "signed off" in text(rancher.get(address)).lower()
    assert "All seen" in text(rancher.get(f"/c/north/seasons/{scene.season.pk}/groups/{scene.willow.pk}/"))
    SeasonEntry.objects.filter(pk=scene.willow.pk).update(ai_wanted=date(2027, 5, 12))
    assert "for another AI day" in text(rancher.get(overview(scene)))
    word = ReadinessWord.objects.get(female=thin)
    assert rancher.post(f"/c/north/ready/words/{word.pk}/withdraw/").status_code == 403
    vet.post(f"/c/north/ready/words/{word.pk}/withdraw/")
    said = text(vet.get(where))
    assert "Withdrawn Thu 1 Apr 2027 by Robin Vale" in said
    assert "has spoken of her" not in said


def test_a_pregnancy_is_not_overridden(scene: Scene) -> None:
    (cow,) = make_cows(scene.willow, 1)
    Record.objects.create(female=cow, kind="pregnancy", day=date(2027, 3, 31), pregnancy="pregnant")
    vet = signed_in(scene.coordinator.user)
    said = text(vet.post(at(scene.willow, f"{cow.pk}/override/"), {"verdict": "ready", "reason": "Sure"}))
    assert "She is pregnant." in said
    assert "Nothing was saved" in said
    assert not ReadinessWord.objects.exists()


def test_roles_that_may_not_sign_are_refused(scene: Scene) -> None:
    (cow,) = make_cows(scene.willow, 1)
    values = {"verdict": "ready", "reason": "x"}
    for user, status in ((scene.rancher.user, 403), (scene.technician.user, 403), (scene.stranger, 404)):
        for address in (at(scene.willow, "sign/"), at(scene.willow, f"{cow.pk}/override/")):
            assert signed_in(user).post(address, values).status_code == status
        assert signed_in(user).post("/c/north/ready/limits/?change=ai_days", values).status_code == status
    assert not ReadinessWord.objects.exists()
    assert not ReadinessLimit.objects.exists()


# --- limits ---


def test_the_co_op_sets_a_limit_of_its_own_beside_the_printed_one(scene: Scene) -> None:
    keep_from_bulls(scene.willow)
    make_cows(scene.willow, 2, calved=AI - timedelta(days=45))
    boss = signed_in(scene.coordinator.user)
    address = "/c/north/ready/limits/"
    page = boss.get(address + "?change=ai_days")
    assert "From 30 days to 90 days." in text(page)
    for values, words in (
        ({"value": "20", "reason": "x"}, "From 30 days to 90 days. Nothing was saved."),
        ({"value": "45", "reason": ""}, "This field is required"),
        ({"value": "many", "reason": "x"}, "Enter a number"),
        ({"value": "38", "reason": "x"}, "days that the uterus needs"),
    ):
        assert words in text(boss.post(address + "?change=ai_days", values))
    assert not ReadinessLimit.objects.exists()
    boss.post(address + "?change=ai_days", {"value": "45", "reason": "Early cows, says the vet"})
    said = text(signed_in(scene.rancher.user).get(address))
    assert "45 days Early cows, says the vet (Robin Vale, 1 Apr 2027) 50 days" in said
    assert "Artificial Insemination in Beef Cattle" in said
    assert "100 % are ready now" in text(boss.get(at(scene.willow)))
    assert "Default 50 days" in text(boss.get("/c/north/whys/days_ai/"))
    row = ReadinessLimit.objects.get()
    boss.post(f"/c/north/ready/limits/{row.pk}/withdraw/")
    assert "0 % are ready now" in text(boss.get(at(scene.willow)))
    assert "Withdrawn Cows: days since calving at AI: 45 days. Early cows" in text(boss.get(address))
    assert "Choose one of the limits" in text(boss.post(address, {"value": "45", "reason": "x"}, follow=True))


# --- late calvers ---


def test_late_calvers_get_a_group_of_their_own_on_one_confirmation(scene: Scene) -> None:
    keep_from_bulls(scene.willow)
    make_cows(scene.willow, 3)
    make_cows(scene.willow, 2, first=90, calved=AI - timedelta(days=39))
    boss = signed_in(scene.rancher.user)
    assert "2 calved late" in text(boss.get(at(scene.willow)))
    page = boss.get(at(scene.willow, "late/"))
    assert "AI Fri 21 May 2027 , 11 days later" in text(page)
    token = re.search(r'name="token" value="(\w+)"', page.content.decode())
    assert token is not None
    values = {"name": "Late ones", "ai_wanted": "2027-05-21", "token": token[1]}
    said = text(boss.post(at(scene.willow, "late/"), {**values, "ai_wanted": "2027-05-20"}))
    assert "Choose Fri 21 May 2027 or later" in said
    assert BreedingGroup.objects.filter(name="Late ones").count() == 0
    assert signed_in(adviser(scene).user).post(at(scene.willow, "late/"), values).status_code == 403
    said = text(boss.post(at(scene.willow, "late/"), values, follow=True))
    assert "2 females are in Late ones." in said
    assert "100 % are ready now" in said
    assert Female.objects.filter(group__name="Late ones").count() == 2
    again = text(boss.post(at(scene.willow, "late/"), values))
    assert "There are no late calvers in this group any more" in again
    assert BreedingGroup.objects.filter(name="Late ones").count() == 1


# --- whys ---


def test_every_why_is_listed_and_opens(scene: Scene) -> None:
    boss = signed_in(scene.technician.user)
    page = boss.get("/c/north/whys/").content.decode()
    codes = re.findall(r"/c/north/whys/(\w+)/", page)
    assert len(codes) == len(set(codes)) > 40
    for code in codes:
        assert boss.get(f"/c/north/whys/{code}/").status_code == 200
    assert boss.get("/c/north/whys/no_such/").status_code == 404
    sheet = boss.get("/c/north/protocols/heifer_mga_pg_ftai/").content.decode()
    assert "/c/north/whys/mga_label/" in sheet
    assert "Why: MGA is for heifers" in sheet
