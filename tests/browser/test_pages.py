"""The pages in a real browser: nothing wider than the phone, nothing serious for accessibility, no console error."""

import json
import os
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import Browser, Page, sync_playwright

from accounts.models import User
from herdplan.calendars.invitations import answer_link, sweep
from herdplan.calendars.models import Attendance
from herdplan.herds.models import ChuteDay, Female, Herd, Record, RecordUpload
from herdplan.technicians.models import Technician
from scheduling.models import ClashAnswer, ClashCase, PlannedStep, Replanning, Season, StepRecord
from scheduling.services import (
    Happening,
    choose_remedy,
    open_case,
    request_replanning,
)
from tests.factories.clock import stand_still
from tests.factories.demo import coordinator, published_demo

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, serialized_rollback=False)]
SIZES = [(390, 844), (1280, 900)]
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The system's Chromium, headless."""
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=os.environ.get("CHROMIUM", "/usr/bin/chromium"), args=FLAGS)
        yield started
        started.close()


def sign_in(browser: Browser, server: Any, role: str, faults: list[str]) -> Page:
    """A page signed in as the demo's person of that role, through the form."""
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda fault: faults.append(str(fault)))
    page.goto(f"{server.url}/accounts/login/")
    page.get_by_label("Email").fill(f"{role}@demo.example")
    page.get_by_label("Password").fill("herd-plan-demo")
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url("**/c/high-fork/")
    return page


def look(page: Page, address: str) -> None:
    """Open an address at both sizes, with everything that opens opened, and judge it."""
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        page.goto(address)
        page.evaluate("document.querySelectorAll('details').forEach((item) => { item.open = true; })")
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{address} is {wide} px too wide at {width}"
        found = Axe().run(page).response["violations"]
        serious = [
            (item["id"], item["nodes"][0]["html"][:150]) for item in found if item["impact"] in ("serious", "critical")
        ]
        assert serious == [], f"{address} at {width}"


@pytest.fixture
def season() -> Season:
    """The published demo."""
    for user in User.objects.all():
        user.delete()
    return published_demo(rounds=0)


PAGES = {
    "coordinator": [
        "",
        "seasons/",
        "seasons/{season}/",
        "seasons/{season}/groups/",
        "seasons/{season}/groups/new/",
        "seasons/{season}/groups/{entry}/",
        "ranches/",
        "protocols/",
        "protocols/cow_7d_cosynch_insert/",
        "ranches/new/",
        "technicians/",
        "technicians/new/",
        "people/",
        "people/roles/",
        "messages/",
        "calls/",
        "reminders/",
        "feeds/",
        "feeds/answers/",
        "feeds/own/",
        "prices/",
        "seasons/{season}/costs/",
        "seasons/{season}/preparation/?all=yes",
        "seasons/{season}/moves/",
        "heat/",
        "heat/everywhere/normals/",
        "seasons/{season}/ready/",
        "ready/limits/?change=ai_days",
        "whys/",
        "whys/target_weight/",
    ],
    "rancher": [
        "",
        "ranches/willow-draw/",
        "ranches/willow-draw/import/",
        "herds/{herd}/",
        "herds/{herd}/females/new/",
        "herds/{herd}/chute/",
        "chute/{chute}/",
        "chute/{chute}/edit/",
        "chute/{chute}/{female}/",
        "females/{female}/",
        "females/{female}/records/new/",
        "herds/{herd}/records/import/",
        "sheets/{upload}/",
        "reminders/",
        "reminders/rules/evening_before/",
        "reminders/channels/",
        "changes/",
        "prices/",
        "seasons/{season}/groups/{own}/programmes/",
        "seasons/{season}/groups/{own}/programmes/?first=LABOUR&second=TRIPS&semen=sex-sorted&crew=0",
        "seasons/{season}/groups/{own}/money/",
        "groups/{group}/programmes/",
        "groups/{group}/preparation/?first_calves=2028-03-01&protocol=cow_7d_cosynch_insert&carries=283",
        "seasons/{season}/groups/{own}/preparation/",
        "seasons/{season}/groups/{own}/after/",
        "seasons/{season}/groups/{own}/care/",
        "seasons/{season}/groups/{own}/items/boosters/",
        "seasons/{season}/costs/willow-draw/",
        "heat/ranches/willow-draw/",
        "heat/ranches/willow-draw/?from=2027-06-10&move_day=2027-06-12&move_from=12:00&move_to=16:00",
        "heat/ranches/willow-draw/file/",
    ],
    "technician": ["", "reminders/rules/same_day_change/", "week/{technician}/", "technicians/{technician}/"],
    "adviser": [
        "",
        "seasons/{season}/",
        "seasons/{season}/groups/{cows}/ready/?verdict=not_this_time",
        "seasons/{season}/groups/{heifers}/ready/",
        "seasons/{season}/groups/{cows}/ready/late/",
        "seasons/{season}/groups/{heifers}/ready/{heifer}/",
    ],
}


@pytest.mark.parametrize("role", list(PAGES))
def test_pages_fit_the_screen_and_everybody(browser: Browser, live_server: Any, season: Season, role: str) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, role, faults)
    person = Technician.objects.get(user__email="technician@demo.example")
    herd = Herd.objects.get(ranch__slug="willow-draw")
    female = Female.objects.filter(herd=herd)[0]
    Record.objects.create(female=female, kind="weight", day="2026-03-02", weight_kg=520)
    Record.objects.create(female=female, kind="hold", day="2026-03-02", reason="Lame")
    asked = list(Record.Kind.values)
    names = {
        "season": season.pk,
        "herd": herd.pk,
        "female": female.pk,
        "chute": ChuteDay.objects.create(herd=herd, day="2026-03-02", asked=asked, vaccines=["leptospira"]).pk,
        "upload": RecordUpload.objects.create(herd=herd, name="f.csv", table=[["Tag", "Weight"], ["101", "1150"]]).pk,
        "technician": person.pk,
        "entry": season.entries.all()[0].pk,
        "own": season.entries.filter(group__herd=herd)[0].pk,
        "group": herd.groups.all()[0].pk,
        "cows": season.entries.get(group__herd=herd, group__animal_class="cow").pk,
        "heifers": season.entries.get(group__herd=herd, group__animal_class="heifer").pk,
        "heifer": Female.objects.filter(herd=herd, animal_class="heifer")[0].pk,
    }
    for path in PAGES[role]:
        look(page, f"{live_server.url}/c/high-fork/{path.format(**names)}")
    assert faults == []


def test_a_coordinator_plans_with_progress_shown_and_moves_a_group(
    browser: Browser, live_server: Any, season: Season
) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, "coordinator", faults)
    page.goto(f"{live_server.url}/c/high-fork/seasons/{season.pk}/")
    page.get_by_role("button", name="Plan from scratch").click()
    page.get_by_text("Waiting to plan").wait_for()
    season.jobs.filter(state="queued").update(seconds=0.5)
    call_command("run_jobs", "--once")
    page.get_by_text("Plan 2, draft").wait_for(timeout=10_000)  # the page asks by itself and turns over
    page.get_by_label("AI on", exact=True).fill("2027-06-12")
    page.get_by_role("button", name="Move and see what breaks").click()
    page.get_by_text("clash").first.wait_for()
    assert page.get_by_role("button", name="Publish plan").count() == 0
    assert faults == []


def make_a_feed(page: Page, server: Any) -> None:
    """The page that shows a new feed's address, loaded to the end."""
    page.goto(f"{server.url}/c/high-fork/feeds/")
    page.get_by_label("Name it").fill("my phone")
    page.get_by_role("button", name="Make the feed").click()
    page.locator("#address").wait_for()
    page.wait_for_load_state("load")
    page.bring_to_front()  # a clipboard belongs to the page that has the focus


def test_a_feeds_address_is_shown_with_a_code_and_can_be_copied(
    browser: Browser, live_server: Any, season: Season
) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    make_a_feed(page, live_server)
    page.get_by_role("button", name="Copy the address").click()
    page.get_by_text("Copied.").wait_for()
    assert page.evaluate("navigator.clipboard.readText()") == page.locator("#address").input_value()
    assert page.get_by_role("img", name="QR code of the address").is_visible()
    look_wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert look_wide <= 0
    assert faults == []


OLD_WAY_GONE = "document.execCommand = undefined;"
REFUSES = OLD_WAY_GONE + "navigator.clipboard.writeText = () => Promise.reject(new Error('no'));"
HANGS = OLD_WAY_GONE + "navigator.clipboard.writeText = () => new Promise(() => {});"
MISSING = "document.execCommand = () => false; Object.defineProperty(navigator, 'clipboard', { value: undefined });"


@pytest.mark.parametrize("fault", [REFUSES, HANGS, MISSING], ids=["refuses", "hangs", "missing"])
def test_where_copying_is_refused_the_page_says_how_to_copy_by_hand(
    browser: Browser, live_server: Any, season: Season, fault: str
) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    make_a_feed(page, live_server)
    page.evaluate(f"() => {{ {fault} }}")
    page.get_by_role("button", name="Copy the address").click()
    page.get_by_text("Press long on the address and choose copy.").wait_for()
    assert faults == []


def test_without_its_script_the_page_offers_no_dead_button(browser: Browser, live_server: Any, season: Season) -> None:
    page = sign_in(browser, live_server, "rancher", [])
    page.route("**/calendars/copy*.js", lambda route: route.abort())
    make_a_feed(page, live_server)
    assert page.get_by_text("Press long on the address and choose copy.").is_visible()
    assert page.get_by_role("button", name="Copy the address").count() == 0


def test_the_newer_clipboard_is_used_where_the_old_way_is_gone(
    browser: Browser, live_server: Any, season: Season
) -> None:
    page = sign_in(browser, live_server, "rancher", [])
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    make_a_feed(page, live_server)
    page.evaluate(f"() => {{ {OLD_WAY_GONE} }}")
    page.get_by_role("button", name="Copy the address").click()
    page.get_by_text("Copied.").wait_for()
    assert page.evaluate("navigator.clipboard.readText()") == page.locator("#address").input_value()


def test_a_push_is_shown_by_the_worker_and_a_repeat_replaces_it(
    browser: Browser, live_server: Any, season: Season
) -> None:
    """The browser's own tools deliver the push; a push service of the net is not asked."""
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    page.context.grant_permissions(["notifications"], origin=live_server.url)
    page.goto(f"{live_server.url}/c/high-fork/reminders/channels/")
    devtools, found = page.context.new_cdp_session(page), list[dict[str, Any]]()
    devtools.on("ServiceWorker.workerRegistrationUpdated", lambda event: found.extend(event["registrations"]))
    devtools.send("ServiceWorker.enable")
    page.evaluate(
        "navigator.serviceWorker.register('/push-worker.js').then(() => navigator.serviceWorker.ready).then(() => 1)"
    )
    for body in ("Moved to 17:00", "Moved to 17:00, again"):
        data = {"title": "Changed", "body": body, "tag": "key-1", "link": "/", "seen": "/seen/x/"}
        devtools.send(
            "ServiceWorker.deliverPushMessage",
            {"origin": live_server.url, "registrationId": found[0]["registrationId"], "data": json.dumps(data)},
        )
        page.wait_for_timeout(500)
    shown = page.evaluate(
        "navigator.serviceWorker.ready.then(worker => worker.getNotifications())"
        ".then(all => all.map(one => [one.title, one.body, one.actions.map(action => action.action)]))"
    )
    assert shown == [["Changed", "Moved to 17:00, again", ["seen"]]]


def test_an_invitation_is_answered_from_a_phone_without_signing_in(
    browser: Browser, live_server: Any, season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_still(monkeypatch, datetime(2027, 4, 1, 15, tzinfo=UTC))
    sweep(now=timezone.now())
    asked = Attendance.objects.filter(cooperative=season.cooperative).order_by("starts")[0]
    address = answer_link(asked).replace("http://localhost:8000", live_server.url)
    faults: list[str] = []
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    look(page, address)
    page.get_by_role("button", name="Accept").click()
    page.get_by_text("Written down: accepted.").wait_for()
    asked.refresh_from_db()
    assert asked.answer == "accepted"
    assert faults == []


def test_touch_targets_are_large_enough_for_gloves(browser: Browser, live_server: Any, season: Season) -> None:
    page = sign_in(browser, live_server, "rancher", [])
    sizes = page.evaluate(
        "[...document.querySelectorAll('.btn, .nav a, input:not([type=hidden]), select')].map(e => e.getBoundingClientRect().height)"
    )
    assert len(sizes) > 5
    assert min(sizes) >= 48


def test_an_animal_is_typed_at_the_chute_with_large_keys_and_asked_back(
    browser: Browser, live_server: Any, season: Season
) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    herd = Herd.objects.get(ranch__slug="willow-draw")
    page.goto(f"{live_server.url}/c/high-fork/herds/{herd.pk}/chute/")
    page.get_by_label("Tract score (1 to 5)").check()
    page.get_by_role("button", name="Begin").click()
    page.get_by_label("Find by tag").fill("702")
    page.get_by_role("button", name="Find").click()
    sizes = page.evaluate(
        "[...document.querySelectorAll('.keys label, .btn, input.figure')].map(e => e.getBoundingClientRect().height)"
    )
    assert len(sizes) > 15
    assert min(sizes) >= 48
    page.get_by_label("Weight, lb", exact=True).fill("1500")
    page.get_by_role("group", name="Tract score").get_by_text("4", exact=True).click()
    page.get_by_role("button", name="Save and next").click()
    page.get_by_text("is unusual for a heifer").wait_for()
    look_wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert look_wide <= 0
    serious = [
        item["id"] for item in Axe().run(page).response["violations"] if item["impact"] in ("serious", "critical")
    ]
    assert serious == []
    assert page.get_by_label("Weight, lb", exact=True).input_value() == "1500"
    page.get_by_label("Weight, lb", exact=True).fill("600")
    page.get_by_role("button", name="Save and next").click()
    page.get_by_text("702 is saved.").wait_for()
    typed = Record.objects.filter(female__tag="702", day=ChuteDay.objects.get().day)
    assert sorted(typed.values_list("kind", flat=True)) == ["tract", "weight"]


def test_an_item_is_ticked_and_a_haul_is_warned_of_on_a_phone(
    browser: Browser, live_server: Any, season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_still(monkeypatch, datetime(2027, 4, 14, 15, tzinfo=UTC))
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    own = season.entries.filter(group__herd__ranch__slug="willow-draw", group__animal_class="cow")[0]
    group = f"{live_server.url}/c/high-fork/seasons/{season.pk}/groups/{own.pk}"
    page.goto(f"{group}/preparation/")
    page.get_by_role("button", name="Boosters, Home cows").click()
    page.get_by_text("Boosters, Home cows: done.").wait_for()
    page.goto(f"{group}/after/")
    sizes = page.evaluate("[...document.querySelectorAll('.btn, summary')].map(e => e.getBoundingClientRect().height)")
    assert min(sizes) >= 48
    ai = own.steps.get(key="ai", lot=0).starts
    page.get_by_role("link", name="Plan a haul or a feed change").click()
    page.get_by_label("On", exact=True).fill((ai + timedelta(days=20)).date().isoformat())
    page.get_by_label("From which place or feed").fill("home place")
    page.get_by_label("To which place or feed").fill("summer range")
    page.get_by_role("button", name="Check and keep").click()
    page.get_by_text("Read this first. Nothing is saved yet.").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    serious = [i["id"] for i in Axe().run(page).response["violations"] if i["impact"] in ("serious", "critical")]
    assert serious == []
    page.get_by_role("button", name="Keep it all the same").click()
    page.get_by_text("The move is kept").wait_for()
    assert (own.moves.get().goal, faults) == ("summer range", [])


def test_readiness_is_worked_through_on_a_phone(browser: Browser, live_server: Any, season: Season) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    page.get_by_role("link", name="Ready", exact=True).click()
    page.get_by_role("heading", name="Is the herd ready for").wait_for()
    page.get_by_role("link", name="Replacement heifers").click()
    page.get_by_role("heading", name="What to do by when").wait_for()
    sizes = page.evaluate(
        "[...document.querySelectorAll('.verdicts a, .btn, a.why')].map(e => e.getBoundingClientRect().height)"
    )
    assert len(sizes) > 10
    assert min(sizes) >= 48
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0
    page.get_by_role("navigation", name="Show the animals").get_by_role("link", name="Not this time").click()
    page.get_by_role("heading", name="1 of 48 females").wait_for()
    page.get_by_role("link", name="704", exact=True).click()
    page.get_by_text("She is under a health hold").wait_for()
    page.get_by_role("link", name=re.compile("Type it now.*Tract scores")).click()
    page.get_by_role("group", name="Tract score").get_by_text("4", exact=True).click()
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_role("link", name="Is she ready?").click()
    page.get_by_text("Tract score 4 on").wait_for()
    page.get_by_role("link", name="Why: tract scores").click()
    page.get_by_role("heading", name="If it is ignored").wait_for()
    assert faults == []


def test_the_clash_desk_and_a_replanning_fit_the_screen_and_everybody(
    browser: Browser, live_server: Any, season: Season
) -> None:
    plan = season.published_plan
    assert plan is not None
    days = {row["id"]: row["ai_day"] for row in plan.document["groups"]}
    entries = season.entries.select_related("group__herd__ranch", "season")
    entry = max(entries, key=lambda row: abs((date.fromisoformat(days[str(row.pk)]) - row.ai_wanted).days))
    now = timezone.now()
    open_case(member=coordinator(), season=season, entry=entry, now=now, rounds=3, seconds=None)
    call_command("run_jobs", "--once")
    ill = Technician.objects.get(user__email="technician@demo.example")
    first, last = date(2027, 5, 17), date(2027, 5, 23)
    happening = Happening("technician_ill", technician=ill, first_day=first, last_day=last)
    request_replanning(member=coordinator(), season=season, happening=happening, now=now, rounds=3)
    call_command("run_jobs", "--once")
    case = ClashCase.objects.get()
    remedy = case.remedies.filter(works=True, trial__isnull=False).order_by("trial__cost_total").first()
    assert remedy is not None
    choose_remedy(member=coordinator(), remedy=remedy, now=now)
    faults: list[str] = []
    page = sign_in(browser, live_server, "coordinator", faults)
    answer = ClashAnswer.objects.all()[0]
    for path in (
        f"seasons/{season.pk}/replan/",
        f"seasons/{season.pk}/replan/weather/",
        f"seasons/{season.pk}/replan/lost_slot/",
        f"replannings/{Replanning.objects.get().pk}/",
        f"seasons/{season.pk}/clashes/?days=1",
        f"clashes/{case.pk}/",
        "asked/",
        f"asked/{answer.pk}/",
        "shares/",
        "holidays/",
    ):
        look(page, f"{live_server.url}/c/high-fork/{path}")
    assert page.get_by_role("heading", name="Holidays").is_visible()
    assert faults == []


def test_a_tick_without_signal_is_kept_on_the_phone_and_sent_later(
    browser: Browser, live_server: Any, season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    step = PlannedStep.objects.filter(entry__season=season, ranch__slug="willow-draw", key="gnrh1").first()
    assert step is not None
    now = timezone.now().replace(second=0, microsecond=0)
    PlannedStep.objects.filter(entry=step.entry, key__in=("gnrh1", "in")).update(
        starts=now - timedelta(hours=3), ends=now - timedelta(hours=2)
    )
    page.goto(f"{live_server.url}/c/high-fork/")
    page.context.set_offline(True)
    page.locator(f"a[href*='{step.pk}']").first.click()
    page.get_by_label("No signal. Begun at").wait_for()
    page.get_by_role("button", name="It is done").click()
    page.get_by_text("is kept on this phone").wait_for()
    assert not StepRecord.objects.exists()
    page.context.set_offline(False)  # the page hears that there is signal again and sends by itself
    page.get_by_text("Sent now").wait_for()
    record = StepRecord.objects.get(entry=step.entry, step="gnrh1")
    assert abs(record.at - now) < timedelta(minutes=3)
    assert page.evaluate("localStorage.getItem('herdplan-kept')") == "[]"
    page.goto(f"{live_server.url}/c/high-fork/")
    page.get_by_text("Ticked off. Later plans keep this step").wait_for()
