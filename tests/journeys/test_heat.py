"""Weather in by file or by month, cool hours and warnings out: on the heat page, the day, the board and the entry, in words."""

import re
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from accounts.permissions import Role
from scheduling.models import MonthWeather, PlannedStep, WeatherFile, WeatherReading
from scheduling.services import publish
from scheduling.services.heat import HeatBook
from scheduling.services.weather import weather_of
from tests.factories.pages import signed_in, text
from tests.factories.people import make_person
from tests.factories.plans import NOW, Scene, planned

pytestmark = pytest.mark.django_db
DENVER = ZoneInfo("America/Denver")
DAY = date(2027, 5, 10)


def sheet(first: date, days: int, day: tuple[float, float] = (60, 100), heading: str = "Temp (F)") -> str:
    """Hours of a file: cool but from 11:00 to 19:00 hot, half as damp as can be."""
    rows = [f"Time,{heading},Humidity"]
    for i in range(days):
        for hour in range(24):
            degrees = day[1] if 11 <= hour < 19 else day[0]
            rows.append(f"{first + timedelta(days=i)} {hour:02}:00,{degrees},50")
    return "\n".join(rows)


def send(client: Client, body: str, path: str = "ranches/{ranch}/file/", **more: str) -> Any:
    """The form of a weather file."""
    file = SimpleUploadedFile("hours.csv", body.encode(), "text/csv")
    return client.post(f"/c/north/heat/{path}", {"file": file, "unit": "F", **more}, follow=True)


def path_of(scene: Scene) -> str:
    """The file page of the rancher's ranch."""
    return f"ranches/{scene.home.slug}/file/"


# --- files ---


def test_a_file_is_read_and_the_page_tells_cool_hours_bands_and_sun(scene: Scene) -> None:
    """100 F at 50 %: index 88.5, emergency (Chart 1, "Heat Stress and Beef Production", Clemson University, copy of 2009, prints 89 for
    100 F at 50 %). Hot until 19:00 and six hours more: the next day is cool from 01:00 to 10:00."""
    rancher = signed_in(scene.rancher.user)
    answer = send(rancher, sheet(DAY, 2), path_of(scene))
    said = text(answer)
    assert "48 hours of hours.csv are in: Mon 10 May 2027, 00:00 to Wed 12 May 2027, 00:00." in said
    assert "Monday 10 May 2027" in said
    assert "until 10:00" in said
    assert "01:00 to 10:00" in said
    assert re.search(r"Heat index 8[89] at 11:00, emergency\. Do not work or haul cattle\.", said)
    assert "Sun 05:" in said
    assert "Told from hours.csv" in said
    assert "a usual day" not in said
    for code, source in (
        ("cattle_heat", "Clemson University"),
        ("people_heat", "US OSHA"),
        ("morning", "Nebraska Beef Quality Assurance"),
    ):
        why = f"/c/north/whys/{code}/"
        assert f'href="{why}"' in answer.content.decode()
        assert source in text(rancher.get(why))
    file = WeatherFile.objects.get()
    assert (file.count, file.ranch, file.by) == (48, scene.home, scene.rancher.user)


def test_units_of_file_and_person_are_kept_apart(scene: Scene) -> None:
    user = scene.rancher.user
    user.temperature_unit = "C"
    user.save()
    rancher = signed_in(user)
    said = text(send(rancher, sheet(DAY, 1), path_of(scene)))  # the heading says F
    assert "°C at most" in said
    assert abs(WeatherReading.objects.order_by("-celsius")[0].celsius - (100 - 32) / 1.8) < 1e-9
    send(rancher, sheet(DAY, 1, (15, 38), "Temp"), path_of(scene), unit="C")
    assert WeatherReading.objects.order_by("-celsius")[0].celsius == 38


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("", "The submitted file is empty"),
        ("Time,Temp (F),Humidity\n", "at least one hour"),
        ("Time,Wind\n2027-05-10 06:00,5\n", "a column for temperature and humidity; the file has Time, Wind"),
        (sheet(DAY, 1).replace("2027-05-10 03:00,60", "2027-05-10 03:00,600"), "Row 5, column Temp (F): allowed is from -76 to 140 F"),
        (sheet(DAY, 1).replace("05:00,60,50", "05:00,60,150"), "Row 7, column Humidity: allowed is from 0 to 100 %"),
        (sheet(DAY, 1).replace("2027-05-10 04:00", "soon"), "Row 6, column Time: allowed is a time such as"),
        ("PK\x03\x04 a workbook", "Save the sheet as CSV"),
        ("\x00\x01\x02", "Save the sheet as CSV"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_is_refused_whole_with_row_and_column(scene: Scene, body: str, words: str) -> None:
    answer = send(signed_in(scene.rancher.user), body, path_of(scene))
    assert words in text(answer)
    assert not WeatherFile.objects.exists()
    assert not WeatherReading.objects.exists()


def test_columns_can_be_named(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    body = "When,Warm,Damp\n2027-05-10 06:00,60,50\n"
    assert "a column for time and temperature and humidity" in text(send(rancher, body, path_of(scene)))
    part = send(rancher, body, path_of(scene), time_column="When")
    assert "names of all three columns" in text(part)
    names = {"time_column": "When", "temperature_column": "Warm", "humidity_column": "Damp"}
    assert "1 hours of hours.csv" in text(send(rancher, body, path_of(scene), **names))
    wrong = {**names, "humidity_column": "Wet"}
    assert "there is no Wet" in text(send(rancher, body, path_of(scene), **wrong))


def test_newer_files_stand_before_older_the_ranchs_before_the_coops_and_files_before_normals(scene: Scene) -> None:
    boss = signed_in(scene.coordinator.user)
    MonthWeather.objects.create(
        cooperative=scene.coop, month=5, low_c=5, high_c=20, morning_humidity=80, afternoon_humidity=40
    )
    send(boss, sheet(DAY, 1, (41, 41)), "everywhere/file/")

    def warmest(day: date = DAY) -> tuple[float, tuple[str, ...]]:
        place = weather_of([scene.home], day, day)[scene.home.pk]
        rows = place.hours(day, day, DENVER)
        assert len(rows) == 24
        return round(max(row.celsius for row in rows) * 1.8 + 32), place.said_by(day)

    assert warmest() == (41, ("hours.csv",))
    send(boss, sheet(DAY, 1, (50, 50)), "everywhere/file/")
    assert warmest() == (50, ("hours.csv",))
    send(boss, sheet(DAY, 1, (59, 59)), path_of(scene))
    assert warmest() == (59, ("hours.csv",))
    send(boss, sheet(DAY, 1, (45, 45)), "everywhere/file/")
    assert warmest() == (59, ("hours.csv",))
    assert warmest(DAY + timedelta(days=1))[1] == ("monthly normals",)
    MonthWeather.objects.create(
        cooperative=scene.coop,
        ranch=scene.home,
        month=5,
        low_c=8,
        high_c=30,
        morning_humidity=80,
        afternoon_humidity=40,
    )
    assert warmest(date(2027, 5, 15))[0] == 86
    other = weather_of([scene.away], DAY, DAY)[scene.away.pk]
    assert round(max(row.celsius for row in other.hours(DAY, DAY, DENVER)) * 1.8 + 32) == 45


def test_a_file_is_taken_out_again(scene: Scene) -> None:
    rancher, boss = signed_in(scene.rancher.user), signed_in(scene.coordinator.user)
    send(boss, sheet(DAY, 1), "everywhere/file/")
    send(rancher, sheet(DAY, 1), path_of(scene))
    shared, own = WeatherFile.objects.get(ranch=None), WeatherFile.objects.get(ranch=scene.home)
    assert rancher.post(f"/c/north/heat/files/{shared.pk}/remove/").status_code == 403
    assert signed_in(scene.stranger).post(f"/c/north/heat/files/{own.pk}/remove/").status_code == 404
    assert "is taken out" in text(rancher.post(f"/c/north/heat/files/{own.pk}/remove/", follow=True))
    assert list(WeatherFile.objects.all()) == [shared]


def test_who_may_bring_weather(scene: Scene) -> None:
    rancher, worker = signed_in(scene.rancher.user), signed_in(scene.technician.user)
    adviser = signed_in(make_person(scene.coop, Role.ADVISER))
    for path in (path_of(scene), f"ranches/{scene.home.slug}/normals/"):
        assert rancher.get(f"/c/north/heat/{path}").status_code == 200
        assert worker.post(f"/c/north/heat/{path}").status_code == 403
        assert adviser.post(f"/c/north/heat/{path}").status_code == 403
    for path in ("everywhere/file/", "everywhere/normals/"):
        assert rancher.post(f"/c/north/heat/{path}").status_code == 403
    assert rancher.get(f"/c/north/heat/ranches/{scene.away.slug}/").status_code == 404
    assert rancher.post(f"/c/north/heat/ranches/{scene.away.slug}/file/").status_code == 404
    both = signed_in(make_person(scene.coop, Role.RANCHER, Role.TECHNICIAN))  # sees every ranch, owns none
    assert both.get(f"/c/north/heat/ranches/{scene.away.slug}/").status_code == 200
    assert both.get(f"/c/north/heat/ranches/{scene.away.slug}/file/").status_code == 403


# --- normals ---


def months(**more: str) -> dict[str, str]:
    """July as it is typed in Fahrenheit."""
    return {"low_7": "64", "high_7": "97", "morning_7": "70", "afternoon_7": "30", **more}


def test_normals_are_typed_by_month_in_ones_own_unit(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    where = f"/c/north/heat/ranches/{scene.home.slug}/normals/"
    assert "1 month is saved." in text(rancher.post(where, months(), follow=True))
    row = MonthWeather.objects.get()
    assert (row.month, round(row.high_c, 4), row.ranch) == (7, round((97 - 32) / 1.8, 4), scene.home)
    assert 'name="high_7" value="97"' in rancher.get(where).content.decode()
    said = text(rancher.get(f"/c/north/heat/ranches/{scene.home.slug}/?from=2027-07-10"))
    assert "a usual day, not a forecast" in said
    assert "Saturday 10 July 2027" in said
    assert "danger" in said
    assert "No month is kept now." in text(rancher.post(where, {}, follow=True))
    assert not MonthWeather.objects.exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"low_7": ""}, "Fill all four figures of July, or none."),
        ({"low_7": "98"}, "The lowest is above the highest"),
        ({"high_7": "141"}, "less than or equal to 140"),
        ({"morning_7": "0"}, "greater than or equal to 1"),
        ({"afternoon_7": "wet"}, "Enter a number"),
    ],
)
def test_normals_that_cannot_be_are_refused_and_what_was_there_stays(
    scene: Scene, change: dict[str, str], words: str
) -> None:
    rancher = signed_in(scene.rancher.user)
    where = f"/c/north/heat/ranches/{scene.home.slug}/normals/"
    rancher.post(where, months())
    answer = rancher.post(where, months(**change))
    assert words in text(answer)
    assert "Nothing has been saved." in text(answer)
    assert MonthWeather.objects.count() == 1


# --- warnings on planned work ---


def hot_all_day(scene: Scene) -> None:
    """A file that makes every hour of the plan's days hot."""
    first = min(step.starts for step in PlannedStep.objects.all()).date()
    send(signed_in(scene.coordinator.user), sheet(first - timedelta(days=1), 14, (100, 100)), "everywhere/file/")


def test_hot_work_is_marked_on_entry_board_week_and_heat_page(published: Scene) -> None:
    hot_all_day(published)
    rancher, boss = signed_in(published.rancher.user), signed_in(published.coordinator.user)
    season = f"/c/north/seasons/{published.season.pk}/"
    entry = text(rancher.get(f"{season}groups/{published.willow.pk}/"))
    assert "Work that meets heat" in entry
    assert re.search(
        r"Timed AI.* meets a heat index for cattle of \d+ \(emergency; 100 F, 50 %\)\. Do not work or haul", entry
    )
    assert "No hour of that day is cool enough; choose another day." in entry
    board = boss.get(season)
    assert "times through the chute meet heat" in text(board)
    acts = [act for row in board.context["board"].rows for act in row.acts if act.timed]
    assert acts
    assert all(act.heat and not act.afternoon for act in acts)
    ai = PlannedStep.objects.filter(entry=published.willow, key="ai")[0]
    day = ai.starts.astimezone(DENVER).date()
    page = text(rancher.get(f"/c/north/heat/ranches/{published.home.slug}/?from={day}"))
    assert "feels like" in page.lower()
    assert "meets a heat index" in page
    booking = published.willow.bookings.all()[0]
    week = text(boss.get(f"/c/north/week/{booking.technician_id}/?from={day}"))
    assert "meets a heat index" in week


def test_hot_work_says_of_which_lot_it_is(published: Scene) -> None:
    for row in PlannedStep.objects.filter(entry=published.willow):
        row.pk, row.lot, row._state.adding = uuid4(), 1, True
        row.save()
    hot_all_day(published)
    rancher = signed_in(published.rancher.user)
    entry = text(rancher.get(f"/c/north/seasons/{published.season.pk}/groups/{published.willow.pk}/"))
    day = PlannedStep.objects.filter(entry=published.willow, key="ai")[0].starts.astimezone(DENVER).date()
    page = text(rancher.get(f"/c/north/heat/ranches/{published.home.slug}/?from={day}"))
    for words in ("lot 1 of 2", "lot 2 of 2"):
        assert f"Timed AI + GnRH at AI, {words} " in entry
        assert f"Timed AI + GnRH at AI, Willow, {words} " in page
    PlannedStep.objects.filter(lot=1).delete()
    assert "Timed AI + GnRH at AI, Willow " in text(
        rancher.get(f"/c/north/heat/ranches/{published.home.slug}/?from={day}")
    )


def test_hot_work_is_marked_on_the_ranchers_day(scene: Scene) -> None:
    """The plan is moved to begin tomorrow, so that its steps are the next ones."""
    publish(member=scene.coordinator, season=scene.season, plan=planned(scene), now=NOW)
    first = min(step.starts for step in PlannedStep.objects.all())
    ahead = timezone.now() - first + timedelta(days=1)
    for step in PlannedStep.objects.all():
        PlannedStep.objects.filter(pk=step.pk).update(starts=step.starts + ahead, ends=step.ends + ahead)
    rancher = signed_in(scene.rancher.user)
    assert "Heat" not in text(rancher.get("/c/north/")).split("My herd's next steps")[1]
    hot_all_day(scene)
    assert "meets a heat index for cattle" in text(rancher.get("/c/north/"))


def test_without_weather_nothing_is_warned_of_and_afternoons_are_marked_as_before(published: Scene) -> None:
    boss = signed_in(published.coordinator.user)
    board = boss.get(f"/c/north/seasons/{published.season.pk}/")
    acts = [act for row in board.context["board"].rows for act in row.acts]
    assert not any(act.heat for act in acts)
    assert all(act.afternoon == (act.timed and act.ends.time() > time(12)) for act in acts)
    send(boss, sheet(date(2027, 4, 25), 30, (50, 50)), "everywhere/file/")
    cool = boss.get(f"/c/north/seasons/{published.season.pk}/").context["board"]
    assert not any(act.heat or act.afternoon for row in cool.rows for act in row.acts)


def test_a_move_is_checked_against_the_bands(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    where = f"/c/north/heat/ranches/{scene.home.slug}/"
    ask = {"move_day": "2027-05-10", "move_from": "12:00", "move_to": "15:00"}
    assert "No weather of that day is known here." in text(rancher.get(where, ask))
    send(rancher, sheet(DAY, 2, (60, 92)), path_of(scene))
    said = text(rancher.get(where, ask))
    assert "Hauling on Mon 10 May 2027 meets a heat index for cattle of 83 (danger; 92 F, 50 %)" in said
    assert "Haul at dawn, or put it off. Cool that day: until 10:00." in said
    early = text(rancher.get(where, {**ask, "move_from": "06:00", "move_to": "09:00"}))
    assert "Nothing hot is known in these hours." in early
    assert "Choose an hour after the beginning" in text(rancher.get(where, {**ask, "move_to": "11:00"}))
    book = HeatBook(scene.rancher.user, [scene.home], DAY, DAY)
    assert [note.code for note in book.haul(scene.home.pk, DAY, "Moving to grass")][:1] == ["cattle_heat"]
    assert book.haul(scene.home.pk, DAY + timedelta(days=9), "Moving to grass") == ()


def test_bad_days_in_the_address_show_today(scene: Scene) -> None:
    rancher = signed_in(scene.rancher.user)
    for wanted in ("", "soon", "0001-01-01", "9999-12-31", "2027-02-30"):
        assert rancher.get(f"/c/north/heat/ranches/{scene.home.slug}/?from={wanted}").status_code == 200
    assert "No weather is known here." in text(rancher.get(f"/c/north/heat/ranches/{scene.home.slug}/"))


def test_queries_do_not_grow_with_ranches_files_or_days(published: Scene, django_assert_max_num_queries: Any) -> None:
    boss = signed_in(published.coordinator.user)
    for slug in (published.home.slug, published.away.slug, published.home.slug):
        send(boss, sheet(DAY - timedelta(days=12), 20), f"ranches/{slug}/file/")
    with django_assert_max_num_queries(24):
        boss.get(f"/c/north/seasons/{published.season.pk}/")
    with django_assert_max_num_queries(3):
        weather_of([published.home, published.away], DAY, DAY + timedelta(days=30))


def test_the_day_of_a_clock_change_has_its_hours(scene: Scene) -> None:
    """25 hours on 7 November 2027, 23 on 14 March 2027, read from times with an offset."""
    rancher = signed_in(scene.rancher.user)
    for day, hours in ((date(2027, 11, 7), 25), (date(2027, 3, 14), 23)):
        begin = datetime.combine(day, time(), DENVER).astimezone(ZoneInfo("UTC"))
        rows = [f"{(begin + timedelta(hours=i)).isoformat()},50,50" for i in range(hours)]
        said = text(send(rancher, "\n".join(["Time,Temp (F),Humidity", *rows]), path_of(scene)))
        assert f"{hours} hours of hours.csv are in" in said
        place = weather_of([scene.home], day, day)[scene.home.pk]
        assert len(place.hours(day, day, DENVER)) == hours


# --- heat of the first weeks after AI ---


@pytest.mark.parametrize(
    ("fahrenheit", "words"),
    [
        # 82.4 F at 50 %: 82.4 - 0.275 x 24.4 = 75.7, which is 10.7 above 65; at 1.6 points each 17 ("Temperature and pregnancy in
        # beef cows", University of Nebraska research, 2017; index by the National Research Council, 1971).
        (82.4, "averages 76 : expect about 17 points fewer pregnant"),
        (60, "no loss of pregnancies by heat is expected"),
    ],
)
def test_heat_after_ai_is_told_in_pregnancies(scene: Scene, fahrenheit: float, words: str) -> None:
    boss = signed_in(scene.rancher.user)
    page = f"/c/north/seasons/{scene.season.pk}/groups/{scene.willow.pk}/after/"
    send(boss, sheet(DAY, 20, (fahrenheit, fahrenheit)), path_of(scene))
    assert "Heat of the first 30 days" not in text(boss.get(page))  # ten of the days are not known
    send(boss, sheet(DAY, 31, (fahrenheit, fahrenheit)), path_of(scene))
    said = re.sub(r"\s+", " ", text(boss.get(page)))
    assert words in said
