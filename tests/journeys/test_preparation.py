"""Preparation and what follows AI, as people use it over HTTP: a rancher, a coordinator, an adviser, a technician, a stranger."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest

from accounts.permissions import Role
from scheduling.models import GroupCare, ItemAct, MonthWeather, PlannedMove
from scheduling.services import publish
from tests.factories.clock import stand_still
from tests.factories.pages import signed_in, text
from tests.factories.people import make_entry, make_group, make_herd, make_person, make_ranch
from tests.factories.plans import NOW, Scene, make_scene, planned
from tests.factories.published import Published, make_published

pytestmark = pytest.mark.django_db
AI = date(2027, 5, 13)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Published:
    """A published group whose AI is on 13 May, seen on 5 April."""
    stand_still(monkeypatch, datetime(2027, 4, 5, 15, tzinfo=UTC))
    return make_published()


def of(made: Published, page: str) -> str:
    """A page of the group."""
    return f"/c/north/seasons/{made.entry.season_id}/groups/{made.entry.pk}/{page}"


def test_a_rancher_reads_ticks_moves_and_drops(made: Published) -> None:
    client = signed_in(made.rancher)
    page = client.get(of(made, "preparation/"))
    said = text(page)
    assert "AI day: Thu 13 May 2027 ✓ published" in said
    assert "Late, and not ticked" in said
    assert "Who: the veterinarian decides, the ranch's crew does it." in said
    assert "common practice, no published source" in said.lower()
    assert "If it is ignored:" in said or "/whys/" in page.content.decode()
    answer = client.post(of(made, "items/boosters/tick/"), {"next": of(made, "preparation/")}, follow=True)
    assert "Boosters, Willow: done." in text(answer)
    assert "Ticked by Robin Vale, Mon 5 Apr 2027" in text(answer)
    answer = client.post(of(made, "items/boosters/tick/"), {"undo": "yes"}, follow=True)
    assert "Boosters, Willow: the tick is taken back." in text(answer)
    one = of(made, "items/score_again/")
    answer = client.post(one, {"what": "move", "move-day": "2027-04-12", "move-reason": ""})
    assert "This field is required" in text(answer)
    answer = client.post(one, {"what": "move", "move-day": "2029-04-12", "move-reason": "branding"})
    assert "Choose a day from" in text(answer)
    assert ItemAct.objects.filter(item="score_again").count() == 0
    answer = client.post(one, {"what": "move", "move-day": "2027-04-12", "move-reason": "branding"}, follow=True)
    assert "Score condition again is moved." in text(answer)
    assert "Moved by Robin Vale: branding. By the rules: Thu 1 Apr to Thu 8 Apr." in text(answer)
    answer = client.post(one, {"what": "drop", "drop-reason": "scored in March"}, follow=True)
    assert "Dropped by Robin Vale: scored in March." in text(answer)
    answer = client.post(one, {"what": "back"}, follow=True)
    assert "stands where it counts again" in text(answer)
    history = text(client.get(one))
    assert "moved to Mon 12 Apr 2027, Robin Vale: branding" in history
    assert "dropped, Robin Vale: scored in March" in history
    assert client.get(of(made, "items/haul/")).status_code == 404
    assert client.post(of(made, "items/nothing/tick/")).status_code == 404


def test_a_tick_never_leads_to_a_foreign_site(made: Published) -> None:
    answer = signed_in(made.rancher).post(of(made, "items/semen/tick/"), {"next": "https://bad.example/x"})
    assert answer["Location"] == of(made, "preparation/")


def test_the_season_page_lists_by_day_and_by_ranch(made: Published) -> None:
    page = f"/c/north/seasons/{made.entry.season_id}/preparation/"
    said = text(signed_in(made.coordinator).get(page))
    assert "Boosters: Willow" in said
    assert "Willow Draw, 60 head" in said
    assert "more, beyond 45 days" in said
    assert "Pregnancy check due: Willow" not in said
    assert "Pregnancy check due: Willow" in text(signed_in(made.coordinator).get(f"{page}?all=yes"))
    assert "No group is entered" in text(signed_in(made.coordinator).get(f"{page}?ranch=nowhere"))
    # A technician and an adviser read, and have nothing to press.
    adviser = make_person(made.coop, Role.ADVISER)
    for user in (made.worker, adviser):
        answer = signed_in(user).get(page)
        assert answer.status_code == 200
        assert "/tick/" not in answer.content.decode()
    assert "/tick/" in signed_in(made.rancher).get(page).content.decode()


def test_a_long_list_is_cut_and_says_so(made: Published) -> None:
    for i in range(45):
        group = make_group(make_herd(make_ranch(made.coop, f"Ranch {i:02}")), head=40)
        make_entry(made.entry.season, group, ai_wanted=date(2027, 5, 13))
    answer = signed_in(made.coordinator).get(f"/c/north/seasons/{made.entry.season_id}/preparation/")
    said = text(answer)
    assert "The first 40 are shown. Choose a ranch above to see its own." in said
    assert len(answer.content) < 500_000
    ranch = made.entry.group.herd.ranch
    own = text(
        signed_in(made.coordinator).get(f"/c/north/seasons/{made.entry.season_id}/preparation/?ranch={ranch.slug}")
    )
    assert "Boosters: Willow" in own
    assert "are shown" not in own


def test_after_ai_shows_bands_bulls_checks_and_calves(made: Published) -> None:
    said = text(signed_in(made.rancher).get(of(made, "after/")))
    assert "Tue 18 May to Sat 26 Jun 2027 Do not haul" in said
    assert "32 of 60 are expected open after AI; 25 to 35 females for a bull of 24 months." in said
    assert "Sun 23 May 2027 Bulls in" in said
    assert "Mon 31 May to Sat 5 Jun 2027 Watch for returns" in said
    for method in ("ultrasound scan", "palpation", "blood test"):
        assert f"By {method} from " in said
    assert "First calves due Sun 20 Feb 2028" in said
    assert "Watch from Sun 6 Feb 2028" in said
    assert re.search(r"20 Feb to 26 Feb: \d+ \(\d+ % born by then\)", said)
    assert "never alone in the pen" in said


def test_wishes_are_saved_and_bad_ones_named(made: Published) -> None:
    client = signed_in(made.rancher)
    wishes = {"bulls": "on", "tell_apart": "on", "bull_months": "15", "bull_days": "45", "check_way": "ultrasound scan"}
    answer = client.post(of(made, "care/"), wishes | {"bull_months": "5"})
    assert "greater than or equal to 12" in text(answer)
    assert not GroupCare.objects.exists()
    answer = client.post(of(made, "care/"), wishes, follow=True)
    said = text(answer)
    assert "Thu 27 May 2027 Bulls in" in said
    assert "Pregnancy check by ultrasound scan" in said
    assert "Scan to tell AI calves from bulls'" in said
    assert "First vaccine dose" not in text(client.get(of(made, "preparation/")))
    assert 'value="15"' in client.get(of(made, "care/")).content.decode()


def haul(**more: str) -> dict[str, str]:
    """A haul as it is typed."""
    first = {"kind": "haul", "day": "2027-06-02", "begins": "12:00", "ends": "16:00", "origin": "home", "goal": "hills"}
    return first | more


def test_a_haul_is_warned_of_by_band_and_heat_and_kept_all_the_same(made: Published) -> None:
    """Day 20 after AI is closed ("Movement/transportation after AI", SDSU); 38 °C at half damp is far into the emergency band."""
    for month in (5, 6):
        MonthWeather.objects.create(
            cooperative=made.coop, month=month, low_c=22, high_c=38, morning_humidity=80, afternoon_humidity=50
        )
    client, page = signed_in(made.rancher), of(made, "moves/new/")
    answer = client.post(page, haul())
    said = text(answer)
    assert "Read this first. Nothing is saved yet." in said
    assert "day 20 after AI. Do not haul" in said
    assert "South Dakota State University" in said
    assert re.search(r"Heat .*Hauling", said)
    assert "Told from monthly normals" in said
    assert "A better day: Sun 27 Jun 2027" in said
    assert not PlannedMove.objects.exists()
    seen = re.search(r'name="seen" value="(\w+)"', answer.content.decode())
    assert seen is not None
    # Another day than the one that was read about is warned of afresh.
    assert "Nothing is saved yet" in text(client.post(page, haul(day="2027-06-03", seen=seen[1])))
    said = text(client.post(page, haul(seen=seen[1]), follow=True))
    assert "The move is kept" in said
    assert "✕ Not in these days home to hills: day 20 after AI" in said
    move = PlannedMove.objects.get()
    listed = text(signed_in(made.coordinator).get(f"/c/north/seasons/{made.entry.season_id}/moves/"))
    assert "Haul or move cattle: Willow, Willow Draw" in listed
    # Two days after AI nothing speaks against it but the heat; at dawn of a cool month not even that.
    MonthWeather.objects.update(low_c=2, high_c=15)
    answer = client.post(
        f"/c/north/moves/{move.pk}/", haul(day="2027-05-15", begins="06:00", ends="09:00"), follow=True
    )
    assert "✓ Nothing against it" in text(answer)
    assert "Nothing hot is known in these hours" in text(answer)
    answer = client.post(f"/c/north/moves/{move.pk}/withdraw/", follow=True)
    assert "taken out" in text(answer)
    assert client.get(f"/c/north/moves/{move.pk}/").status_code == 404


def test_a_change_of_feed_counts_its_supplement(made: Published) -> None:
    client, page = signed_in(made.rancher), of(made, "moves/new/")
    said = text(client.post(page, haul(kind="feed change", day="2027-05-13")))
    assert "feed a supplement for 42 days" in said
    assert "✕ Not in these days" in said
    assert "! With care" in text(client.post(page, haul(kind="feed change", day="2027-05-13", supplement="on")))
    assert "Choose an hour after the beginning" in text(client.post(page, haul(ends="11:00")))
    assert "Choose a day from" in text(client.post(page, haul(day="2031-01-01")))
    assert not PlannedMove.objects.exists()


def test_counted_back_from_a_wanted_calving_before_there_is_a_plan(made: Published) -> None:
    """First calves on 28 February 2028 ask for AI on 21 May 2027: 283 days ("Gestation Length", Beef Improvement Federation)."""
    group = made.entry.group
    client = signed_in(made.rancher)
    page = f"/c/north/groups/{group.pk}/preparation/"
    assert "First calves wanted on" in text(client.get(page))
    asked = {"first_calves": "2028-02-28", "protocol": "cow_7d_cosynch_insert", "carries": "283"}
    said = text(client.get(page, asked))
    assert "AI day: Fri 21 May 2027 counted back from calving" in said
    assert "Boosters" in said
    assert "of these days are over already" in said
    assert "Fri 19 May 2028" not in said
    assert "Wed 19 May 2027" in text(client.get(page, asked | {"carries": "285"}))
    assert "Enter a valid date" in text(client.get(page, asked | {"first_calves": "soon"}))
    assert ItemAct.objects.count() == 0


def test_drafts_are_shown_to_the_coordinator_and_wishes_to_the_rancher(monkeypatch: pytest.MonkeyPatch) -> None:
    stand_still(monkeypatch, NOW)
    scene: Scene = make_scene()
    plan = planned(scene)
    page = f"/c/north/seasons/{scene.season.pk}/groups/{scene.willow.pk}/preparation/"
    assert "plan in work, not published" in text(signed_in(scene.coordinator.user).get(page))
    assert "as wished, not planned yet" in text(signed_in(scene.rancher.user).get(page))
    publish(member=scene.coordinator, season=scene.season, plan=plan, now=NOW)
    assert "✓ published" in text(signed_in(scene.rancher.user).get(page))


def test_strangers_find_nothing_and_mates_only_their_own(made: Published) -> None:
    other = make_published("south")
    mate = make_person(made.coop, Role.RANCHER)
    move = PlannedMove.objects.create(
        entry=made.entry, kind="haul", day=AI + timedelta(days=2), origin="a", goal="b", changed_at=NOW
    )
    pages = [of(made, page) for page in ("preparation/", "after/", "care/", "items/semen/", "moves/new/")]
    pages += [f"/c/north/moves/{move.pk}/", f"/c/north/groups/{made.entry.group_id}/preparation/"]
    for user in (other.rancher, other.coordinator, mate):
        client = signed_in(user)
        for page in pages:
            assert client.get(page).status_code == 404, page
            assert client.get(page.replace("/c/north/", "/c/south/")).status_code == 404, page
        for page in (of(made, "items/semen/tick/"), f"/c/north/moves/{move.pk}/withdraw/"):
            assert client.post(page).status_code == 404
    season = f"/c/north/seasons/{made.entry.season_id}"
    assert "Willow" not in text(signed_in(mate).get(f"{season}/preparation/"))
    assert "Willow" not in text(signed_in(mate).get(f"{season}/moves/"))
    worker = signed_in(made.worker)
    for page in (of(made, "care/"), of(made, "moves/new/"), f"/c/north/moves/{move.pk}/"):
        assert worker.get(page).status_code == 403
    assert worker.post(of(made, "items/semen/"), {"what": "drop", "drop-reason": "because"}).status_code == 403
    assert ItemAct.objects.count() == 0
