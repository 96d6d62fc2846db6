"""Prices, budgets and statements over HTTP: typed prices are used everywhere, and what is shared adds up to the cent."""

import csv
import io
from decimal import Decimal as D

import pytest
from django.test import Client

from accounts.permissions import Role
from scheduling.kernel.advice.money import Bull, cents
from scheduling.models import CoopPrices, PlanVersion, SeasonEntry
from scheduling.services import publish
from scheduling.services.prices import KM_PER_MILE, kept_road, shown_road
from scheduling.services.statements import season_costs
from tests.factories.demo import published_demo
from tests.factories.pages import signed_in, text
from tests.factories.people import make_person
from tests.factories.plans import NOW, Scene, planned

pytestmark = pytest.mark.django_db
RULES = {"technician_day_by": "head", "km_by": "km", "barn_by": "half"}


# --- prices ---


def test_defaults_are_shown_with_their_year_and_replaced_by_what_is_typed(scene: Scene) -> None:
    boss = signed_in(scene.coordinator.user)
    said = text(boss.get("/c/north/prices/"))
    assert (
        'Left empty: 14.00: "Natural Service vs Artificial Insemination", Ohio State University Extension, 2020.'
        in said
    )
    assert "Left empty: nothing is charged." in said
    values = {"currency": "$", "insert": "11.5", "semen": "18", "technician_day": "300", "km": "0.67", **RULES}
    assert "The prices are saved." in text(boss.post("/c/north/prices/", values, follow=True))
    row = CoopPrices.objects.get()
    assert (row.insert, row.semen, row.technician_day, row.gnrh) == (D("11.5"), D(18), D(300), None)
    assert 'value="0.67"' in boss.get("/c/north/prices/").content.decode()
    seen = text(signed_in(scene.rancher.user).get("/c/north/prices/"))
    assert "$11.50 typed by the co-op" in seen
    assert "$0.67 typed by the co-op" in seen
    chooser = f"/c/north/seasons/{scene.season.pk}/groups/{scene.willow.pk}/programmes/"
    card = text(signed_in(scene.rancher.user).get(chooser))
    assert "Progesterone insert: 1 × 11.50 = $11.50" in card
    assert "typed by your co-op" in card


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"insert": "-1"}, "greater than or equal to 0"),
        ({"semen": "dear"}, "Enter a number"),
        ({"pg": "1.23456"}, "no more than 4 decimal places"),
        ({"currency": ""}, "This field is required"),
        ({"km_by": "moon"}, "Select a valid choice"),
        ({"barn_by": "km"}, "Select a valid choice"),
        ({"hour": "1e9"}, "less than or equal to 100000"),
    ],
)
def test_prices_that_cannot_be_are_refused_by_field_and_nothing_is_saved(
    scene: Scene, change: dict[str, str], words: str
) -> None:
    answer = signed_in(scene.coordinator.user).post("/c/north/prices/", {"currency": "$", **RULES, **change})
    assert words in text(answer)
    assert not CoopPrices.objects.exists()


def test_only_the_coordinator_sets_prices(scene: Scene) -> None:
    for user, seen in (
        (scene.rancher.user, 200),
        (make_person(scene.coop, Role.ADVISER), 200),
        (scene.technician.user, 403),
    ):
        assert signed_in(user).get("/c/north/prices/").status_code == seen
        assert signed_in(user).post("/c/north/prices/", {"currency": "$", **RULES}).status_code == 403


def test_the_price_of_the_road_comes_back_as_typed(scene: Scene) -> None:
    user = scene.coordinator.user
    for unit in ("mi", "km"):
        user.distance_unit = unit
        for typed in ("0.67", "1.05", "0.0001", "12.3456"):
            assert shown_road(kept_road(D(typed), user), user) == D(typed)
    assert D("1.609344") == KM_PER_MILE  # "International yard and pound agreement", 1959


# --- statements ---


def statement_parts(client: Client, scene: Scene, slug: str) -> list[list[str]]:
    """The rows of a ranch's sheet."""
    answer = client.get(f"/c/north/seasons/{scene.season.pk}/costs/{slug}/sheet.csv")
    assert answer.status_code == 200
    return list(csv.reader(io.StringIO(answer.content.decode())))


def test_two_ranches_share_to_the_cent(published: Scene) -> None:
    CoopPrices.objects.create(
        cooperative=published.coop, technician_day=D("100.01"), km=D("0.333"), technician_head=D("4.25")
    )
    boss = signed_in(published.coordinator.user)
    sheets = {ranch.slug: statement_parts(boss, published, ranch.slug) for ranch in (published.home, published.away)}
    totals = {slug: D(rows[-1][-1]) for slug, rows in sheets.items()}
    for slug, rows in sheets.items():
        assert sum(D(row[-1]) for row in rows[1:-1]) == totals[slug]
    plan = published.season.published_plan
    assert plan is not None
    days = plan.document["days"]
    shared = sum((cents(D("100.01")) + cents(D(str(day["km"])) * D("0.333")) for day in days), D(0))
    assert sum(totals.values()) == shared + 110 * D("4.25")  # 60 and 50 head
    said = text(boss.get(f"/c/north/seasons/{published.season.pk}/costs/"))
    assert "the statements add up to the cent" in said
    assert f"${sum(totals.values()):,.2f}" in said


def one_day(scene: Scene) -> PlanVersion:
    """A plan by hand: Ann does both groups on one day, 120.5 km in all."""
    found = planned(scene)
    ann = str(scene.ann.pk)
    visits = [
        {
            "technician": ann,
            "group": str(entry.pk),
            "lot": 0,
            "step": "ai",
            "start": start,
            "end": end,
            "head": head,
            "barn": None,
        }
        for entry, start, end, head in (
            (scene.willow, "2027-05-10T08:00-06:00", "2027-05-10T10:24-06:00", 60),
            (scene.birch, "2027-05-10T12:00-06:00", "2027-05-10T14:00-06:00", 50),
        )
    ]
    found.document["visits"] = visits
    found.document["days"] = [{"technician": ann, "day": "2027-05-10", "leaves": "", "back": "", "km": 120.5}]
    return found


@pytest.mark.parametrize(
    ("rule", "willow", "birch"), [("head", "60", "50"), ("equal", "55", "55"), ("half", "57.50", "52.50")]
)
def test_a_technicians_day_is_split_by_the_rule(scene: Scene, rule: str, willow: str, birch: str) -> None:
    """Head 60 and 50 on one day of 110.00, worked out by hand."""
    prices = CoopPrices(cooperative=scene.coop, technician_day=D(110), technician_day_by=rule)
    found = season_costs(one_day(scene), prices, "mi")
    assert {row.name: row.total for row in found.statements} == {"Willow Draw": D(willow), "Birch Flat": D(birch)}
    assert found.whole == 110


def test_the_road_is_split_by_the_way_to_each_ranch(scene: Scene) -> None:
    """Ann's base is 45.0, -103.6: Willow Draw (44.9, -103.8) lies 19.3 km off as the crow flies, Birch Flat (44.7, -103.5) 34.3 km
    (great circle, worked out); of 120.50 that is 43.4 and 77.1, to a few cents by the rounding of these."""
    prices = CoopPrices(cooperative=scene.coop, km=D(1), km_by="km")
    found = season_costs(one_day(scene), prices, "km")
    totals = {row.name: row.total for row in found.statements}
    assert abs(totals["Willow Draw"] - D("43.4")) < D("0.15")
    assert sum(totals.values()) == found.whole == D("120.50")
    assert [item.words for item in found.statements[0].items] == ["Ann's road, 120 km"]


def test_a_split_time_lot_pays_for_each_animal_once_and_barns_are_shared() -> None:
    season = published_demo(rounds=0)
    plan = season.published_plan
    assert plan is not None
    prices = CoopPrices(
        cooperative=season.cooperative, technician_head=D(1), barn_day=D("33.33"), technician_visit=D("7.77")
    )
    found = season_costs(plan, prices, "km")
    by_technician = [row for row in plan.problem["groups"] if row["ai_by"] == "technician"]
    placed = {row["id"] for row in plan.document["groups"]}
    heads = sum(row["head"] for row in by_technician if row["id"] in placed)
    assert sum(row.head for row in found.statements) == heads
    fees = sum((item.part for row in found.statements for item in row.items if "fee" in item.words), D(0))
    assert fees == heads
    barns = [item for row in found.statements for item in row.items if "barn" in item.words]
    assert bool(barns) == any(visit["barn"] for visit in plan.document["visits"])
    assert found.whole == found.parts


def test_a_rancher_sees_her_own_statement_only(published: Scene) -> None:
    CoopPrices.objects.create(cooperative=published.coop, technician_day=D(300))
    base = f"/c/north/seasons/{published.season.pk}/costs/"
    rancher = signed_in(published.rancher.user)
    said = text(rancher.get(base))
    assert "Willow Draw" in said
    assert "Birch Flat" not in said
    assert rancher.get(f"{base}{published.home.slug}/").status_code == 200
    for path in (f"{base}{published.away.slug}/", f"{base}{published.away.slug}/sheet.csv"):
        assert rancher.get(path).status_code == 404
        assert signed_in(published.stranger).get(path).status_code == 404
    assert signed_in(published.technician.user).get(base).status_code == 403
    both = make_person(published.coop, Role.RANCHER, Role.TECHNICIAN)
    assert signed_in(both).get(f"{base}{published.away.slug}/").status_code == 404
    own = text(rancher.get(f"{base}{published.home.slug}/"))
    assert "This ranch pays $" in own
    assert "Save as a sheet" in own


def test_without_prices_or_plan_the_page_says_what_to_do(scene: Scene) -> None:
    base = f"/c/north/seasons/{scene.season.pk}/costs/"
    boss = signed_in(scene.coordinator.user)
    assert "Nothing is published yet." in text(boss.get(base))
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    assert "Set the prices" in text(boss.get(base))
    assert "Nothing to pay." in text(boss.get(f"{base}{scene.home.slug}/"))


def test_a_name_that_a_spreadsheet_would_run_is_harmless(published: Scene) -> None:
    plan = published.season.published_plan
    assert plan is not None
    for person in plan.problem["technicians"]:
        person["name"] = "=1+1"
    plan.save()
    CoopPrices.objects.create(cooperative=published.coop, technician_day=D(300), currency="=2")
    rows = statement_parts(signed_in(published.coordinator.user), published, published.home.slug)
    assert all(not cell.startswith("=") for row in rows for cell in row)


# --- budgets ---


def money_page(scene: Scene, entry: SeasonEntry | None = None) -> str:
    """The budget of an entry."""
    return f"/c/north/seasons/{scene.season.pk}/groups/{(entry or scene.willow).pk}/money/"


def asked(**change: str) -> dict[str, str]:
    """The form as a person fills it: 60 cows worked out by hand below."""
    values = {
        "protocol": "cow_7d_cosynch_insert",
        "semen": "conventional",
        "own_rate": "55",
        "season_rate_ai": "90",
        "season_rate_bulls": "90",
        "bull_price": "5000",
        "bull_salvage": "1000",
        "bull_years": "3",
        "bull_yearly": "400",
        "bull_interest": "0",
        "bull_death": "0",
        "females_a_bull": "20",
        "open_a_bull": "30",
        "weaning": "500",
        "calf_price": "1.50",
        "days_older": "10",
        "weaned": "100",
        "premium": "0",
    }
    return {**values, **change}


def test_the_budget_by_hand(scene: Scene) -> None:
    """60 cows at 54.11 (see the chooser's test) cost 3,246.60. Three bulls without AI, one for 27 open: two saved at 1,733.33 ("Bulls vs AI: the
    Cost Side", University of Wyoming Extension, about 2013: 5,000 to 1,000 in 3 years and 400) are 3,466.67. 33 AI calves 10 days
    older at 2.4 lb and 1.50 are 1,188.00. Left over 1,408.07 (3,466.67 + 1,188.00 - 3,246.60)."""
    said = text(signed_in(scene.rancher.user).get(money_page(scene), asked()))
    assert cents(Bull(D(5000), D(1000), 3, D(400)).a_year) == D("1733.33")
    assert "− $3,246.60" in said
    assert "+ $3,466.67" in said
    assert "+ $1,188.00" in said
    assert "$1,408.07" in said
    assert "1 clean-up bull for the 27 head expected open after AI; 3 bulls without AI" in said
    assert "AI earns about $1,408 more" in said


def test_units_change_nothing(scene: Scene) -> None:
    """500 lb is 226.796 kg and 1.50 a lb is 3.307 a kg ("International yard and pound agreement", 1959)."""
    user = scene.rancher.user
    user.weight_unit = "kg"
    user.save()
    page = signed_in(user).get(money_page(scene), asked(weaning="226.796", calf_price="3.307"))
    assert "Weaning weight of a calf, kg" in text(page)
    net = page.context["budget"].net
    assert abs(net - D("1408.07")) < D("0.10")


def test_defaults_carry_their_source_and_the_chart_says_what_decides(scene: Scene) -> None:
    page = signed_in(scene.rancher.user).get(money_page(scene))
    said = text(page)
    assert 'Default 5000: "Bulls vs AI: the Cost Side", University of Wyoming Extension, about 2013.' in said
    assert "Which assumption decides" in said
    budget = page.context["budget"]
    widths = [abs(bar.net_high - bar.net_low) for bar in budget.bars]
    assert widths == sorted(widths, reverse=True)
    assert all(0 <= bar.left <= bar.left + bar.width <= 1004 for bar in budget.bars)
    for bar in budget.bars:
        assert bar.decides == ((bar.net_low < 0) != (bar.net_high < 0))
    assert page.content.decode().count("<svg") == len(budget.bars)
    assert budget.rivals
    assert [row.net for row in budget.rivals] == sorted((row.net for row in budget.rivals), reverse=True)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bull_salvage": "6000"}, "from nothing to his price"),
        ({"season_rate_ai": "50"}, "at least the share pregnant to AI"),
        ({"own_rate": "101"}, "less than or equal to 100"),
        ({"protocol": "moon"}, "Select a valid choice"),
        ({"weaning": ""}, "This field is required"),
        ({"bull_years": "0"}, "at least 1"),
        ({"bull_years": "2.5"}, "no more than 0 decimal places"),
        ({"females_a_bull": "0"}, "above nothing"),
        ({"season_rate_bulls": "120"}, "a share from 0 to 1"),
        ({"bull_interest": "100"}, "shares from 0 to below 1"),
    ],
)
def test_figures_that_cannot_be_are_refused_by_field(scene: Scene, change: dict[str, str], words: str) -> None:
    page = signed_in(scene.rancher.user).get(money_page(scene), asked(**change))
    assert page.status_code == 200
    assert words in text(page)
    assert page.context["budget"] is None


def test_a_programme_without_a_rate_in_print_asks_for_yours(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    said = text(rancher.get(money_page(scene), asked(protocol="cow_8_6_synch", own_rate="")))
    assert "type the one that you expect" in said
    assert "AI earns" not in said
    scene.willow.protocol = "cow_8_6_synch"
    scene.willow.save()
    assert "type the one that you expect" in text(rancher.get(money_page(scene)))
    assert rancher.get(money_page(scene, scene.birch)).status_code == 404


def test_sexed_semen_costs_its_price(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    plain = rancher.get(money_page(scene), asked(protocol="cow_7d_cosynch_insert_sexed", semen="sex-sorted"))
    assert plain.context["budget"].cost_a_head == D("79.11")  # 25.00 more a straw than 54.11
