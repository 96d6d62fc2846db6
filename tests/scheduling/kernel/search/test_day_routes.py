"""Days given anew: the best there is on small days, never dearer, no rule broken, the same every time."""

from datetime import datetime, time, timedelta, timezone
from functools import cache
from itertools import permutations
from math import ceil, inf
from typing import Any

import pytest

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.checker.measure import road_km
from scheduling.kernel.plan import Bound, Cause, Unplaced, plan_bytes
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.day_routes import LONG, DayRoutes, days_of, stops_of
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Ranch, Season, Technician, load_season
from tests.factories.general_day import AI_RATE, DAY, general_day_document
from tests.factories.long_days import long_days_document
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols


def always() -> bool:
    """A budget without end."""
    return True


def begun(document: dict[str, Any], rounds: int = 0) -> Search:
    """A search with its first plan, and so many rounds of it."""
    search = Search(Model(load_season(document, PROTOCOLS)), 1, {})
    search.first_plan()
    search.improve(rounds, 20.0)
    search.restore(search.best)
    return search


def broken(search: Search) -> list[str]:
    """What the checker says of the state, groups that are out being named as such."""
    out = [need.group.id for need in search.model.needs if search.state.placed[need.index] is None]
    unplaced = tuple(Unplaced(group, (Cause("day", "No day is free.", (group,)),), ()) for group in out)
    plan = plan_of(search.state, seed=1, rounds=0, bound=Bound(None, "none"), unplaced=unplaced)
    return [item.text for item in check(search.model.season, plan).broken]


# -- against every order ------------------------------------------------------------------------------------------
class EveryOrder:
    """The cheapest way to share the stops of one day among technicians, by trying every order of every share."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self.ranches = [season.ranches[group.ranch] for group in season.groups]
        self.heads = [group.head for group in season.groups]
        self._road = cache(lambda one, other: road_km(season, one, other))

    def cheapest(self) -> float:
        """Cost of technician-days and km."""
        people, everything = tuple(self.season.technicians.values()), frozenset(range(len(self.heads)))

        @cache
        def shared(number: int, left: frozenset[int]) -> float:
            if number == len(people):
                return inf if left else 0.0
            mine = (share for share in _subsets(left))
            return min(self._day(people[number], share) + shared(number + 1, left - share) for share in mine)

        return shared(0, everything)

    def _day(self, person: Technician, share: frozenset[int]) -> float:
        if not share:
            return 0.0
        if sum(self.heads[i] for i in share) > person.max_head_per_day:
            return inf
        km = min(self._km(person, order) for order in permutations(sorted(share)))
        return self.season.weights.technician_day + self.season.weights.km * km

    def _km(self, person: Technician, order: tuple[int, ...]) -> float:
        """Km of an order, driven as early as can be; infinite where it cannot be driven in time. Whole minutes of driving."""
        home = (person.lat, person.lon)
        at, here, km = datetime.combine(DAY, person.starts, timezone.utc), home, 0.0
        for i in order:
            ranch, lasts = self.ranches[i], timedelta(minutes=ceil(self.heads[i] * 60 / AI_RATE))
            step = self._road(here, (ranch.lat, ranch.lon))
            at, km, here = at + self._minutes(step), km + step, (ranch.lat, ranch.lon)
            at = max(at, _on_day(ranch, ranch.opens)) + lasts
            if at > _on_day(ranch, ranch.closes):
                return inf
        step = self._road(here, home)
        return km + step if at + self._minutes(step) <= datetime.combine(DAY, person.ends, timezone.utc) else inf

    def _minutes(self, km: float) -> timedelta:
        return timedelta(minutes=ceil(km / self.season.travel.speed_kmh * 60 - 1e-9))


def _on_day(ranch: Ranch, clock: time) -> datetime:
    return datetime.combine(DAY, clock, ranch.zone)


def _subsets(left: frozenset[int]) -> list[frozenset[int]]:
    members = sorted(left)
    return [frozenset(one for i, one in enumerate(members) if number >> i & 1) for number in range(2 ** len(members))]


SMALL = [(layout, seed) for layout in ("random", "clustered", "mixed") for seed in (1, 2)]


def small(layout: str, seed: int) -> dict[str, Any]:
    """Seven stops, three technicians with homes of their own."""
    return general_day_document(layout, seed, technician_day=40, crew=3, load=50, stops=7, homes=3)


@pytest.mark.parametrize(("layout", "seed"), SMALL)
def test_a_small_day_is_as_cheap_as_the_cheapest_of_all_orders(layout: str, seed: int) -> None:
    search = begun(small(layout, seed))
    assert search.state.out == 0
    DayRoutes(search).improve(DAY.toordinal(), 200, always)
    assert search.state.cost() == pytest.approx(EveryOrder(search.model.season).cheapest(), abs=0.01)
    assert broken(search) == []


def test_first_plans_of_small_days_leave_something_to_find() -> None:
    searches = [begun(small(layout, seed)) for layout, seed in SMALL]
    found = [DayRoutes(search).improve(DAY.toordinal(), 200, always) for search in searches]
    assert sum(found) >= len(SMALL) // 2


@pytest.mark.parametrize("weights", [{"technician_day": 0, "km": 0}, {"technician_day": 1e6, "km": 1e6}, {"km": 1e-6}])
def test_weights_of_any_size_are_understood(weights: dict[str, float]) -> None:
    document = small("mixed", 2)
    document["weights"] |= weights
    search = begun(document)
    before = search.state.cost()
    DayRoutes(search).improve(DAY.toordinal(), 20, always)
    assert search.state.cost() <= before
    assert broken(search) == []


# -- seasons with long days ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("plain", [True, False], ids=["plain", "tied"])
def test_long_days_become_cheaper_and_break_no_rule(seed: int, plain: bool) -> None:
    search = begun(long_days_document(seed, groups=40, technicians=3, days=2, plain=plain), rounds=5)
    assert max(sum(len(row) for _, row in shown) / len(shown) for shown in days_of(search.state).values()) >= LONG
    placed, before = len(search.model.needs) - search.state.out, search.state.cost()
    DayRoutes(search).all(always)
    assert search.state.cost() < before
    assert search.state.is_whole()
    assert len(search.model.needs) - search.state.out >= placed
    assert search.best.cost == pytest.approx(search.state.cost())
    assert broken(search) == []


def test_a_plan_of_long_days_breaks_no_rule_and_is_the_same_every_time() -> None:
    season = load_season(long_days_document(3, groups=30, technicians=3, days=2), PROTOCOLS)
    plans = [solve(season, seed=4, budget=Budget(rounds=10)) for _ in range(2)]
    assert plan_bytes(plans[0]) == plan_bytes(plans[1])
    assert [item.text for item in check(season, plans[0]).broken] == []


@pytest.mark.parametrize("seed", [1, 5])
def test_days_of_an_ordinary_season_never_become_dearer(seed: int) -> None:
    search = begun(season_document("M", seed), rounds=5)
    before = search.state.cost()
    DayRoutes(search).all(always)
    assert search.state.cost() <= before
    assert search.state.is_whole()
    assert broken(search) == []


def test_what_was_given_in_vain_is_not_given_again() -> None:
    search = begun(small("random", 1))
    days, asked = DayRoutes(search), list[int]()
    days.all(always)
    days.all(always)

    def going() -> bool:
        asked.append(1)
        return True

    days.all(going)
    assert len(asked) == 1  # before the day; none of the solver's own askings


def test_without_budget_nothing_is_tried() -> None:
    search = begun(small("random", 1))
    before = days_of(search.state)
    DayRoutes(search).all(lambda: False)
    assert days_of(search.state) == before


# -- who may make a stop ------------------------------------------------------------------------------------------
def test_stops_are_offered_to_those_with_the_skill_and_not_on_days_off() -> None:
    document = small("random", 2)
    document["technicians"][0]["skills"] = ["sexed semen"]
    document["technicians"][1]["skills"] = ["sexed semen"]
    document["technicians"][1]["days_off"] = [DAY.isoformat()]
    document["groups"][0]["skills"] = ["sexed semen"]
    search = begun(document)
    offered = {stop.visit.need.group.id: set(stop.visits) for stop in stops_of(search, DAY.toordinal())}
    assert offered["G0"] == {0}
    assert all(people <= {0, 2} for people in offered.values())
    assert any(people == {0, 2} for people in offered.values())


def test_groups_out_of_play_and_shared_sessions_stay_in_their_hands() -> None:
    search = begun(small("random", 2))
    search.free_set = frozenset([1, 2])
    for stop in stops_of(search, DAY.toordinal()):
        assert len(stop.visits) == 1 or stop.visit.need.index in (1, 2)


def test_a_session_shared_by_two_stays_in_their_hands() -> None:
    document = small("random", 2)
    document["groups"][0]["head"], document["ranches"][0]["ai_stalls"] = 80, 2  # more than one may inseminate a day
    document["ranches"][0]["handling_hours"] = ["06:00", "20:00"]
    search = begun(document)
    shared = [stop for stop in stops_of(search, DAY.toordinal()) if stop.visit.need.index == 0]
    assert len(shared) == 2
    assert all(stop.visits == {stop.person: stop.visit} for stop in shared)
    DayRoutes(search).improve(DAY.toordinal(), 100, always)
    assert broken(search) == []
