"""Until when the last treated waits at a session to which only some of her lot come."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.kernel.catalogue import adjusted, load_catalogue
from scheduling.kernel.clock import after_hours, hours_between
from scheduling.kernel.protocol import Substance
from scheduling.kernel.waiting import Treated, last_waits_until, sessions_of_some

PROTOCOLS = load_catalogue().protocols
DENVER = ZoneInfo("America/Denver")


def at(text: str, zone: ZoneInfo = DENVER) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone)


def lot(starts: str, minutes: int, head: int, zone: ZoneInfo = DENVER) -> Treated:
    return Treated(at(starts, zone), after_hours(at(starts, zone), minutes / 60, zone), head)


def test_sessions_of_some_are_both_of_split_time_ai_and_timed_ai_after_heat_detection() -> None:
    split = sessions_of_some(PROTOCOLS["cow_7d_cosynch_insert_split"])
    assert {key: (rule.step, rule.window[0]) for key, rule in split.items()} == {"ai1": ("pg", 64), "ai2": ("pg", 86)}
    assert sessions_of_some(PROTOCOLS["cow_select_synch_tai"])["ai"].window[0] == 72
    assert sessions_of_some(PROTOCOLS["cow_7d_cosynch_insert"]) == {}  # the whole lot comes
    for protocol in PROTOCOLS.values():
        some = len(protocol.ai_steps) == 2 or (protocol.heat_watches and protocol.ai_steps)
        rules = sessions_of_some(protocol)
        assert set(rules) == ({step.key for step in protocol.ai_steps} if some else set())
        for rule in rules.values():  # people are told that hours count from PG
            assert protocol.by_key[rule.step].substance is Substance.PG


def test_hours_that_a_co_op_adjusted_count_in_place_of_the_printed() -> None:
    own = adjusted(
        PROTOCOLS["cow_7d_cosynch_insert_split"], step="ai1", min_h=65, target_h=66, max_h=68, reason="our adviser"
    )
    assert sessions_of_some(own)["ai1"].window[0] == 65


def test_the_last_treated_waits_out_her_own_hours() -> None:
    # 85 head at 60 an hour, 16:00 to 17:25; the session begins 64 h after the first.
    treated = lot("2027-05-10T16:00", 85, 85)
    assert last_waits_until(treated, 64, at("2027-05-13T08:00"), DENVER) == at("2027-05-13T09:25")
    assert last_waits_until(treated, 64, at("2027-05-13T09:20"), DENVER) == at("2027-05-13T09:25")


@pytest.mark.parametrize(
    ("session", "waits"),
    [("09:21", True), ("09:22", False), ("09:24", False), ("09:25", False), ("10:00", False)],
)
def test_nothing_is_said_where_the_session_begins_late_enough_but_for_her_own_minute_and_rounding(
    session: str, waits: bool
) -> None:
    treated = lot("2027-05-10T16:00", 85, 85)
    assert (last_waits_until(treated, 64, at(f"2027-05-13T{session}"), DENVER) is not None) == waits


@pytest.mark.parametrize(
    ("zone", "ends", "until"),
    [
        ("America/Denver", "2027-03-12T17:25", "2027-03-15T10:25"),  # spring forward on 14 March 2027
        ("America/Denver", "2027-11-05T17:25", "2027-11-08T08:25"),  # fall back on 7 November 2027
        ("Australia/Sydney", "2027-10-01T17:25", "2027-10-04T10:25"),  # spring forward on 3 October 2027
        ("America/Regina", "2027-03-12T17:25", "2027-03-15T09:25"),  # no change in Saskatchewan
    ],
)
def test_hours_are_elapsed_over_a_change_of_the_clock(zone: str, ends: str, until: str) -> None:
    place = ZoneInfo(zone)
    treated = Treated(at(ends, place) - timedelta(minutes=85), at(ends, place), 85)
    found = last_waits_until(treated, 64, after_hours(treated.starts, 64, place), place)
    assert found == at(until, place)
    assert f"{found:%H:%M}" == until[-5:]


def test_what_was_done_later_than_planned_moves_every_lot_alike() -> None:
    treated = lot("2027-03-13T20:00", 60, 60)
    done = treated.begun_at(at("2027-03-13T16:30"), at("2027-03-13T16:00"), DENVER)
    assert (done.starts, done.ends) == (at("2027-03-13T20:30"), at("2027-03-13T21:30"))
    earlier = treated.begun_at(at("2027-03-13T15:00"), at("2027-03-13T16:00"), DENVER)
    assert earlier.ends == at("2027-03-13T20:00")


def test_a_moment_inside_a_minute_is_told_as_the_next_full_one() -> None:
    """What was done has its seconds, and to go before the hours are over is what must not be."""
    treated = Treated(at("2027-05-10T16:00:20"), at("2027-05-10T17:25:20"), 85)
    assert last_waits_until(treated, 64, at("2027-05-13T08:00"), DENVER) == at("2027-05-13T09:26")


@given(
    minutes=st.integers(1, 300), head=st.integers(1, 400), low=st.floats(48, 96), late=st.integers(-300, 300),
    day=st.integers(0, 364),
)  # fmt: skip
def test_whoever_is_told_nothing_is_early_by_rounding_at_most(
    minutes: int, head: int, low: float, late: int, day: int
) -> None:
    """Either an hour is told at which the last has her hours, or the session begins so late that she has them anyhow."""
    treated = lot("2027-01-01T07:00", minutes, head)
    treated = treated.begun_at(after_hours(treated.starts, 24 * day, DENVER), treated.starts, DENVER)
    session = after_hours(treated.starts, low + late / 60, DENVER)
    until = last_waits_until(treated, low, session, DENVER)
    if until is None:
        assert hours_between(treated.ends, session) >= low - (minutes / head + 2) / 60 - 1e-6
    else:
        assert low - 1e-6 <= hours_between(treated.ends, until) <= low + 1 / 60
        assert until > session
        assert until.second == 0
