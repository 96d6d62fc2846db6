"""Steps as they were done: elapsed time, also where the clocks change."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from scheduling.kernel.late import put_off, shifted
from scheduling.kernel.plan import GroupPlan, Lot, PlacedStep

ZONE = ZoneInfo("America/Denver")


def step(key: str, start: datetime) -> PlacedStep:
    return PlacedStep(key, start, start + timedelta(minutes=40), "ranch")


def test_two_hours_later_over_the_night_of_the_autumn_change_are_two_hours() -> None:
    """On 7 November 2027 the clock goes back from 02:00 to 01:00 (Energy Policy Act of 2005, section 110: first Sunday)."""
    moved = shifted(step("pg", datetime(2027, 11, 7, 0, 30, tzinfo=ZONE)), timedelta(hours=2))
    assert (moved.start.hour, moved.start.minute, moved.start.fold) == (1, 30, 1)
    assert moved.start.utcoffset() == timedelta(hours=-7)


def test_only_the_steps_named_move_in_all_lots() -> None:
    first, second = datetime(2027, 5, 3, 7, 0, tzinfo=ZONE), datetime(2027, 5, 3, 8, 0, tzinfo=ZONE)
    lots = tuple(Lot(20, (step("gnrh1", at), step("pg", at)), None, None) for at in (first, second))
    late = put_off(GroupPlan("G", date(2027, 5, 13), lots), {"pg": timedelta(minutes=25)})
    assert [lot.steps[0] for lot in late.lots] == [lot.steps[0] for lot in lots]
    assert [lot.steps[1].start for lot in late.lots] == [at + timedelta(minutes=25) for at in (first, second)]


@given(st.datetimes(datetime(2026, 1, 1), datetime(2028, 1, 1)), st.integers(-600, 600))
def test_there_and_back_is_the_same_moment(at: datetime, minutes: int) -> None:
    one = step("pg", at.replace(second=0, microsecond=0, tzinfo=ZONE))
    by = timedelta(minutes=minutes)
    back = shifted(shifted(one, by), -by)
    assert (back.start.timestamp(), back.end.timestamp()) == (one.start.timestamp(), one.end.timestamp())
