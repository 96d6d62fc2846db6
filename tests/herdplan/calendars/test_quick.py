"""A prepared query reads what Django's own reads, on every database, and refuses what it could not read rightly."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from herdplan.calendars.quick import Prepared, Raw, instant, key_text
from scheduling.models import Booking
from tests.factories.published import Published, make_published

pytestmark = pytest.mark.django_db


@pytest.fixture
def published() -> Published:
    """A group with its bookings."""
    return make_published()


_BOOKINGS = Booking.objects.values_list(Raw("pk"), Raw("starts"), "head").order_by("starts", "pk")


def test_prepared_rows_are_django_s_own(published: Published) -> None:
    prepared = Prepared(_BOOKINGS)
    every = list(Booking.objects.order_by("starts", "pk"))
    assert every
    for technician, after in {(row.technician_id, row.starts) for row in every}:
        rows = prepared.rows(technician=technician, starts__gte=after)
        wanted = [row for row in every if row.technician_id == technician and row.starts >= after]
        assert [(key_text(pk), instant(starts), head) for pk, starts, head in rows] == [
            (str(row.pk), row.starts, row.head) for row in wanted
        ]


def test_its_sql_is_written_once_and_its_values_are_new(published: Published) -> None:
    prepared = Prepared(_BOOKINGS)
    first, last = Booking.objects.earliest("starts"), Booking.objects.latest("starts")
    assert prepared.rows(starts__gte=last.starts + timedelta(days=1)) == []
    with CaptureQueriesContext(connection) as asked:
        assert len(prepared.rows(starts__gte=first.starts)) == Booking.objects.count()
    assert len(asked) == 2


def test_lookups_that_change_the_statement_are_refused() -> None:
    with pytest.raises(TypeError, match="step__contains"):
        Prepared(_BOOKINGS).rows(step__contains="ai")


def test_a_time_is_read_in_utc_whatever_the_driver_gives() -> None:
    moment = datetime(2027, 5, 3, 22, 30, tzinfo=UTC)
    assert instant("2027-05-03 22:30:00") == instant(moment) == moment
    assert instant("2027-05-03 22:30:00.250000") == moment.replace(microsecond=250_000)
