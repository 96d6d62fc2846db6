"""Every way to serve a group: AI days, crews, and the stops that technicians make for it, with their widest hours."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from itertools import combinations

from scheduling.kernel.search.exact.session import Key
from scheduling.kernel.search.model import Model, Need, Part, Person, Trip, Work, day_of
from scheduling.kernel.search.shape import Shape
from scheduling.kernel.search.visits import Visit, Visits, bound_trips
from scheduling.kernel.season import Hands

# HiGHS takes 0.000001 of a technician-day for none: with larger weights that would be money.
_MOST_WEIGHT = 100_000


class NotCovered(Exception):
    """The season has something that the proof does not know."""


@dataclass(eq=False)
class Crew:
    """Who does one of an option's works: a technician, or two at once. `gap`: minutes from treatment to a timed session."""

    people: tuple[int, ...]
    rate: float
    gap: tuple[int, int] | None
    stops: "tuple[Stop, ...]" = ()
    barn: bool = False


@dataclass(eq=False)
class Stop:
    """A technician's stop for one of an option's works, with the widest window of its start."""

    option: "Option"
    number: int
    crew: Crew
    person: int
    day: int
    low: int
    high: int
    spans: tuple[tuple[int, int], ...]
    head: int
    ai: bool
    noon: int

    def __post_init__(self) -> None:
        """`place` is the ranch, `length` the minutes from the first start to the last end."""
        self.place = self.option.need.place
        self.length = self.spans[-1][0] + self.spans[-1][1]

    @property
    def key(self) -> Key:
        """What it is for."""
        return self.option.need.index, self.option.ai_day, self.number

    def halves(self, start: int) -> int:
        """Started half hours of AI after noon, over its lots."""
        if not self.ai or start + self.length <= self.noon:
            return 0
        late = (start + offset + length - max(self.noon, start + offset) for offset, length in self.spans)
        return sum(-(-minutes // 30) for minutes in late if minutes > 0)


@dataclass(eq=False)
class Option:
    """A group on an AI day, with the lots that a crew's pace asks for. `works` holds for each work its possible crews."""

    need: Need
    ai_day: int
    shape: Shape
    cost: float
    works: list[list[Crew]] = field(default_factory=list)

    @property
    def moved(self) -> int:
        """Days from the wish."""
        return abs(self.ai_day - self.need.wanted)


def check_covered(model: Model) -> None:
    """Raise `NotCovered` for what the proof leaves to the search."""
    if any(getattr(model.season.weights, item.name) > _MOST_WEIGHT for item in fields(model.season.weights)):
        raise NotCovered("weights too large for exact sums")
    for need in model.needs:
        if need.fixed:
            raise NotCovered("steps carried out")
        if need.ranch.opens.second or need.ranch.closes.second:
            raise NotCovered("handling hours with seconds")
        if model.spills(need.place):
            raise NotCovered("a ranch whose day lies on two of the season's days")
    if model.load_price:
        raise NotCovered("a price on uneven work, which no sum of technician-days tells")
    if any(item.technician.starts.second or item.technician.ends.second for item in model.people):
        raise NotCovered("technicians' hours with seconds")


def options_of(visits: Visits, need: Need) -> list[Option]:
    """Every option of a group that has somebody for each of its works."""
    found = []
    for ai_day in need.days:
        for option in _on_day(visits, need, ai_day):
            option.works = [list(_crews(visits, option, number)) for number in range(len(need.works))]
            if all(option.works):
                found.append(option)
    return found


def _on_day(visits: Visits, need: Need, ai_day: int) -> Iterator[Option]:
    """One option where every crew takes the group as one lot; else one for each way in which a first crew cuts it."""
    model = visits.model
    weights = model.season.weights
    cost = weights.day_moved * abs(ai_day - need.wanted) + weights.rest_day * model.rest_days(need, ai_day)
    shapes = [visits.shape(need, rate) for rate in _rates(model, need)]
    if all(len(shape.lots) == 1 for shape in shapes):
        if any(visits.roomy(need, ai_day, shape.ai_rate) for shape in shapes):
            yield Option(need, ai_day, shapes[0], cost)
        return
    for shape in shapes:
        if visits.roomy(need, ai_day, shape.ai_rate):
            yield Option(need, ai_day, shape, cost)


def _rates(model: Model, need: Need) -> list[float]:
    """Paces of the crews that may do the first timed session."""
    if not need.works or need.works[0].part is not Part.AI:
        return [need.ranch.ai_rate]
    alone = [model.people[person].rate for person in need.able]
    return list(dict.fromkeys([*alone, *(sum(_paces(model, pair)) for pair in _pairs(model, need))]))


def _pairs(model: Model, need: Need) -> Iterator[tuple[int, int]]:
    """Two technicians at once, where there are two stalls or a barn brings them."""
    if need.ranch.ai_stalls > 1 or any(barn.stalls > 1 for barn in model.season.barns.values()):
        yield from combinations(need.able, 2)


def _paces(model: Model, pair: tuple[int, int]) -> tuple[float, float]:
    return model.people[pair[0]].rate, model.people[pair[1]].rate


def _crews(visits: Visits, option: Option, number: int) -> Iterator[Crew]:
    need, work, model = option.need, option.need.works[number], visits.model
    barn = need.group.needs_barn and need.group.ai_by is Hands.TECHNICIAN and work.part is Part.AI
    for person in need.able:
        someone = model.people[person]
        visit = _alone(visits, option, number, someone)
        if visit is None or visit.day in someone.days_off or visit.head > someone.technician.max_head_per_day:
            continue
        crew = Crew((person,), someone.rate, _gap(visits, need, work, someone.rate), barn=barn)
        crew.stops = (_stop(visits, option, number, crew, visit, person),)
        yield crew
    if work.part is Part.AI:
        for pair in _pairs(model, need):
            made = _together(visits, option, number, pair)
            if made is not None:
                made.barn = barn or need.ranch.ai_stalls < 2
                yield made


def _gap(visits: Visits, need: Need, work: Work, rate: float) -> tuple[int, int] | None:
    return visits.shape(need, rate).gaps[work.trip.ai.key] if work.trip is not None and work.trip.ai else None


def _alone(visits: Visits, option: Option, number: int, someone: Person) -> Visit | None:
    """The visit of one technician in its widest window; None where the lots of the option are not the technician's."""
    need, work = option.need, option.need.works[number]
    if work.part is Part.AI and not _agrees(visits, option, work, someone.rate):
        return None
    if work.trip is not None and work.trip is need.anchor:
        return _anchor(visits, option, number)
    rate = someone.rate if work.part is Part.AI else option.shape.ai_rate
    return visits.visit(need, number, option.ai_day, someone.rate, rate, None)


def _anchor(visits: Visits, option: Option, number: int) -> Visit | None:
    """Treatment by a technician at any hour that steps bound to it allow; hours to AI are weighed elsewhere."""
    found = visits.treatment_range(option.need, option.ai_day, option.shape.ai_rate)
    if found is None:
        return None
    return visits.visit(option.need, number, option.ai_day, option.shape.ai_rate, option.shape.ai_rate, found)


def _agrees(visits: Visits, option: Option, work: Work, rate: float) -> bool:
    """Whether a crew's lots lie as the option's do."""
    shape = visits.shape(option.need, rate)
    if shape.lots != option.shape.lots:
        return False
    if len(shape.lots) == 1:
        return True
    assert work.trip is not None
    if option.need.works[0] is work:
        return rate == option.shape.ai_rate
    return shape.patterns[work.trip.key].offsets == option.shape.patterns[work.trip.key].offsets


def _stop(visits: Visits, option: Option, number: int, crew: Crew, visit: Visit, person: int) -> Stop:
    _same_day(visits, option, visit)
    low, high = visit.low, visit.high
    return Stop(option, number, crew, person, visit.day, low, high, visit.spans, visit.head, visit.ai, visit.noon)


def _same_day(visits: Visits, option: Option, visit: Visit) -> None:
    """A visit whose ranch's day is not the technicians' day is left to the search."""
    zone, ranch = visits.model.season.zone, option.need.ranch
    if ranch.zone != zone:
        work = option.need.works[visit.row[1]] if isinstance(visit.row[1], int) else None
        assert work is not None
        low, high = visits.hours(option.need, option.ai_day + work.day, 0)
        if day_of(low, zone) != day_of(high, zone):
            raise NotCovered("a ranch whose hours lie on two of the technicians' days")


def _together(visits: Visits, option: Option, number: int, pair: tuple[int, int]) -> Crew | None:
    """Both technicians for one session at once, at any hour."""
    need, work, model = option.need, option.need.works[number], visits.model
    rates = _paces(model, pair)
    assert work.trip is not None
    if not _agrees(visits, option, work, sum(rates)):
        return None
    shape = visits.shape(need, sum(rates))
    window = visits.window(need, work.trip, option.ai_day, shape, None)
    if window is None:
        return None
    crew = Crew(pair, sum(rates), _gap(visits, need, work, sum(rates)))
    stops = []
    for mine, person in enumerate(pair):
        someone = model.people[person]
        visit = visits.share(need, number, option.ai_day, rates, None, window[0], mine)
        if visit is None or visit.day in someone.days_off or visit.head > someone.technician.max_head_per_day:
            return None
        _same_day(visits, option, visit)
        low, high = window
        stops.append(
            Stop(option, number, crew, person, visit.day, low, high, visit.spans, visit.head, True, visit.noon)
        )
    crew.stops = tuple(stops)
    return crew


def own_trips(option: Option) -> list[Trip]:
    """Trips that the ranch carries out itself."""
    theirs = {work.trip.key for work in option.need.works if work.trip is not None}
    return [trip for trip in option.need.trips if trip.key not in theirs]


def bounds(need: Need) -> Mapping[str, tuple[int, int]]:
    """Minutes after the treatment in which trips bound to it must start."""
    return {trip.key: gap for trip, gap in bound_trips(need)}


__all__ = ["Crew", "NotCovered", "Option", "Stop", "bounds", "check_covered", "options_of", "own_trips"]
