"""The pages in a real browser: nothing wider than the phone, nothing serious for accessibility, no console error."""

import os
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core.management import call_command
from playwright.sync_api import Browser, Page, sync_playwright

from accounts.models import User
from herdplan.herds.models import Herd
from herdplan.technicians.models import Technician
from scheduling.models import Season
from tests.factories.demo import published_demo

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
    """Open an address at both sizes and judge it."""
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        page.goto(address)
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
        "feeds/",
    ],
    "rancher": [
        "",
        "ranches/willow-draw/",
        "ranches/willow-draw/import/",
        "herds/{herd}/",
        "herds/{herd}/females/new/",
    ],
    "technician": ["", "week/{technician}/", "technicians/{technician}/"],
    "adviser": ["", "seasons/{season}/"],
}


@pytest.mark.parametrize("role", list(PAGES))
def test_pages_fit_the_screen_and_everybody(browser: Browser, live_server: Any, season: Season, role: str) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, role, faults)
    person = Technician.objects.get(user__email="technician@demo.example")
    names = {
        "season": season.pk,
        "herd": Herd.objects.get(ranch__slug="willow-draw").pk,
        "technician": person.pk,
        "entry": season.entries.all()[0].pk,
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


def test_a_feeds_address_is_shown_with_a_code_and_can_be_copied(
    browser: Browser, live_server: Any, season: Season
) -> None:
    faults: list[str] = []
    page = sign_in(browser, live_server, "rancher", faults)
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.goto(f"{live_server.url}/c/high-fork/feeds/")
    page.get_by_label("Name it").fill("my phone")
    page.get_by_role("button", name="Make the feed").click()
    page.get_by_role("button", name="Copy the address").click()
    page.get_by_text("Copied.").wait_for()
    assert page.evaluate("navigator.clipboard.readText()") == page.locator("#address").input_value()
    assert page.get_by_role("img", name="QR code of the address").is_visible()
    look_wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert look_wide <= 0
    assert faults == []


def test_touch_targets_are_large_enough_for_gloves(browser: Browser, live_server: Any, season: Season) -> None:
    page = sign_in(browser, live_server, "rancher", [])
    sizes = page.evaluate(
        "[...document.querySelectorAll('.btn, .nav a, input:not([type=hidden]), select')].map(e => e.getBoundingClientRect().height)"
    )
    assert len(sizes) > 5
    assert min(sizes) >= 48
