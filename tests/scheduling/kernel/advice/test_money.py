"""Money: the published examples that reproduce, those that do not with why, and sums exact to the cent."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.kernel.advice.after_ai import bulls_needed, open_after_ai
from scheduling.kernel.advice.money import (
    Assumptions,
    Bull,
    Line,
    PartialBudget,
    Programme,
    Side,
    ai_against_bulls,
    between_programmes,
    cents,
    cost_per_pregnancy,
    earlier_calves_value,
    likely_range,
    pregnancy_cost_spread,
    sensitivity,
)
from scheduling.kernel.advice.sharing import Member, SharedCost, SplitRule, split, split_by_rule, statements
from scheduling.kernel.reader import ReadError

# --- published examples that reproduce ---


def test_cost_of_an_ai_pregnancy() -> None:
    """45 to 50 a head: 90 to 100 at 50 %, 75 to 83 at 60 % ("How does the cost of AI compare to natural service?", 2012)."""
    assert cost_per_pregnancy(D(45), D("0.5")) == 90
    assert cost_per_pregnancy(D(50), D("0.5")) == 100
    assert cost_per_pregnancy(D(45), D("0.6")) == 75
    assert cents(cost_per_pregnancy(D(50), D("0.6"))) == D("83.33")


def test_hundred_cows_partial_budget() -> None:
    """ "Cost vs benefits of synchronization", University of Kentucky, trial of 1998: 9 more calves of 500 lb at 0.80 and 23 earlier
    by 30 lb are 4,152; cost 2,897; net 1,255, 12.55 a cow."""
    budget = PartialBudget(
        (
            Line(Side.ADDED_RETURN, "More calves", D(9) * 500 * D("0.80")),
            Line(Side.ADDED_RETURN, "Earlier calves", D(23) * 30 * D("0.80")),
            Line(Side.ADDED_COST, "Synchronization and AI", D(2897)),
        )
    )
    assert budget.total(Side.ADDED_RETURN) == 4152
    assert budget.net == 1255
    assert budget.net / 100 == D("12.55")


def test_small_published_sums() -> None:
    """30 lb at 1.43: 43 a calf ("How many bulls when synchronizing with natural service?", SDSU, 2020). An infertile bull on 20 cows,
    500 lb at 1.50 to 1.65: 15,000 to 16,500 ("Breeding soundness exams: making dollars and sense", SDSU, 2013). 50 by bull against 65
    to 75 by AI: AI adds 15 to 25 ("Does AI cost or pay?", University of Kentucky, 2011)."""
    assert cents(30 * D("1.43")) == D("42.90")
    assert [20 * 500 * D(price) for price in ("1.50", "1.65")] == [15_000, 16_500]
    assert [D(cost) - 50 for cost in (65, 75)] == [15, 25]


def test_a_herd_plan_end_to_end() -> None:
    """Worked out from the two sheets above: 100 cows at 45 are 4,500; 60 AI pregnancies at 75 each; 40 open need 2 bulls at 1,733.33;
    7,966.67 in all; 86.59 a pregnancy at 92 % (86.60 when the total is rounded to 7,967 first)."""
    ai = 100 * D(45)
    assert ai / 60 == 75
    bulls = bulls_needed(open_after_ai(100, 0.6), 20)
    total = ai + bulls * WYOMING.a_year
    assert bulls == 2
    assert cents(total) == D("7966.67")
    assert cents(total / 92) == D("86.59")
    assert cents(D(7967) / 92) == D("86.60")


def test_earlier_calves_against_other_sheets() -> None:
    """2.4 lb a day (Range Beef Cow Symposium XXI, 2009): 10 to 17 days older is 24 to 41 lb, inside the printed 20 to 44 lb ("Costs of
    siring calves", Beef Cattle Research Council, 2015); 21 days is 50.4 lb, against 35 to 50 lb ("Value of AI", Idaho, 2020): the
    printed top is missed by 0.4 lb."""
    pounds = [earlier_calves_value(D(1), D(days), D(1)) for days in (10, 17, 21)]
    assert pounds == [D("24.0"), D("40.8"), D("50.4")]


# --- published examples that do not reproduce, and why ---

WYOMING = Bull(price=D(5000), salvage=D(1000), years=3, yearly=D(400))


def test_bull_of_5000_is_printed_otherwise() -> None:
    """ "Bulls vs AI: the Cost Side", University of Wyoming Extension, about 2013, prints "1,300 a year", "approaching 2,000", 100 for 20
    cows and 66 for 30. Its inputs give 1,333.33 of depreciation, 1,733.33 a year, 86.67 and 57.78: the sheet rounds to 2,000 a year
    first (2,000 / 20 = 100, 2,000 / 30 = 66.67, cut to 66)."""
    assert cents(replace(WYOMING, yearly=D(0)).a_year) == D("1333.33")
    assert cents(WYOMING.a_year) == D("1733.33")
    assert cents(WYOMING.per_female(20)) == D("86.67")
    assert cents(WYOMING.per_female(30)) == D("57.78")
    assert D(2000) / 20 == 100
    assert int(D(2000) / 30) == 66


def test_interest_is_on_the_mean_value() -> None:
    """By hand: 3,000 to 1,000 in 4 years is 500 a year, 8 % of 2,000 is 160, keep 100, 2 % death loss of 3,000 is 60: 820."""
    assert Bull(D(3000), D(1000), 4, D(100), D("0.08"), D("0.02")).a_year == 820


def test_bulls_of_2000_and_3000_are_printed_otherwise() -> None:
    """ "Bull cost per hundredweight", Texas A&M author, undated, prints 14.12 more for each calf (25 cows, 85 % weaned, 4 years, the same
    salvage, 8 % interest on the mean value) and 2.70 a hundredweight at 525 lb. The inputs give (250 + 40) / 21.25 = 13.65. 14.12 needs
    300 / 21.25: 10 a year more, such as 1 % death loss. 14.12 / 5.25 is 2.69, which is the printed 2.70 but for rounding."""
    cheap, dear = (Bull(D(price), D(1000), 4, D(0), D("0.08")) for price in (2000, 3000))
    more = (dear.a_year - cheap.a_year) / (25 * D("0.85"))
    assert cents(more) == D("13.65")
    cheap, dear = (replace(bull, death_loss=D("0.01")) for bull in (cheap, dear))
    assert cents((dear.a_year - cheap.a_year) / (25 * D("0.85"))) == D("14.12")
    assert cents(D("14.12") / D("5.25")) == D("2.69")


@pytest.mark.parametrize(
    ("bull", "females", "rate", "printed"),
    [
        # 8 cows, bull of 3,000, 3 seasons, 10 % death, 7 % interest, 85 % pregnant, keep "about 700", salvage not given: 185.67 a
        # pregnancy ("Resynchronization" and "But my bull doesn't cost me much", University of Kentucky, 2012 and undated).
        (Bull(D(3000), D(0), 3, D(700), D("0.07"), D("0.10")), 8, D("0.85"), D("185.67")),
        # Bull of 4,500, 25 cows a year: 63.14 a cow ("How much can you afford for a bull?", Texas A&M author, undated).
        (Bull(D(4500), D(0), 4, D(0)), 25, D(1), D("63.14")),
        # Bull of 4,000, 25 cows, 3 years: 60.06 a pregnancy ("AI can pay its way in beef herd", farm press, 2012).
        (Bull(D(4000), D(0), 3, D(0)), 25, D(1), D("60.06")),
    ],
)
def test_sheets_that_leave_inputs_out_cannot_be_reproduced(bull: Bull, females: int, rate: D, printed: D) -> None:
    """What is not printed (salvage, keep, interest) is set to nothing here: the answer differs from the print, and no choice is made
    to force it."""
    assert cents(bull.per_pregnancy(females, rate)) != printed


# --- terms: "Tally Time: measuring reproductive responses", Kansas State University column, undated ---


def test_rates_as_they_are_called() -> None:
    """100 treated, 90 in heat and bred, 54 pregnant: conception 60 %, pregnancy rate 54 %. Of three inseminated only 0, 33, 67 and 100 %
    are possible; one of 20 head is 5 points, one of 30 is 3.3."""
    assert D(54) / 90 == D("0.6")
    assert D(54) / 100 == D(90) / 100 * D(54) / 90
    assert [round(100 * k / 3) for k in range(4)] == [0, 33, 67, 100]
    assert (100 / 20, round(100 / 30, 1)) == (5, 3.3)


def test_small_groups_say_little() -> None:
    low, high = likely_range(0.55, 20)
    assert (round(low, 2), round(high, 2)) == (0.41, 0.68)
    assert likely_range(0.55, 2000)[1] - likely_range(0.55, 2000)[0] < 0.03
    assert 0 <= likely_range(0.0, 5)[0] <= likely_range(1.0, 5)[1] <= 1
    with pytest.raises(ReadError, match="head"):
        likely_range(0.5, 0)


# --- budgets and sensitivity ---

GIVEN = Assumptions(
    head=100,
    ai_cost_a_head=D(45),
    ai_rate=D("0.55"),
    season_rate_ai=D("0.92"),
    season_rate_bulls=D("0.90"),
    bull_a_year=cents(WYOMING.a_year),
    females_a_bull=D(25),
    open_a_bull=D(25),
    weaning_lb=D(500),
    price_a_lb=D("1.50"),
    days_older=D(10),
)


def test_ai_against_bulls_line_by_line() -> None:
    budget = ai_against_bulls(GIVEN)
    amounts = {line.words: (line.side, cents(line.amount)) for line in budget.lines}
    assert amounts["AI of 100 females"] == (Side.ADDED_COST, D("4500.00"))
    assert amounts["Bulls: 4 without AI, 2 with AI"] == (Side.REDUCED_COST, D("3466.66"))
    assert amounts["Calves more or fewer"] == (Side.ADDED_RETURN, D("1500.00"))
    assert amounts["AI calves older at weaning"] == (Side.ADDED_RETURN, D("1980.00"))
    assert budget.net == D("2446.66")


def test_more_bulls_or_fewer_calves_change_sides() -> None:
    worse = ai_against_bulls(replace(GIVEN, season_rate_ai=D("0.85"), open_a_bull=D(5)))
    assert worse.total(Side.REDUCED_RETURN) > 0
    assert worse.total(Side.REDUCED_COST) == 0


def test_one_programme_in_place_of_another() -> None:
    one, other = Programme("One", D(40), D("0.50")), Programme("Other", D(50), D("0.58"))
    assert between_programmes(100, one, other, D(200)).net == 600
    assert between_programmes(100, other, one, D(200)).net == -600


def test_the_assumption_that_decides_comes_first() -> None:
    rows = sensitivity(
        GIVEN,
        {
            "ai_rate": (D("0.40"), D("0.65")),
            "price_a_lb": (D("1.00"), D("2.00")),
            "ai_cost_a_head": (D(35), D(90)),
            "season_rate_bulls": (D("0.85"), D("0.95")),
        },
    )
    assert rows[0].field == "season_rate_bulls"
    assert [row.width for row in rows] == sorted((row.width for row in rows), reverse=True)
    cost = next(row for row in rows if row.field == "ai_cost_a_head")
    assert cost.turns_at is not None
    assert abs(cost.turns_at - D("69.4666")) < D("0.001")
    with pytest.raises(ReadError, match="moon"):
        sensitivity(GIVEN, {"moon": (D(0), D(1))})


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: replace(GIVEN, ai_rate=D(2)), "ai_rate"),
        (lambda: replace(GIVEN, ai_rate=D("0.95")), "season_rate_ai"),
        (lambda: replace(GIVEN, price_a_lb=D(-1)), "price_a_lb"),
        (lambda: replace(GIVEN, head=0), "head"),
        (lambda: replace(WYOMING, years=0), "years"),
        (lambda: replace(WYOMING, salvage=D(6000)), "salvage"),
        (lambda: replace(WYOMING, interest=D(2)), "interest"),
        (lambda: cost_per_pregnancy(D(45), D(0)), "rate"),
        (lambda: cost_per_pregnancy(D(-1), D(1)), "cost_a_head"),
        (lambda: WYOMING.per_female(0), "females"),
        (lambda: pregnancy_cost_spread(D(45), 0.6, 0.5, 0.7), "low"),
        (lambda: split(D("0.005"), {"a": D(1)}), "amount"),
        (lambda: split(D(1), {}), "members"),
        (lambda: split_by_rule(D(1), SplitRule.HEAD, [Member("a", 1), Member("a", 2)]), "members"),
        (lambda: statements([Member("a", 1)], [SharedCost("x", D(1), SplitRule.EQUAL, ("b",))]), "members"),
    ],
)
def test_what_cannot_be_is_refused_by_field(make: Callable[[], object], field: str) -> None:
    with pytest.raises(ReadError) as fault:
        make()
    assert fault.value.field == field


RATES = st.integers(1, 100).map(lambda n: D(n) / 100)


@given(st.decimals(1, 500, places=2), RATES, RATES)
def test_cost_of_a_pregnancy_falls_as_the_rate_rises(cost: D, one: D, other: D) -> None:
    low, high = sorted((one, other))
    assert cost_per_pregnancy(cost, high) <= cost_per_pregnancy(cost, low)
    if low != high:
        assert cost_per_pregnancy(cost, high) < cost_per_pregnancy(cost, low)


@given(st.decimals(0, 500, places=2), st.lists(st.integers(1, 100), min_size=3, max_size=3))
def test_the_spread_is_in_order(cost: D, percents: list[int]) -> None:
    spread = pregnancy_cost_spread(cost, *(p / 100 for p in sorted(percents)))
    assert spread.cheapest <= spread.middle <= spread.dearest


# --- sharing ---


def test_a_technician_day_of_three_ranches() -> None:
    members = [Member("A", 120, D(30)), Member("B", 80, D(10)), Member("C", 60, D(0))]
    assert split_by_rule(D("300.00"), SplitRule.EQUAL, members) == {"A": D(100), "B": D(100), "C": D(100)}
    by_head = split_by_rule(D("300.00"), SplitRule.HEAD, members)
    assert by_head == {"A": D("138.46"), "B": D("92.31"), "C": D("69.23")}
    assert split_by_rule(D("100.00"), SplitRule.KM, members) == {"A": D(75), "B": D(25), "C": D(0)}
    half = split_by_rule(D("300.00"), SplitRule.HALF, members)
    assert half == {"A": D("119.23"), "B": D("96.15"), "C": D("84.62")}


def test_cents_left_over_go_to_the_largest_remainders() -> None:
    assert split(D("0.02"), {"a": D(1), "b": D(1), "c": D(1)}) == {"a": D("0.01"), "b": D("0.01"), "c": D("0.00")}
    assert split(D("1.00"), {"a": D(0), "b": D(0)}) == {"a": D("0.50"), "b": D("0.50")}


def test_statements_add_up_to_the_whole() -> None:
    members = [Member("A", 121), Member("B", 79), Member("C", 60)]
    shared = [
        SharedCost("Technician day", D("333.33"), SplitRule.HEAD),
        SharedCost("Barn", D("75.01"), SplitRule.HALF, ("A", "C")),
    ]
    rows = statements(members, shared, {"A": [("Semen", D("3025.00"))]})
    assert sum((row.total for row in rows), D(0)) == D("3433.34")
    assert [share.words for share in rows[1].shares] == ["Technician day"]
    assert rows[0].own[0] == ("Semen", D("3025.00"))


@given(
    st.decimals(0, 100_000, places=2),
    st.sampled_from(SplitRule),
    st.lists(st.tuples(st.integers(0, 2_000), st.integers(0, 500)), min_size=1, max_size=20),
)
def test_every_split_adds_up_and_is_fair_to_a_cent(amount: D, rule: SplitRule, ranches: list[tuple[int, int]]) -> None:
    members = [Member(f"R{i:02}", head, D(km)) for i, (head, km) in enumerate(ranches)]
    parts = split_by_rule(amount, rule, members)
    assert sum(parts.values(), D(0)) == amount
    assert all(part >= 0 and part == cents(part) for part in parts.values())
    whole = sum(member.head for member in members)
    if rule is SplitRule.HEAD and whole > 0:
        assert all(abs(parts[m.id] - amount * m.head / whole) < D("0.01") + D("1e-20") for m in members)
