"""Published schedules and rules against the timetable. Every row names where it was printed."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.throughput import Pace, interval_range, spread_h
from scheduling.kernel.timetable import TimedStep, from_ai, from_start, timetable

DENVER = ZoneInfo("America/Denver")
START = datetime(2027, 5, 3, 8, 0, tzinfo=DENVER)

SDSU_2020 = "2020 Beef Heifer Synchronization Protocol, South Dakota State University Extension, 2020"
KAES_2018 = "Split-time AI in suckled beef cows, Kansas Agricultural Experiment Station Research Reports 4(2), 2018"
DELAYED_2014 = "Delayed insemination of nonestrous heifers and cows, ASAS annual meeting abstract, 2014"
SPLIT_2017 = "Split-time AI in beef cattle II, Theriogenology, about 2017"
SEVEN_2021 = "7 & 7 Synch compared with 7-day CO-Synch + insert, n=1,538 cows, Theriogenology, about 2021"
EIGHT_2023 = "Time of estrus and FTAI of sex-sorted semen, 7&7 v. 8&6 Synch, University of Arkansas, about 2023"
PRESYNCH_2020 = (
    "Presynchronization with PGF2a and prolonged exposure to progesterone, Journal of Animal Science, about 2020"
)
FIVE_2016 = "Efficacy of the 5-day CO-Synch protocol in beef cows, Professional Animal Scientist 32:82-89, 2016"
MGA_2004 = "MGA-PGF2a, Select Synch and MGA-Select Synch in heifers, Professional Animal Scientist 20:384-387, 2004"
COUNT_BACK = "Estrus synchronization program for heifers (count-back sheet), a farm-supply cooperative, undated"
NEBRASKA_2017 = "Timed AI can pay off, trade press on a Nebraska study of 971 heifers, about 2017"
LABEL_INSERT = "21 CFR 529.1940 Progesterone intravaginal inserts, US Code of Federal Regulations, undated copy"
LABEL_PG = "21 CFR 522.460 Cloprostenol, US Code of Federal Regulations, undated copy"
BOS_INDICUS = "FTAI in Bos indicus-influenced beef cows, Texas A&M University, about 2019-20"
NATURAL_2025 = "Estrous synchronization with natural service, North Dakota State University Extension, 2025"
INSERT_30 = "Comparison of long-term progestin-based protocols, Nebraska Beef Cattle Report, 2014"


def steps(protocol: str, start: datetime = START) -> dict[str, TimedStep]:
    """The protocol's steps by key."""
    return {item.step.key: item for item in from_start(load_catalogue().protocols[protocol], start, DENVER)}


# protocol, from step, to step, whole days between (None: hours count), elapsed hours between, where it is printed
GAPS = [
    ("cow_7d_cosynch_insert", "in", "out", 7, None, KAES_2018),
    ("cow_7d_cosynch_insert", "out", "pg", 0, None, KAES_2018),
    ("heifer_7d_cosynch_insert", "pg", "ai", None, 54, PRESYNCH_2020),
    ("heifer_14d_insert_pg_ftai", "in", "out", 14, None, DELAYED_2014),
    ("heifer_14d_insert_pg_ftai", "out", "pg", 16, None, DELAYED_2014),
    ("heifer_14d_insert_pg_ftai", "in", "pg", 30, None, INSERT_30),
    ("heifer_14d_insert_pg_ftai", "pg", "ai", None, 66, SPLIT_2017),
    ("heifer_14d_insert_pg_split", "pg", "ai1", None, 66, SPLIT_2017),
    ("heifer_14d_insert_pg_split", "pg", "ai2", None, 90, SPLIT_2017),
    ("heifer_14d_insert_pg_tai", "in", "ai", 33, None, SDSU_2020),
    ("cow_7_7_synch", "in", "gnrh1", 7, None, SEVEN_2021),
    ("cow_7_7_synch", "gnrh1", "out", 7, None, SEVEN_2021),
    ("cow_7_7_synch", "pg", "ai", None, 66, SEVEN_2021),
    ("cow_8_6_synch", "in", "gnrh1", 8, None, EIGHT_2023),
    ("cow_8_6_synch", "gnrh1", "out", 6, None, EIGHT_2023),
    ("heifer_pg_presynch_7d_cosynch_insert", "pg0", "in", 7, None, PRESYNCH_2020),
    ("heifer_pg_presynch_7d_cosynch_insert", "pg", "ai", None, 72, PRESYNCH_2020),
    ("cow_5d_cosynch_insert", "in", "out", 5, None, FIVE_2016),
    ("cow_5d_cosynch_insert", "out", "ai", None, 72, FIVE_2016),
    ("heifer_mga_pg_ftai", "mga_last", "pg", 19, None, MGA_2004),
    ("heifer_mga_pg_hd", "mga_start", "pg", 32, None, COUNT_BACK),
    ("heifer_mga_pg_ftai", "pg", "ai", None, 72, NEBRASKA_2017),
    ("label_insert_pg_d6", "in", "pg", 6, None, LABEL_INSERT),
    ("label_insert_pg_d6", "in", "out", 7, None, LABEL_INSERT),
    ("cow_2shot_pg", "pg1", "pg", 11, None, LABEL_PG),
    ("bi_cow_pg_5d_cosynch_insert", "in", "out", 5, None, BOS_INDICUS),
    ("bi_cow_pg_5d_cosynch_insert", "pg", "ai", None, 66, BOS_INDICUS),
    ("ns_14d_insert", "out", "bulls", 14, None, NATURAL_2025),
]


@pytest.mark.parametrize(("protocol", "first", "second", "days", "hours", "source"), GAPS)
def test_a_published_gap(
    protocol: str, first: str, second: str, days: int | None, hours: float | None, source: str
) -> None:
    placed = steps(protocol)
    one, other = placed[first].at, placed[second].at
    if days is not None:
        assert (other.date() - one.date()).days == days, source
    if hours is not None:
        assert (other - one) == timedelta(hours=hours), source  # no clock change in May


def test_published_windows() -> None:
    """60-66 h for cows ({KAES_2018}); 54 +/- 2 h for heifers ({PRESYNCH_2020}); 66 +/- 2 h for 7 & 7 ({EIGHT_2023})."""
    expected = {"cow_7d_cosynch_insert": (60, 66), "heifer_7d_cosynch_insert": (52, 56), "cow_7_7_synch": (64, 68)}
    for protocol, (low, high) in expected.items():
        ai, pg = steps(protocol)["ai"], steps(protocol)["pg"]
        assert ai.earliest - pg.at == timedelta(hours=low)
        assert ai.latest - pg.at == timedelta(hours=high)


# Interval from the hour of PG to the AI hour: day and clock, plain addition (checked by hand).
CLOCK = [
    (54, 6, 2, 12),
    (54, 12, 2, 18),
    (60, 18, 3, 6),
    (63, 16, 3, 7),
    (66, 12, 3, 6),
    (66, 16, 3, 10),
    (72, 8, 3, 8),
]


@pytest.mark.parametrize(("hours", "pulled", "days", "clock"), CLOCK)
def test_the_hour_of_pg_fixes_the_hour_of_ai(hours: int, pulled: int, days: int, clock: int) -> None:
    pg = datetime(2027, 5, 7, pulled, tzinfo=DENVER)
    ai = pg + timedelta(hours=hours)
    protocol = {
        54: "heifer_7d_cosynch_insert",
        60: "heifer_5d_cosynch_insert",
        63: "cow_7d_cosynch_insert",
        66: "cow_7_7_synch",
        72: "cow_5d_cosynch_insert",
    }[hours]
    placed = {item.step.key: item for item in from_ai(load_catalogue().protocols[protocol], ai, DENVER)}
    assert placed["pg"].at == pg
    assert (placed["ai"].at.date() - placed["pg"].at.date()).days == days
    assert placed["ai"].at.hour == clock


# Worked rows of window arithmetic: head, AI rate, treatment rate, drift in order, spread in any order, in hours. The
# formulae are those of the season contract; the rows were worked by hand.
ROWS = [
    (120, 25, 60, 2.8, 6.8),
    (80, 25, 60, 1.9, 4.5),
    (150, 25, 60, 3.5, 8.5),
    (150, 50, 60, 0.5, 5.5),
    (60, 25, 60, 1.4, 3.4),
]


@pytest.mark.parametrize(("head", "ai", "treat", "drift", "spread"), ROWS)
def test_window_arithmetic(head: int, ai: float, treat: float, drift: float, spread: float) -> None:
    assert spread_h(head + 1, Pace(treat, ai, True)) == pytest.approx(drift, abs=0.051)
    assert spread_h(head + 1, Pace(treat, ai, False)) == pytest.approx(spread, abs=0.051)
    low, high = interval_range(head, 60, Pace(treat, ai, True))
    assert high - low == pytest.approx(drift, abs=0.06)


def test_a_hundred_and_twenty_cows_fit_in_order_and_not_in_any_order() -> None:
    protocol = load_catalogue().protocols["cow_7d_cosynch_insert"]
    ai = datetime(2027, 5, 10, 8, tzinfo=DENVER)
    kept = timetable(protocol, DENVER, ai=ai, head=120, pace=Pace(60, 25, True))
    loose = timetable(protocol, DENVER, ai=ai, head=120, pace=Pace(60, 25, False))
    assert len(kept.lots) == 1
    assert len(loose.lots) == 2
    assert "long_session" in {item.code for item in kept.warnings}  # 4.8 h
