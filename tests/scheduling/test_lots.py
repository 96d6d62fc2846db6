"""Into how many lots a group is cut, and the words for one of them."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import translation

from scheduling.kernel.lot_words import fill_lot_words
from scheduling.models import Booking, PlannedStep
from scheduling.queries import lots_at, lots_there
from scheduling.services.lots import lot_on_page, lot_words, with_lot
from tests.factories.pages import signed_in
from tests.factories.people import make_entry, make_group
from tests.factories.published import make_published


@pytest.mark.parametrize(
    ("lot", "lots", "words"), [(1, 1, ""), (1, 2, "lot 1 of 2"), (3, 3, "lot 3 of 3"), (2, 1, "lot 2 of 2")]
)
def test_a_lot_is_named_where_there_are_several(lot: int, lots: int, words: str) -> None:
    assert fill_lot_words(lot, lots) == lot_words(lot, lots) == words
    assert with_lot("Willow", words) == (f"Willow, {words}" if words else "Willow")
    assert lot_on_page(lot, lots).split() == words.split()
    assert " " not in lot_on_page(lot, lots)  # one line on a page


def test_the_reader_s_language_has_words_of_its_own() -> None:
    with translation.override("es"):
        assert lot_words(1, 2) == "lote 1 de 2"


@pytest.mark.django_db
def test_lots_are_counted_over_the_steps_that_stand_or_over_what_was() -> None:
    made = make_published()
    herd = made.entry.group.herd
    unplaced = make_entry(made.entry.season, make_group(herd)).pk
    entry = made.entry.pk

    def counted() -> int:
        told = set(Booking.objects.annotate(lots=lots_there()).values_list("lots", flat=True))
        assert told == set(PlannedStep.objects.annotate(lots=lots_there()).values_list("lots", flat=True))
        found = lots_at([entry, unplaced, entry])
        assert found[unplaced] == 1
        assert told == {found[entry]}
        return found[entry]

    assert counted() == 1
    made.cut(20, 20, 20)
    assert counted() == 3
    PlannedStep.objects.filter(lot=2).update(status="cancelled")
    assert counted() == 2
    PlannedStep.objects.filter(lot=1, key="gnrh1").update(status="done")
    PlannedStep.objects.filter(lot=1).exclude(key="gnrh1").update(status="cancelled")
    assert counted() == 2
    PlannedStep.objects.update(status="cancelled")
    assert counted() == 3  # a group that was taken out: its lots are called off under the names they had
    assert lots_at([uuid4()]) == {}
    with CaptureQueriesContext(connection) as asked:
        lots_at([entry, unplaced])
    assert len(asked) == 1


@pytest.mark.django_db
def test_a_visit_over_http_says_of_how_many_lots_it_is_one() -> None:
    made = make_published()
    client = signed_in(made.coordinator)

    def visits() -> list[tuple[int, int, int]]:
        rows = client.get("/api/v1/visits/").json()["results"]
        assert client.get(f"/api/v1/visits/{rows[0]['id']}/").json()["lots"] == rows[0]["lots"]
        return sorted((row["lot"], row["lots"], row["head"]) for row in rows)

    assert visits() == [(0, 1, 60)]
    made.cut(13, 47)
    assert visits() == [(0, 2, 13), (1, 2, 47)]
