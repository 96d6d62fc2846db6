"""Hours that technicians can be at a ranch at all, and what they leave of the hours that rules tie to them.

A technician can be at work on a ranch from the way out after the day begins to the way back before it ends. So treatment by
a technician who lives far away is late or early in the day, and so is the AI that hours tie to it.
"""

from collections.abc import Sequence

from scheduling.kernel.search.exact.options import Crew, Option, bounds, own_trips
from scheduling.kernel.search.exact.touring import Touring
from scheduling.kernel.search.model import Need
from scheduling.kernel.search.routes import Routes
from scheduling.kernel.search.visits import Visits

Window = tuple[int, int]


def at_work(routes: Routes, tourings: Sequence[Touring], need: Need, day: int) -> tuple[float, float] | None:
    """First and last minute at which any technician who may come for a group can be at work there; None where nobody can."""
    found = []
    for touring in tourings:
        if touring.person in need.able and day not in routes.model.people[touring.person].days_off:
            opens, closes = routes.hours(touring.person, day)
            way = touring.minutes(touring.base, need.place)
            found.append((opens + way, closes - way))
    return (min(low for low, _ in found), max(high for _, high in found)) if found else None


def narrowed(options: Sequence[Option], visits: Visits, routes: Routes) -> list[Option]:
    """Options without crews that cannot come, their stops in hours that technicians and rules leave.

    What is left of the treatment's hours by all crews together binds every crew of the steps tied to it, and the other way
    round; so nothing is lost that a plan could have.
    """
    return [option for option in options if _narrow(option, visits, routes)]


def _narrow(option: Option, visits: Visits, routes: Routes) -> bool:
    """Narrow an option's stops; whether every work has a crew left."""
    for crews in option.works:
        crews[:] = [crew for crew in crews if _reach(crew, routes)]
    if option.need.anchor is None or not all(option.works):
        return all(option.works)
    treated = _treated(option, visits)
    before = None
    while before != treated and all(option.works) and treated[0] <= treated[1]:
        before = treated
        for number, crews in enumerate(option.works):
            if option.need.works[number].trip is option.need.anchor:
                crews[:] = [crew for crew in crews if _clip(crew, treated)]
                treated = _joined(treated, [_window(crew) for crew in crews])
                continue
            gaps = [_gap(option, number, crew) for crew in crews]
            tied = [(crew, gap) for crew, gap in zip(crews, gaps, strict=True) if gap is not None]
            gone = {crew for crew, gap in tied if not _clip(crew, (treated[0] + gap[0], treated[1] + gap[1]))}
            crews[:] = [crew for crew in crews if crew not in gone]
            if len(tied) == len(gaps):
                ends = [(_window(crew), gap) for crew, gap in tied if crew not in gone]
                treated = _joined(treated, [(low - gap[1], high - gap[0]) for (low, high), gap in ends])
    return all(option.works) and treated[0] <= treated[1]


def _treated(option: Option, visits: Visits) -> Window:
    """Hours of the treatment by what the ranch does itself."""
    need, shape = option.need, option.shape
    assert need.anchor is not None
    low, high = visits.hours(need, option.ai_day + need.anchor.day, shape.patterns[need.anchor.key].length)
    for trip in own_trips(option):
        gap = shape.gaps[trip.ai.key] if trip.ai is not None else bounds(need).get(trip.key)
        if gap is not None and trip is not need.anchor:
            first, last = visits.hours(need, option.ai_day + trip.day, shape.patterns[trip.key].length)
            low, high = max(low, first - gap[1]), min(high, last - gap[0])
    return low, high


def _gap(option: Option, number: int, crew: Crew) -> Window | None:
    """Least and most minutes from the treatment to a work, where a rule says so."""
    trip = option.need.works[number].trip
    if crew.gap is not None or trip is None:
        return crew.gap
    return bounds(option.need).get(trip.key)


def _joined(window: Window, others: Sequence[Window]) -> Window:
    """What the widest of the others leaves of a window."""
    if not others:
        return window[0], window[0] - 1
    return max(window[0], min(low for low, _ in others)), min(window[1], max(high for _, high in others))


def _reach(crew: Crew, routes: Routes) -> bool:
    """Narrow a crew's stops to hours at which all of it can be there; whether any are left."""
    for stop in crew.stops:
        opens, closes = routes.hours(stop.person, stop.day)
        way = routes.model.road(routes.model.people[stop.person].base)[stop.place][1]
        if not _clip(crew, (opens + way, closes - way - stop.length)):
            return False
    return True


def _clip(crew: Crew, window: Window) -> bool:
    """Narrow all stops of a crew, which start at once; whether any hour is left."""
    low, high = _window(crew)
    low, high = max(low, window[0]), min(high, window[1])
    for stop in crew.stops:
        stop.low, stop.high = low, high
    return low <= high


def _window(crew: Crew) -> Window:
    return max(stop.low for stop in crew.stops), min(stop.high for stop in crew.stops)
