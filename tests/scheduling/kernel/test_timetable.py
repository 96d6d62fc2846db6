"""The timetable: daylight-saving changes, lots, warnings, properties."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.clock import at_local, hours_between
from scheduling.kernel.reader import ReadError
from scheduling.kernel.throughput import Pace, fewest_lots, gap_range, interval_range, largest_lot, spread_h
from scheduling.kernel.timetable import Surroundings, from_ai, from_start, timetable

CATALOGUE = load_catalogue().protocols
TIMED = sorted(key for key, protocol in CATALOGUE.items() if protocol.ai_steps)
ZONES = [
    "America/Denver",
    "America/Chicago",
    "America/Phoenix",
    "America/Regina",
    "Australia/Sydney",
    "Pacific/Auckland",
]


@pytest.mark.parametrize(
    ("zone", "pg", "ai"),
    [
        ("America/Denver", "2027-03-12T17:00", "2027-03-15T09:00"),  # spring forward on 14 March 2027
        ("America/Denver", "2027-11-05T17:00", "2027-11-08T07:00"),  # fall back on 7 November 2027
        ("Australia/Sydney", "2027-10-01T17:00", "2027-10-04T09:00"),  # spring forward on 3 October 2027
        ("America/Regina", "2027-03-12T17:00", "2027-03-15T08:00"),  # no change in Saskatchewan
    ],
)
def test_sixty_three_hours_are_counted_in_elapsed_time(zone: str, pg: str, ai: str) -> None:
    place = ZoneInfo(zone)
    start = datetime.fromisoformat(pg).replace(tzinfo=place) - timedelta(days=7)
    steps = {item.step.key: item for item in from_start(CATALOGUE["cow_7d_cosynch_insert"], start, place)}
    assert steps["pg"].at.replace(tzinfo=None) == datetime.fromisoformat(pg)
    assert steps["ai"].at.replace(tzinfo=None) == datetime.fromisoformat(ai)
    assert hours_between(steps["pg"].at, steps["ai"].at) == 63


def test_a_change_inside_the_interval_is_said() -> None:
    table = timetable(
        CATALOGUE["cow_7d_cosynch_insert"],
        ZoneInfo("America/Denver"),
        ai=datetime(2027, 3, 15, 9, tzinfo=ZoneInfo("America/Denver")),
    )
    assert "clock_change" in {item.code for item in table.warnings}


def test_a_time_that_the_spring_change_skips_becomes_the_same_instant() -> None:
    zone = ZoneInfo("America/Denver")
    moment = at_local(date(2027, 3, 14), time(2, 30), zone)
    assert moment.astimezone(timezone.utc) == datetime(2027, 3, 14, 9, 30, tzinfo=timezone.utc)
    assert moment.strftime("%H:%M") == "03:30"


def test_of_a_repeated_time_the_first_is_meant() -> None:
    moment = at_local(date(2027, 11, 7), time(1, 30), ZoneInfo("America/Denver"))
    assert moment.astimezone(timezone.utc) == datetime(2027, 11, 7, 7, 30, tzinfo=timezone.utc)


@given(
    st.sampled_from(TIMED),
    st.sampled_from(ZONES),
    st.datetimes(datetime(2026, 1, 1), datetime(2030, 12, 1), timezones=st.just(timezone.utc)),
)
def test_hour_rules_hold_across_any_change_of_clocks(protocol: str, zone: str, start: datetime) -> None:
    steps = from_start(CATALOGUE[protocol], start.replace(second=0, microsecond=0), ZoneInfo(zone))
    placed = {item.step.key: item for item in steps}
    for item in steps:
        if item.step.is_ai and item.step.after:
            anchor = placed[item.step.after.step].at.astimezone(timezone.utc)
            elapsed = (item.at.astimezone(timezone.utc) - anchor).total_seconds() / 3600
            assert elapsed == pytest.approx(item.step.after.target_h)
            assert item.earliest <= item.at <= item.latest


@given(st.sampled_from(TIMED), st.integers(0, 60 * 24 - 1), st.integers(1, 8))
def test_whole_weeks_without_a_clock_change_shift_everything_alike(protocol: str, minute: int, weeks: int) -> None:
    zone = ZoneInfo("America/Regina")
    start = datetime(2027, 4, 1, tzinfo=zone) + timedelta(minutes=minute)
    one = from_start(CATALOGUE[protocol], start, zone)
    other = from_start(CATALOGUE[protocol], start + timedelta(weeks=weeks), zone)
    assert [b.at - a.at for a, b in zip(one, other, strict=True)] == [timedelta(weeks=weeks)] * len(one)


@given(st.sampled_from(TIMED), st.integers(0, 60 * 24 - 1))
def test_counting_back_from_ai_and_forward_again_agree(protocol: str, minute: int) -> None:
    zone = ZoneInfo("America/Phoenix")
    ai = datetime(2027, 6, 1, tzinfo=zone) + timedelta(minutes=minute)
    back = from_ai(CATALOGUE[protocol], ai, zone)
    first_ai = next(item for item in back if item.step.is_ai)
    assert first_ai.at == ai
    forward = from_start(CATALOGUE[protocol], back[0].at, zone)
    assert [item.at for item in forward] == [item.at for item in back]


PACES = st.builds(Pace, st.floats(20, 120), st.floats(10, 100), st.booleans())


@given(st.integers(1, 600), PACES)
def test_every_animal_of_every_lot_stays_inside_the_window(head: int, pace: Pace) -> None:
    window = (60.0, 66.0)
    lots = fewest_lots(head, window, pace)
    assert sum(lots) == head
    for size in lots:
        allowed = gap_range(size, window, pace)
        assert allowed is not None
        for gap in allowed:
            waits = (
                [_wait(i, gap, pace) for i in range(size)] if pace.order_kept else list(interval_range(size, gap, pace))
            )
            assert min(waits) >= 60 - 1e-6
            assert max(waits) <= 66 + 1e-6


@given(st.data(), st.integers(1, 60), PACES)
def test_whoever_of_a_lot_comes_in_any_order_stays_inside_the_hours(
    data: st.DataObject, treated: int, pace: Pace
) -> None:
    """Some of the lot come, any of them, in any order: each animal's wait by the two formulas of the contract."""
    pace = replace(pace, order_kept=False)
    come = data.draw(st.permutations(range(treated)))[: data.draw(st.integers(1, treated))]
    allowed = gap_range(len(come), (60.0, 66.0), pace, treated)
    for gap in allowed or ():
        waits = [gap + turn / pace.ai_rate - i / pace.treat_rate for turn, i in enumerate(come)]
        assert min(waits) >= 60 - 1e-6
        assert max(waits) <= 66 + 1e-6
    low, high = interval_range(len(come), 60.0, pace, treated)
    assert low == pytest.approx(60 - (treated - 1) / pace.treat_rate)  # the last treated comes first
    assert high == pytest.approx(60 + (len(come) - 1) / pace.ai_rate)  # the first treated comes last


def _wait(i: int, gap: float, pace: Pace) -> float:
    """The contract's formula for one animal, written out again."""
    return gap + i * (1 / pace.ai_rate - 1 / pace.treat_rate)


@given(st.integers(2, 600), PACES)
def test_one_lot_fewer_does_not_fit(head: int, pace: Pace) -> None:
    window = (60.0, 66.0)
    lots = len(fewest_lots(head, window, pace))
    if lots > 1:
        least = -(-head // (lots - 1))
        assert spread_h(least, pace) > 6 - 1e-6
        assert least > largest_lot(window, pace, head)


@settings(max_examples=40)
@given(st.integers(1, 400), PACES)
def test_lots_never_meet_in_the_chute(head: int, pace: Pace) -> None:
    zone = ZoneInfo("America/Denver")
    table = timetable(
        CATALOGUE["cow_7d_cosynch_insert"], zone, ai=datetime(2027, 5, 10, 8, tzinfo=zone), head=head, pace=pace
    )
    for key, rate in (("pg", pace.treat_rate), ("ai", pace.ai_rate)):
        ends = None
        for lot in table.lots:
            start = next(item.at for item in lot.steps if item.step.key == key)
            assert ends is None or start >= ends - timedelta(minutes=2)
            ends = start + timedelta(hours=(lot.head or 0) / rate)
    assert table.interval is not None
    assert table.interval[0] >= 60 - 0.02
    assert table.interval[1] <= 66 + 0.02


def test_counting_back_with_lots_meets_the_ai_start_that_was_asked_for() -> None:
    zone = ZoneInfo("America/Denver")
    ai = datetime(2027, 5, 10, 8, tzinfo=zone)
    table = timetable(CATALOGUE["cow_7d_cosynch_insert"], zone, ai=ai, head=85, pace=Pace(60, 25, True))
    assert next(item.at for item in table.lots[0].steps if item.step.is_ai) == ai


def test_warnings_name_night_daylight_closed_days_and_afternoon() -> None:
    zone = ZoneInfo("America/Denver")
    around = Surroundings(frozenset({date(2027, 5, 4)}), (45.0, -104.0))
    start = datetime(2027, 4, 27, 16, tzinfo=zone)
    table = timetable(
        CATALOGUE["cow_7d_cosynch_insert"], zone, start=start, head=60, pace=Pace(60, 25, True), surroundings=around
    )
    assert {"closed_day", "afternoon_heat"} <= {item.code for item in table.warnings}
    night = timetable(
        CATALOGUE["cow_7d_cosynch_insert"], zone, start=datetime(2027, 4, 27, 8, tzinfo=zone), surroundings=around
    )
    assert "night" in {item.code for item in night.warnings}  # 63 h after 08:00 is 23:00
    early = timetable(CATALOGUE["cow_7_7_synch"], zone, ai=datetime(2027, 5, 10, 5, tzinfo=zone), surroundings=around)
    assert "before_daylight" in {item.code for item in early.warnings}  # AI at 05:00, sunrise about 05:30
    calm = timetable(CATALOGUE["cow_5d_cosynch_insert"], zone, start=datetime(2027, 4, 27, 7, tzinfo=zone))
    assert {item.code for item in calm.warnings} <= {"afternoon_heat"}


def test_a_protocol_without_an_ai_hour_cannot_be_counted_back() -> None:
    with pytest.raises(ReadError, match="--start"):
        from_ai(CATALOGUE["heifer_7d_insert_pg"], datetime(2027, 5, 1, tzinfo=timezone.utc), ZoneInfo("America/Denver"))
