"""Stops: one object for each, whoever it was made for."""

from itertools import product

from scheduling.kernel.search.model import Model, Part
from scheduling.kernel.search.visits import Visit, Visits
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document
from tests.factories.wild import PROTOCOLS


def _content(visit: Visit) -> tuple[object, ...]:
    return visit.row, visit.low, visit.high, visit.spans, visit.heads, visit.lots, visit.day


def test_stops_that_are_alike_for_crews_of_other_paces_are_one() -> None:
    model = Model(load_season(season_document("M", 1), PROTOCOLS))
    visits, found, shared = Visits(model), dict[tuple[object, ...], Visit](), 0
    rates = sorted({person.rate for person in model.people})
    for need in model.needs:
        services = [number for number, work in enumerate(need.works) if work.part is Part.SERVICE]
        for number, rate, pace in product(services, rates, rates):
            for treatment in visits.treatments(need, need.days[0]):
                visit = visits.visit(need, number, need.days[0], rate, pace, treatment)
                if visit is not None:
                    assert found.setdefault(_content(visit), visit) is visit
                    shared += 1
    assert len(rates) > 1
    assert shared > len(found) > 10
