"""Heat by the hour: the printed table and bands, the daily curve, cool hours, and files that are read or refused whole."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.kernel.advice.heat_hours import (
    COOL_BELOW,
    PUBLIC_BANDS,
    Work,
    breeding_loss_points,
    cool_spans,
    heat_days,
    is_hot,
    people_band,
    warn,
)
from scheduling.kernel.advice.units import METRIC_UNITS, US_UNITS, TemperatureUnit
from scheduling.kernel.advice.weather import (
    Layered,
    MonthlyNormals,
    MonthNormal,
    StationHours,
    WeatherHour,
    WeatherSource,
    warmth,
)
from scheduling.kernel.advice.weather_file import Columns, WeatherFileError, match_columns, read_hours, unit_of
from scheduling.kernel.reader import ReadError
from tests.worked_examples.test_tables import ODD, cells

DENVER = ZoneInfo("America/Denver")
DAY = date(2027, 7, 10)
HOT = MonthNormal(19, 36, 70, 30)
COOL = MonthNormal(4, 18, 80, 40)
SUMMER = MonthlyNormals({6: HOT, 7: HOT, 8: HOT})


def hour(clock: int, celsius: float, humidity: float = 50, day: date = DAY) -> WeatherHour:
    """An hour of the sample day."""
    return WeatherHour(datetime.combine(day, time(clock), DENVER), celsius, humidity)


def test_the_printed_table_through_the_hours() -> None:
    """ "Heat Stress and Beef Production", Chart 1, Clemson University, copy of 2009: 72 of 77 cells exact, the five others within 1.3
    (92 F at 40, 50, 60, 80 % are printed one low; 104 F at 40 % is 88.8)."""
    rows = {(f, rh): WeatherHour(datetime(2027, 7, 1, tzinfo=DENVER), (f - 32) / 1.8, rh).thi for f, rh, _ in cells()}
    wrong = {(f, rh) for f, rh, printed in cells() if int(rows[f, rh] + 0.5) != printed}
    assert len(rows) == 77
    assert wrong == ODD
    assert all(abs(rows[f, rh] - printed) <= 1.3 for f, rh, printed in cells())


def test_pregnancy_lost_to_heat() -> None:
    """Mean 70: 5 units above 65 at 1.6 are 8 points ("Temperature and pregnancy in beef cows", Nebraska, 2017)."""
    assert breeding_loss_points(70) == pytest.approx(8)
    assert breeding_loss_points(60) == 0


@pytest.mark.parametrize(
    ("index", "name"), [(90.9, "lower"), (91, "moderate"), (102.9, "moderate"), (103, "high"), (115, "very high")]
)
def test_worksite_bands(index: float, name: str) -> None:
    """ "Using the Heat Index: a guide for employers", US OSHA, undated."""
    assert people_band(index).name == name


@pytest.mark.parametrize(("index", "name"), [(79, "none"), (80, "caution"), (90, "extreme caution"), (105, "danger")])
def test_public_bands(index: float, name: str) -> None:
    """Heat index chart, US Geological Survey manual, appendix 45-B, undated."""
    assert people_band(index, PUBLIC_BANDS).name == name


def test_people_index_of_an_hour() -> None:
    """86 F at 60 %: 91.1 (arithmetic on the US National Weather Service's regression)."""
    assert hour(12, 30, 60).heat_index_f == pytest.approx(91.1, abs=0.1)


# --- the daily curve ---


def test_the_curve_is_lowest_at_sunrise_and_highest_at_three() -> None:
    assert warmth(6, 6) == pytest.approx(0)
    assert warmth(15, 6) == pytest.approx(1)
    assert warmth(10.5, 6) == pytest.approx(0.5)
    assert warmth(5.999, 6) == pytest.approx(0, abs=1e-6)
    assert warmth(0, 6) == pytest.approx(0.5 + 0.5 * -0.309017, abs=1e-6)  # 9 of 15 hours down


@given(st.floats(0, 23.99), st.floats(3, 9))
def test_the_curve_stays_between_low_and_high_and_never_jumps(clock: float, sunrise: float) -> None:
    assert 0 <= warmth(clock, sunrise) <= 1
    assert abs(warmth((clock + 0.01) % 24, sunrise) - warmth(clock, sunrise)) < 0.01


def test_normals_of_a_day() -> None:
    rows = SUMMER.hours(DAY, DAY, DENVER)
    assert len(rows) == 24
    assert max(row.celsius for row in rows) == pytest.approx(36)
    assert min(row.celsius for row in rows) == pytest.approx(19)
    assert max(rows, key=lambda row: row.celsius).at.hour == 15
    hottest = max(rows, key=lambda row: row.celsius)
    assert hottest.humidity == pytest.approx(30)
    assert SUMMER.hours(date(2027, 1, 1), date(2027, 1, 2), DENVER) == ()


def test_normals_run_from_one_month_to_the_next() -> None:
    year = MonthlyNormals({5: COOL, 6: HOT})
    may, june = year.normal(date(2027, 5, 31)), year.normal(date(2027, 6, 1))
    assert may is not None
    assert june is not None
    assert abs(may.high_c - june.high_c) < 1.5
    middle = year.normal(date(2027, 5, 15))
    assert middle == COOL


def test_days_of_23_and_25_hours() -> None:
    year = MonthlyNormals(dict.fromkeys(range(1, 13), COOL), (39.7, -105.0))
    for day, hours in ((date(2027, 3, 14), 23), (date(2027, 11, 7), 25), (DAY, 24)):
        rows = year.hours(day, day, DENVER)
        assert len(rows) == hours
        assert len({row.at.astimezone(timezone.utc) for row in rows}) == hours


# --- cool hours ---


def test_cool_hours_of_a_hot_day_are_the_morning() -> None:
    day = heat_days(SUMMER, DAY, DAY, DENVER, (39.7, -105.0))[0]
    assert day.cattle.name in ("danger", "emergency")
    assert day.hottest_at.hour == 15
    assert day.hours == 24
    assert day.sun is not None
    assert day.sun[0] < day.sun[1]
    assert len(day.cool) == 1
    start, end = day.cool[0]
    assert end.time() <= time(10)
    assert start.hour >= 3
    rows = SUMMER.hours(DAY - timedelta(days=1), DAY, DENVER)
    for row in rows:
        if start <= row.at < end:
            assert row.thi < COOL_BELOW
            assert all(
                not timedelta(0) <= row.at - other.at < timedelta(hours=7) for other in rows if other.thi >= COOL_BELOW
            )


def test_a_cool_day_is_cool_all_day() -> None:
    day = heat_days(MonthlyNormals({7: COOL}), DAY, DAY, DENVER)[0]
    assert [(start.hour, (end - start).total_seconds() / 3600) for start, end in day.cool] == [(0, 24)]
    assert day.cattle.name == "normal"
    assert day.night_cooled is True


def test_a_night_that_does_not_cool() -> None:
    warm = MonthlyNormals({7: MonthNormal(23, 36, 80, 40)})
    assert heat_days(warm, DAY, DAY, DENVER)[0].night_cooled is False
    assert heat_days(StationHours((hour(12, 20),)), DAY, DAY, DENVER)[0].night_cooled is None


def test_ten_o_clock_even_below_the_band() -> None:
    """Never after 10 in summer: "Handling cattle through high heat humidity indexes", Nebraska BQA, undated."""
    rows = [hour(clock, 15) for clock in range(8, 14)] + [hour(14, 38)]
    assert [(s.hour, e.hour) for s, e in cool_spans(rows, DAY, DENVER)] == [(8, 10)]


@given(st.lists(st.tuples(st.floats(-10, 45), st.floats(5, 100)), min_size=24, max_size=24))
def test_no_cool_hour_is_hot(values: list[tuple[float, float]]) -> None:
    rows = [hour(clock, c, rh) for clock, (c, rh) in enumerate(values)]
    for start, end in cool_spans(rows, DAY, DENVER):
        assert all(row.thi < COOL_BELOW for row in rows if start <= row.at < end)


# --- warnings ---


def codes(start: int, hours: int, source: WeatherSource = SUMMER, work: Work = Work.STEP) -> list[str]:
    """Codes of the warnings for work on the sample day."""
    begin = datetime.combine(DAY, time(start), DENVER)
    rows = source.hours(DAY - timedelta(days=1), DAY, DENVER)
    found = warn(rows, begin, begin + timedelta(hours=hours), DENVER, "Timed AI", US_UNITS, work)
    assert all(item.sources for item in found)
    return [item.code for item in found]


def test_warnings_by_hour() -> None:
    assert "cattle_heat" in codes(14, 3)
    assert "people_heat" in codes(14, 3)
    assert codes(6, 2) == []
    assert codes(23, 1) == ["morning"]
    assert codes(14, 2, StationHours(())) == []


def test_a_warning_names_the_cooler_hours_and_the_units() -> None:
    begin = datetime.combine(DAY, time(15), DENVER)
    rows = SUMMER.hours(DAY, DAY, DENVER)
    us = warn(rows, begin, begin + timedelta(hours=1), DENVER, "Hauling", US_UNITS, Work.HAUL)
    metric = warn(rows, begin, begin + timedelta(hours=1), DENVER, "Hauling", METRIC_UNITS, Work.HAUL)
    assert [item.code for item in us] == [item.code for item in metric]
    assert "97 F" in us[0].sentence
    assert "36 C" in metric[0].sentence
    assert any("up to 15 F more" in item.sentence for item in us)
    assert any("up to 8 C more" in item.sentence for item in metric)
    assert us[0].cooler is not None
    assert us[0].cooler[1].hour <= 10
    assert "Haul at dawn" in us[0].sentence or "Do not work or haul" in us[0].sentence
    with pytest.raises(ReadError, match="end"):
        warn(rows, begin, begin, DENVER, "x", US_UNITS)


# --- files ---

GOOD = "Time,Temp (F),RH %\n2027-07-10 06:00,68,70\n2027-07-10T07:00,70.5,65%\n\n2027-07-10 07:30,99,10\n"


def test_a_station_file() -> None:
    station = read_hours(GOOD, DENVER)
    assert [(row.at.hour, round(row.celsius, 2), row.humidity) for row in station.rows] == [
        (6, 20.0, 70),
        (7, 21.39, 65),
    ]
    assert station.hours(DAY, DAY, DENVER) == station.rows
    assert station.hours(DAY + timedelta(days=1), DAY + timedelta(days=2), DENVER) == ()


@pytest.mark.parametrize(
    "text",
    [
        "date;hour;air temperature;relative humidity\n2027-07-10;06:00;20,0;70\n",
        "Date\tTime\tTemp\tHumidity\n07/10/2027\t6:00 AM\t20\t70\n",
        "\ufeffvalid_time,temperature_c,rh\n2027-07-10T12:00:00Z,20,70\n",
        "timestamp,temp,humidity\n2027-07-10T06:00:00-06:00,20,70\n",
    ],
)
def test_other_forms_of_the_same_hour(text: str) -> None:
    station = read_hours(text, DENVER, TemperatureUnit.C)
    assert station.rows == (WeatherHour(datetime(2027, 7, 10, 6, tzinfo=DENVER), 20.0, 70.0),)


def test_columns_chosen_by_a_person() -> None:
    text = "a,b,c\n2027-07-10 06:00,20,70\n"
    with pytest.raises(ReadError, match="columns"):
        read_hours(text, DENVER, TemperatureUnit.C)
    assert len(read_hours(text, DENVER, TemperatureUnit.C, Columns("a", "b", "c")).rows) == 1
    with pytest.raises(ReadError, match="there is no z"):
        read_hours(text, DENVER, TemperatureUnit.C, Columns("z", "b", "c"))


def test_headings() -> None:
    assert unit_of("Temp (F)") is TemperatureUnit.F
    assert unit_of("temperature_c") is TemperatureUnit.C
    assert unit_of("Temperature") is None
    assert match_columns(["Time", "Air Temp (F)", "Rel Hum %"])["temperature"] == "Air Temp (F)"


def test_a_bad_file_is_refused_whole_with_its_rows() -> None:
    bad = "Time,Temp (C),RH\n2027-07-10 06:00,20,70\nyesterday,20,70\n2027-07-10 08:00,95,70\n2027-07-10 09:00,20,140\n"
    with pytest.raises(WeatherFileError) as fault:
        read_hours(bad, DENVER)
    assert [(row, column) for row, column, _ in fault.value.faults] == [(3, "Time"), (4, "Temp (C)"), (5, "RH")]
    assert "check the unit" in str(fault.value)


@pytest.mark.parametrize(
    "text", ["", "\n", "Time,Temp,RH\n", "Time,Temp (F),RH\n", "Time,Temp,RH\n2027-07-10 06:00,20,70\n"]
)
def test_files_without_hours_or_unit(text: str) -> None:
    with pytest.raises((ReadError, WeatherFileError)):
        read_hours(text, DENVER)


def outcome(text: str) -> str:
    """How many hours a text gives, or the words that refuse it."""
    try:
        return f"{len(read_hours(text, DENVER, TemperatureUnit.F).rows)} hours"
    except (ReadError, WeatherFileError) as fault:
        return str(fault)


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    for given_text in (text, "Time,Temp (F),RH\n" + text):
        assert outcome(given_text) not in ("", "0 hours")


@pytest.mark.parametrize(
    ("changes", "name"),
    [({"low_c": 40.0}, "low"), ({"morning_humidity": 0.0}, "morning_humidity"), ({"high_c": 99.0}, "low")],
)
def test_impossible_normals_name_the_field(changes: dict[str, float], name: str) -> None:
    with pytest.raises(ReadError) as fault:
        replace(HOT, **changes)
    assert fault.value.field == name
    with pytest.raises(ReadError, match="months"):
        MonthlyNormals({})


# --- several sources, and where the alert band begins ---


def test_each_hour_comes_from_the_first_source_that_knows_it() -> None:
    first, second = StationHours((hour(5, 10), hour(6, 11)), "one"), StationHours((hour(6, 21), hour(7, 22)), "two")
    both = Layered((first, second))
    assert [(row.celsius, name) for row, name in both.told(DAY, DAY, DENVER)] == [(10, "one"), (11, "one"), (22, "two")]
    assert [row.celsius for row in both.hours(DAY, DAY, DENVER)] == [10, 11, 22]
    assert both.name == "one, then two"
    assert Layered(()).hours(DAY, DAY, DENVER) == ()


def test_an_hour_is_hot_where_its_band_says_so() -> None:
    """An index of 74.6 is printed as 75, alert ("Heat Stress and Beef Production", Clemson University, copy of 2009, in whole numbers)."""
    rows = tuple(hour(clock, 27.2 if clock == 15 else 15) for clock in range(24))
    hottest = max(rows, key=lambda row: row.thi)
    assert 74.5 <= hottest.thi < COOL_BELOW
    assert is_hot(hottest)
    day = heat_days(StationHours(rows), DAY, DAY, DENVER)[0]
    assert day.cattle.name == "alert"
    assert [span[1].hour for span in day.cool] == [10]
