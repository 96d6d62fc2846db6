"""At the chute over HTTP: choose what is typed, one animal after the other, on a bad line; then her page, then a sheet."""

import io
import re
from datetime import date

import pytest
from django.test import Client
from django.utils import timezone

from accounts.models import User
from accounts.permissions import Role
from herdplan.herds.models import BreedingGroup, ChuteDay, Female, Herd, Record, RecordUpload
from tests.factories.people import make_coop, make_female, make_group, make_herd, make_person, make_ranch

pytestmark = pytest.mark.django_db
DAY = "2026-03-02"


@pytest.fixture
def group() -> BreedingGroup:
    """Cows 9, 10 and 11 of a rancher's own herd."""
    herd = make_herd(make_ranch(make_coop(), slug="willow"), "Home herd")
    made = make_group(herd, name="Early cows")
    for tag in ("10", "9", "11"):
        make_female(herd, tag=tag, group=made, born=date(2020, 3, 15))
    return made


@pytest.fixture
def rancher(group: BreedingGroup) -> Client:
    """The herd's rancher, who reads lb and in."""
    user = make_person(group.herd.ranch.cooperative, Role.RANCHER)
    group.herd.ranch.people.add(user)
    made = Client()
    made.force_login(user)
    return made


def begin(client: Client, group: BreedingGroup, *asked: str, vaccines: tuple[str, ...] = ()) -> str:
    """Start a day at the chute; returns its address."""
    answer = client.post(
        f"/c/north/herds/{group.herd_id}/chute/",
        {"group": str(group.pk), "day": DAY, "asked": list(asked), "vaccines": list(vaccines)},
    )
    assert answer.status_code == 302, answer.content.decode()
    return answer["Location"]


def at(address: str, tag: str) -> str:
    """The animal's screen."""
    return f"{address}{Female.objects.get(tag=tag).pk}/"


def key_of(page: str) -> str:
    """The page's own key."""
    found = re.search(r'name="key" value="([0-9a-f-]{36})"', page)
    assert found
    return found[1]


def test_a_group_is_worked_from_the_first_to_the_last_tag(rancher: Client, group: BreedingGroup) -> None:
    address = begin(rancher, group, "weight", "condition")
    start = rancher.get(address).content.decode()
    assert "0 of 3 saved" in start
    assert "Next: 9" in start
    page = rancher.get(at(address, "9")).content.decode()
    assert "Weight, lb" in page
    assert "Tract score" not in page
    for tag, coming in (("9", "10"), ("10", "11")):
        typed = {"key": key_of(page), "weight": "1,150", "condition": "5", "condition_half": "on"}
        answer = rancher.post(at(address, tag), typed)
        assert answer["Location"] == at(address, coming)
        page = rancher.get(answer["Location"]).content.decode()
        assert f"{tag} is saved." in page
    assert rancher.post(at(address, "11"), {"key": key_of(page), "weight": "1200"})["Location"] == address
    assert "All 3 are saved." in rancher.get(address).content.decode()
    record = Record.objects.get(female__tag="9", kind="weight")
    assert record.weight_kg == pytest.approx(521.631226)
    assert record.day == date(2026, 3, 2)
    assert record.by is not None
    assert Record.objects.get(female__tag="10", kind="condition").condition == 5.5


def test_a_repeated_post_saves_once_and_a_late_one_undoes_nothing(rancher: Client, group: BreedingGroup) -> None:
    address = begin(rancher, group, "weight")
    key = key_of(rancher.get(at(address, "9")).content.decode())
    first = {"key": key, "weight": "1150"}
    for _ in range(3):
        assert rancher.post(at(address, "9"), first)["Location"] == at(address, "10")
    assert Record.objects.count() == 1
    rancher.post(at(address, "9"), {"key": key, "weight": "1160"})  # went back and put it right
    late = rancher.post(at(address, "9"), first, follow=True).content.decode()
    assert "was saved already; the repeat changed nothing" in late
    standing = Record.objects.get(withdrawn_at=None)
    assert standing.weight_kg == pytest.approx(1160 * 0.45359237)
    assert Record.objects.count() == 2


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"weight": "40"}, "200 to 2,700 lb is allowed"),
        ({"weight": "heavy"}, "a figure, such as 1150 or 13.5"),
        ({"tract": "7"}, "7 is not one of the available choices"),
        ({"calved": "2030-03-01"}, "lies in the future"),
        ({"pelvic_height": "13", "pelvic_width": "12"}, "Is it in centimetres?"),
        ({"condition_half": "on"}, "Choose the whole score too."),
        ({}, "Nothing is typed."),
    ],
)
def test_what_cannot_be_is_refused_and_what_was_typed_stays(
    rancher: Client, group: BreedingGroup, typed: dict[str, str], words: str
) -> None:
    address = begin(rancher, group, "weight", "tract", "calving", "pelvis", "condition", "hold")
    more = {"hold_reason": "Lame on the left"} if typed else {}
    answer = rancher.post(at(address, "9"), {**typed, **more})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert words in page
    assert "Nothing is saved yet for 9" in page
    assert Record.objects.count() == 0
    for text in (*more.values(), *(text for name, text in typed.items() if name in ("weight", "pelvic_height"))):
        assert f'value="{text}"' in page


def test_what_is_unlikely_wants_a_tick_for_that_very_figure(rancher: Client, group: BreedingGroup) -> None:
    address = begin(rancher, group, "weight")
    page = rancher.post(at(address, "9"), {"weight": "2100"}).content.decode()
    assert "2,100 lb is unusual for a cow (most weigh 650 to 2,000 lb). Is this right? Tick to keep it." in page
    assert 'name="keep_weight"' in page
    other = rancher.post(at(address, "9"), {"weight": "2200", "keep_weight": "2100"})
    assert other.status_code == 200
    assert Record.objects.count() == 0
    assert rancher.post(at(address, "9"), {"weight": "2100", "keep_weight": "2100"}).status_code == 302
    assert Record.objects.count() == 1


def test_an_animal_is_found_by_her_tag_or_one_near_it(rancher: Client, group: BreedingGroup) -> None:
    address = begin(rancher, group, "weight")
    stray = make_female(group.herd, tag="204")
    assert rancher.get(f"{address}?tag=204")["Location"] == f"{address}{stray.pk}/"
    near = rancher.get(f"{address}?tag=20").content.decode()
    assert "has the tag 20." in near
    assert f"{address}{stray.pk}/" in near
    assert "add her" in rancher.get(f"{address}?tag=77").content.decode()


def test_cattle_that_come_in_no_order_are_called_by_their_tags(rancher: Client, group: BreedingGroup) -> None:
    address = begin(rancher, group, "weight")
    assert rancher.post(at(address, "9"), {"weight": "1150", "next_tag": "11"})["Location"] == at(address, "11")
    kept = rancher.post(at(address, "11"), {"weight": "40", "next_tag": "10"}).content.decode()
    assert 'name="next_tag" value="10"' in kept
    answer = rancher.post(at(address, "11"), {"weight": "1140", "next_tag": "7 7"})
    assert answer["Location"] == f"{address}?tag=7+7"
    assert "has the tag 7 7." in rancher.get(answer["Location"]).content.decode()
    assert Record.objects.count() == 2


def test_vaccines_of_the_day_are_ticked_and_can_be_unticked(rancher: Client, group: BreedingGroup) -> None:
    refused = rancher.post(f"/c/north/herds/{group.herd_id}/chute/", {"day": DAY, "asked": ["vaccination"]})
    assert "Choose what is given today" in refused.content.decode()
    address = begin(rancher, group, "vaccination", vaccines=("leptospira", "viral_killed"))
    page = rancher.get(at(address, "9")).content.decode()
    assert page.count("checked") == 2
    rancher.post(at(address, "9"), {"vaccines": ["leptospira"]})
    assert Record.objects.get().vaccine == "leptospira"
    again = rancher.get(at(address, "9")).content.decode()
    assert again.count("checked") == 1


def test_units_follow_the_person(rancher: Client, group: BreedingGroup) -> None:
    fields = {"name": "Ana", "weight_unit": "kg", "length_unit": "cm", "temperature_unit": "C", "distance_unit": "km"}
    assert rancher.post("/profile/", fields).status_code == 302
    address = begin(rancher, group, "weight", "pelvis")
    assert "Weight, kg" in rancher.get(at(address, "9")).content.decode()
    refused = rancher.post(at(address, "9"), {"weight": "520", "pelvic_height": "5.1", "pelvic_width": "4.7"})
    assert "Is it in inches?" in refused.content.decode()
    rancher.post(at(address, "9"), {"weight": "520", "pelvic_height": "13", "pelvic_width": "12"})
    assert Record.objects.get(kind="weight").weight_kg == 520
    page = rancher.get(f"/c/north/females/{Female.objects.get(tag='9').pk}/").content.decode()
    assert "13 cm high, 12 cm wide (156 cm²)" in page  # 13 x 12: above 150


def test_her_page_shows_her_history_and_takes_records_out(rancher: Client, group: BreedingGroup) -> None:
    cow = Female.objects.get(tag="9")
    her = f"/c/north/females/{cow.pk}/"
    assert "Nothing is on record of her yet." in rancher.get(her).content.decode()
    typed = {"day": DAY, "weight": "1150", "hold_reason": "Lame", "calved": "2026-02-10"}
    assert rancher.post(f"{her}records/new/", typed).status_code == 302
    page = rancher.get(her).content.decode()
    for words in ("1,150 lb", "On hold:", "Lame, open", "Tue 10 Feb 2026", "Robin Vale"):
        assert words in page
    again = rancher.post(f"{her}records/new/", typed, follow=True).content.decode()
    assert "nothing was saved twice" in again
    hold, weight = Record.objects.get(kind="hold"), Record.objects.get(kind="weight")
    rancher.post(f"/c/north/records/{hold.pk}/end/")
    assert Record.objects.get(kind="hold", withdrawn_at=None).until == cow.herd.ranch.day_at(timezone.now())
    rancher.post(f"/c/north/records/{weight.pk}/remove/")
    assert "<s>1,150 lb</s>" in rancher.get(her).content.decode()
    assert rancher.post(f"/c/north/records/{weight.pk}/remove/").status_code == 302  # the phone sent it again
    said = rancher.post(f"/c/north/records/{hold.pk}/end/", follow=True).content.decode()
    assert "Nothing was done twice." in said
    assert Record.objects.filter(withdrawn_at=None).count() == 2


def send(client: Client, herd: Herd, text: str) -> str:
    """Send a sheet; returns the address of the page that matches its columns."""
    file = io.BytesIO(text.encode())
    file.name = "march.csv"
    answer = client.post(f"/c/north/herds/{herd.pk}/records/import/", {"file": file})
    assert answer.status_code == 302, answer.content.decode()
    return answer["Location"]


MATCH = {"column_0": "tag", "column_1": "weight_lb", "order": "ymd", "day": DAY}


def test_a_sheet_is_matched_looked_at_and_taken_in_whole_and_once(rancher: Client, group: BreedingGroup) -> None:
    address = send(rancher, group.herd, "Number,Mass,Ranch hand\n9,1150,Al\n10,2100,Al\n11,40,Al\n")
    page = rancher.get(address).content.decode()
    assert re.search(r'<option value="tag" selected>', page)
    assert "Holds: 1150, 2100, 40" in page
    assert "Match at least one column" in rancher.post(address, {"column_0": "tag", "order": "ymd"}).content.decode()
    looked = rancher.post(address, {**MATCH, "do": "save"}).content.decode()
    assert "1 of 3 rows cannot be taken in" in looked
    assert "200 to 2,700 lb is allowed" in looked
    assert Record.objects.count() == 0
    address = send(rancher, group.herd, "Number,Mass,Ranch hand\n9,1150,Al\n10,2100,Al\n11,1140,Al\n")
    looked = rancher.post(address, {**MATCH, "do": "look"}).content.decode()
    assert "1 of 3 rows are questioned" in looked
    assert rancher.post(address, {**MATCH, "do": "save"}).status_code == 200
    assert Record.objects.count() == 0
    done = rancher.post(address, {**MATCH, "do": "save", "keep": "on"}, follow=True).content.decode()
    assert "3 records are in" in done
    again = rancher.post(address, {**MATCH, "do": "save", "keep": "on"}, follow=True).content.decode()
    assert "Nothing was saved twice." in again
    assert Record.objects.count() == 3
    assert RecordUpload.objects.get(saved_count=3).table == []


def test_a_file_that_is_no_sheet_is_refused_in_words(rancher: Client, group: BreedingGroup) -> None:
    file = io.BytesIO(b"Tag,Weight\n")
    file.name = "empty.csv"
    answer = rancher.post(f"/c/north/herds/{group.herd_id}/records/import/", {"file": file})
    assert "no rows below the column names" in answer.content.decode()
    assert RecordUpload.objects.count() == 0


def test_records_leave_in_the_persons_units(rancher: Client, group: BreedingGroup) -> None:
    Record.objects.create(female=Female.objects.get(tag="9"), kind="weight", day=DAY, weight_kg=521.631226)
    herd = f"/c/north/herds/{group.herd_id}"
    assert "9,2026-03-02,1150," in rancher.get(f"{herd}/records.csv").content.decode()
    assert rancher.get(f"{herd}/records.xlsx").content[:2] == b"PK"


def test_another_ranchers_cattle_cannot_be_reached(rancher: Client, group: BreedingGroup) -> None:
    coop = group.herd.ranch.cooperative
    theirs = make_herd(make_ranch(coop, "Stone Corral", slug="stone"))
    cow = make_female(theirs, tag="9")
    record = Record.objects.create(female=cow, kind="hold", day=DAY, reason="Lame")
    chute = ChuteDay.objects.create(herd=theirs, day=DAY, asked=["weight"])
    upload = RecordUpload.objects.create(herd=theirs, name="f", table=[["Tag", "Weight"], ["9", "1"]])
    own = begin(rancher, group, "weight")
    for address in (
        f"/c/north/females/{cow.pk}/",
        f"/c/north/females/{cow.pk}/records/new/",
        f"/c/north/herds/{theirs.pk}/chute/",
        f"/c/north/herds/{theirs.pk}/records.csv",
        f"/c/north/chute/{chute.pk}/",
        f"/c/north/chute/{chute.pk}/{cow.pk}/",
        f"{own}{cow.pk}/",
        f"/c/north/sheets/{upload.pk}/",
        f"/api/v1/females/{cow.pk}/records/",
    ):
        assert rancher.get(address).status_code == 404, address
    assert rancher.post(f"{own}{cow.pk}/", {"weight": "1150"}).status_code == 404
    assert rancher.post(f"/c/north/records/{record.pk}/remove/").status_code == 404
    sneaky = rancher.post(
        f"/c/north/herds/{group.herd_id}/chute/",
        {"group": str(make_group(theirs).pk), "day": DAY, "asked": ["weight"]},
    )
    assert sneaky.status_code == 200
    assert Record.objects.count() == 1


def test_a_day_at_the_chute_can_be_gone_on_with_and_changed(rancher: Client, group: BreedingGroup) -> None:
    today = group.herd.ranch.day_at(timezone.now())
    lately = ChuteDay.objects.create(herd=group.herd, group=group, day=today, asked=["weight"])
    assert f"/c/north/chute/{lately.pk}/" in rancher.get(f"/c/north/herds/{group.herd_id}/chute/").content.decode()
    address = begin(rancher, group, "weight")
    rancher.post(f"{address}edit/", {"group": str(group.pk), "day": DAY, "asked": ["tract"]})
    assert "Tract score" in rancher.get(at(address, "9")).content.decode()
    future = rancher.post(f"/c/north/herds/{group.herd_id}/chute/", {"day": "2031-01-01", "asked": ["tract"]})
    assert "lies in the future" in future.content.decode()
    assert User.objects.count() == 1


def test_how_far_along_she_is_is_typed_in_days_or_months(rancher: Client, group: BreedingGroup) -> None:
    address = begin(rancher, group, "pregnancy")
    page = rancher.get(at(address, "9")).content.decode()
    both = rancher.post(at(address, "9"), {"key": key_of(page), "days_pregnant": "90", "months_pregnant": "3"})
    assert "Type days or months, not both." in both.content.decode()
    for field, typed, words in (
        ("days_pregnant", "3", "25 to 300 days is allowed. Were these months?"),
        ("months_pregnant", "12", "365 days cannot be"),
    ):
        refused = rancher.post(at(address, "9"), {"key": key_of(page), field: typed})
        assert words in refused.content.decode()
    assert not Record.objects.exists()
    assert rancher.post(at(address, "9"), {"key": key_of(page), "months_pregnant": "3"}).status_code == 302
    record = Record.objects.get()
    # Three months are 91 days; 283 - 91 = 192 days on from 2 March is 10 September ("Gestation Length" guideline, undated).
    assert (record.pregnancy, record.days_pregnant, record.due) == ("pregnant", 91, date(2026, 9, 10))
    assert (
        "Pregnant, 91 days; expected to calve Thu 10 Sep 2026"
        in rancher.get(f"/c/north/females/{record.female_id}/").content.decode()
    )
