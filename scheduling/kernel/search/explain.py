"""Why a group found no place, and single changes that would make it fit, each tried by really inserting it.

The causes are a smallest set of requirements that cannot all hold: every requirement is lifted in turn, and what can be
lifted without the group finding a place is dropped (deletion filter). All other groups stay where they are, and count as a
requirement of their own.

The filter is right only where lifting a requirement takes no place away. The insertion alone does not promise that: AI after
heat keeps to the ends of the ranch's day, wide hours are tried in coarse steps, a barn brings stalls. So whatever was lifted
may also be kept (`Requirement.narrows`), and a group fits where it fits either way.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import combinations
from math import inf

from scheduling.kernel.plan import Cause, Remedy, Unplaced
from scheduling.kernel.search.insertion import Insertion
from scheduling.kernel.search.model import Model, Need
from scheduling.kernel.search.packing import pack, unpack
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Group, Hands, Order, Ranch, Season, Technician

_WIDEN = (1, 2, 3, 5, 7, 10, 14)
_WIDE_DAYS = 14
_ANY_PRICE = 1e12


Lift = Callable[[Season, Group], tuple[Season, Group]]
# Tells the seconds that remain.
Left = Callable[[], float]
_NO_TIME = "The seconds given were over before it was found out why: plan the season once more with more of them."


def endless() -> float:
    """No limit."""
    return inf


@dataclass(frozen=True)
class Requirement:
    """Something that a person could change: its kind, a short name, words, what it is about, and the season without it.

    `narrows`: without it the search may overlook places that it finds with it.
    """

    kind: str
    name: str
    text: str
    about: tuple[str, ...]
    lift: Lift
    narrows: bool = False


def explain(search: Search, index: int, *, with_remedies: bool, left: Left = endless) -> Unplaced:
    """Causes in sentences and, where asked for, remedies that were tried, as far as the seconds go that are left."""
    need = search.model.needs[index]
    causes = tuple(_causes(search, need, left, alone=_fits_alone(search, need)))
    return Unplaced(need.group.id, causes, tuple(_remedies(search, need, left)) if with_remedies else ())


def explain_all(
    search: Search, out: Sequence[int], *, most: int, left: Left, tell: Callable[[], None]
) -> tuple[Unplaced, ...]:
    """Why groups are out, and remedies for so many of them, as far as the seconds go that are left.

    First whether each would fit without the others, which is quick; then remedies, in half of the seconds that remain; then
    what binds each. `tell` is called again and again, so that whoever waits sees that something is done.
    """
    needs = [search.model.needs[index] for index in out]
    alone: dict[int, bool | None] = {}
    remedies: dict[int, tuple[Remedy, ...]] = {}
    causes: dict[int, tuple[Cause, ...]] = {}
    for need in needs:
        alone[need.index] = _fits_alone(search, need) if left() > 0 else None
        tell()
    half = left() / 2
    for need in needs[:most]:
        if left() > half or half == inf:
            remedies[need.index] = tuple(_remedies(search, need, left))
            tell()
    for need in sorted(needs, key=lambda need: alone[need.index] is True):  # of the others nothing can be said in short
        causes[need.index] = tuple(_causes(search, need, left, alone=alone[need.index]))
        tell()
    return tuple(Unplaced(need.group.id, causes[need.index], remedies.get(need.index, ())) for need in needs)


# -- what cannot all hold -----------------------------------------------------------------------------------------
def _fits_alone(search: Search, need: Need) -> bool:
    """Whether the group would find a place if there were no others."""
    return _Trial(search, need).fits(list(requirements(search.model, need)), without_others=True)


def _causes(search: Search, need: Need, left: Left, *, alone: bool | None) -> Iterator[Cause]:
    """`alone`: whether the group would find a place if there were no others (None: nobody looked)."""
    trial = _Trial(search, need)
    core = list(requirements(search.model, need))
    if left() <= 0:
        yield _in_short(need, alone=alone)
        return
    if alone:
        core.append(_others(need))
    if not trial.fails(core):  # the search overlooked a place that is there: say so rather than invent a conflict
        yield Cause("overlooked", "There is a place; plan the season once more.", (need.group.id,))
        return
    smallest = True
    for requirement in list(core):
        smallest = smallest and left() > 0
        rest = [item for item in core if item is not requirement]
        if smallest and trial.fails(rest):
            core = rest
    if not core:
        text = f"The programme does not fit the handling hours of {need.ranch.name} with {need.group.head} head on any day."
        yield Cause("hours", text, (need.group.id, need.ranch.id))
    for requirement in core:
        yield Cause(requirement.kind, _sentence(requirement, core, smallest=smallest), requirement.about)


def _sentence(requirement: Requirement, core: Sequence[Requirement], *, smallest: bool) -> str:
    """One readable sentence; where several hold together, each says so, and where there was no time to try without some."""
    said = f"{requirement.text[0].upper()}{requirement.text[1:]}"
    if len(core) == 1:
        return f"{said}: that alone leaves no day."
    others = ", ".join(item.name for item in core if item is not requirement)
    maybe = "" if smallest else " (there was no time to see whether it takes them all)"
    return f"{said}; together with {others} that leaves no day{maybe}."


def _in_short(need: Need, *, alone: bool | None) -> Cause:
    """What can be said of a group for which there was no time."""
    if alone:
        others = _others(need)
        text = f"{others.text[0].upper()}{others.text[1:]}; there was no time to see what else binds the group."
        return Cause(others.kind, text, others.about)
    found = "" if alone is None else "The group finds no place even without the others. "
    return Cause("not_looked_into", found + _NO_TIME, (need.group.id,))


def _others(need: Need) -> Requirement:
    text = f"technicians, barns or the chute of {need.ranch.name} are taken by other groups at the hours that are left"
    name = "the other groups where they are"
    return Requirement("taken", name, text, (need.group.id, need.ranch.id), lambda season, group: (season, group))


def requirements(model: Model, need: Need) -> Iterator[Requirement]:
    """What binds the group, in the order in which the filter tries to do without it. Other groups are not among it."""
    season, group, ranch = model.season, need.group, need.ranch
    text = f"leaving the group out costs {season.weights.unplaced:,.0f}, and every place costs more"
    yield Requirement("price", "the price of leaving a group out", text, (group.id,), _at_any_price)
    text = f"AI must fall from {group.ai_from:%a %d %b} to {group.ai_to:%a %d %b}"
    about: tuple[str, ...] = (group.id, group.ai_from.isoformat(), group.ai_to.isoformat())
    yield Requirement("window", "the days wished for", text, about, _wider)
    span = f"{season.first_day:%d %b} to {season.last_day:%d %b}"
    text = f"the programme's {_length(need)} days must lie within the season, {span}"
    yield Requirement("season", "the season's days", text, (group.id,), _longer_season)
    if group.done:
        last = max(group.done, key=lambda item: item.at)
        when = f"{group.protocol.by_key[last.step].label}, {last.at.astimezone(ranch.zone):%a %d %b, %H:%M}"
        text = f"steps that were carried out fix its days and hours (the last: {when})"
        about = (group.id, *(item.step for item in group.done[:3]))
        yield Requirement("done", "the steps carried out", text, about, _not_done, narrows=True)
    if season.not_before is not None:
        now = season.not_before.astimezone(ranch.zone)
        text = f"nothing can begin before {now:%a %d %b, %H:%M}"
        yield Requirement("past", "the hours that are over", text, (group.id,), _in_the_past)
    if ranch.closed_days:
        text = f"{ranch.name} is closed on some of the days needed"
        about = (ranch.id, *(day.isoformat() for day in sorted(ranch.closed_days)[:3]))
        yield Requirement("closed", "the days when the ranch is closed", text, about, _open(ranch))
    text = f"{ranch.name} handles cattle from {ranch.opens:%H:%M} to {ranch.closes:%H:%M}"
    yield Requirement("handling_hours", "the handling hours", text, (ranch.id,), _round_the_clock(ranch), narrows=True)
    if need.works:
        yield from _technician_requirements(season, group)


def _technician_requirements(season: Season, group: Group) -> Iterator[Requirement]:
    able = [person for person in season.technicians.values() if group.skills <= person.skills]
    if group.skills:
        text = f"the group asks for {', '.join(sorted(group.skills))}{'' if able else ', which no technician has'}"
        about = (group.id, *sorted(group.skills))
        yield Requirement("skill", "the skills asked for", text, about, _no_skills, narrows=True)
    off = [person.id for person in able if person.days_off]
    if off:
        text, lift = "technicians have days off", _technicians(days_off=frozenset())
        yield Requirement("days_off", "the technicians' days off", text, (group.id, *off[:3]), lift)
    most = max((person.max_head_per_day for person in able), default=0)
    text, lift = f"nobody takes more than {most} head a day", _technicians(max_head_per_day=5_000)
    if most < group.head and group.steps_by is Hands.TECHNICIAN:
        text += ", and where treatments are bought, nobody else takes the rest of a group"
    yield Requirement("head_limit", "the head limit", text, (group.id,), lift)
    text = "technicians must drive, work and be back within their hours"
    yield Requirement("working_hours", "the technicians' hours", text, (group.id,), _any_hours, narrows=True)
    if group.needs_barn:
        text = "the group needs the breeding barn"
        yield Requirement("barn", "the barn", text, (group.id,), _no_barn, narrows=True)
    if group.order is Order.ANY:
        text = "animals come through the chute in any order, which narrows the hours"
        yield Requirement("order", "the order through the chute", text, (group.id,), _in_order, narrows=True)


def _length(need: Need) -> int:
    days = [step.day for step in need.protocol.steps]
    return max(days) - min(days) + 1


def _at_any_price(season: Season, group: Group) -> tuple[Season, Group]:
    return replace(season, weights=replace(season.weights, unplaced=_ANY_PRICE)), group


def _wider(season: Season, group: Group) -> tuple[Season, Group]:
    first = max(season.first_day, group.ai_from - timedelta(days=_WIDE_DAYS))
    last = min(season.last_day, group.ai_to + timedelta(days=_WIDE_DAYS))
    return season, replace(group, ai_from=min(first, group.ai_from), ai_to=max(last, group.ai_to))


def _longer_season(season: Season, group: Group) -> tuple[Season, Group]:
    more = timedelta(days=60)
    return replace(season, first_day=season.first_day - more, last_day=season.last_day + more), group


def _in_the_past(season: Season, group: Group) -> tuple[Season, Group]:
    return replace(season, not_before=None), group


def _open(ranch: Ranch) -> Lift:
    def lift(season: Season, group: Group) -> tuple[Season, Group]:
        return _with_ranch(season, replace(season.ranches[ranch.id], closed_days=frozenset())), group

    return lift


def _round_the_clock(ranch: Ranch) -> Lift:
    def lift(season: Season, group: Group) -> tuple[Season, Group]:
        now = season.ranches[ranch.id]
        return _with_ranch(
            season,
            replace(now, opens=now.opens.replace(hour=0, minute=0), closes=now.closes.replace(hour=23, minute=59)),
        ), group

    return lift


def _with_ranch(season: Season, ranch: Ranch) -> Season:
    return replace(season, ranches={**season.ranches, ranch.id: ranch})


def _technicians(**change: object) -> Lift:
    def lift(season: Season, group: Group) -> tuple[Season, Group]:
        people: dict[str, Technician] = {key: replace(person, **change) for key, person in season.technicians.items()}  # type: ignore[arg-type]
        return replace(season, technicians=people), group

    return lift


def _any_hours(season: Season, group: Group) -> tuple[Season, Group]:
    people = {
        key: replace(
            person, starts=person.starts.replace(hour=0, minute=0), ends=person.ends.replace(hour=23, minute=59)
        )
        for key, person in season.technicians.items()
    }
    return replace(season, technicians=people), group


def _not_done(season: Season, group: Group) -> tuple[Season, Group]:
    return season, replace(group, done=())


def _no_skills(season: Season, group: Group) -> tuple[Season, Group]:
    return season, replace(group, skills=frozenset())


def _no_barn(season: Season, group: Group) -> tuple[Season, Group]:
    return season, replace(group, needs_barn=False)


def _in_order(season: Season, group: Group) -> tuple[Season, Group]:
    return season, replace(group, order=Order.KEPT)


class _Trial:
    """Tries to insert the group into the plan as it is under some of the requirements only."""

    def __init__(self, search: Search, need: Need) -> None:
        self.search, self.need = search, need

    def fails(self, held: Sequence[Requirement]) -> bool:
        """Whether the group finds no place while these requirements hold and all others are lifted."""
        return not self.fits(held, without_others=all(item.kind != "taken" for item in held))

    def fits(self, held: Sequence[Requirement], *, without_others: bool) -> bool:
        """Whether the group finds a place under the requirements held, beside the other groups or without them."""
        kinds = {item.kind for item in held}
        lifted = [item for item in requirements(self.search.model, self.need) if item.kind not in kinds]
        narrowing = [item for item in lifted if item.narrows]
        kept = (chosen for many in range(len(narrowing) + 1) for chosen in combinations(narrowing, many))
        return any(self._fits([item for item in lifted if item not in some], without_others) for some in kept)

    def _fits(self, lifted: Sequence[Requirement], without_others: bool) -> bool:
        season, group = self.search.model.season, self.need.group
        for requirement in lifted:
            season, group = requirement.lift(season, group)
        return fits(self.search, season, group, without_others=without_others)


def fits(search: Search, season: Season, group: Group, *, without_others: bool = False) -> bool:
    """Whether a changed group finds a place in a changed season, beside all others where they are (or without them)."""
    old = search.model
    if season is old.season and not without_others:
        return _can_insert(search.insertion, old.need(group, old.index[group.id]))
    others = () if without_others else _others_about(search, group)
    model = Model(replace(season, groups=(*others, group)))
    trial = Search(model, 1, {})
    if others and not unpack(trial.state, pack(search.state, {old.index[item.id] for item in others})):
        return False
    return _can_insert(trial.insertion, model.needs[-1])


def _others_about(search: Search, group: Group) -> tuple[Group, ...]:
    """Placed groups that can stand in the way: of the same ranch, or with a technician on a day that matters."""
    state, model = search.state, search.model
    need = model.needs[model.index[group.id]]
    # A day more on either side: a technician's day is the season's, which may lie beside the ranch's.
    first = group.ai_from.toordinal() - _WIDE_DAYS - 1 + min(need.spots, default=0)
    last = group.ai_to.toordinal() + _WIDE_DAYS + 1 + max(need.spots, default=0)
    chosen = set(state.at_ranch[need.place])
    for key, route in state.days.items():
        if first <= key // state.width <= last:
            chosen.update(visit.need.index for visit in route.visits)
    return tuple(model.needs[index].group for index in sorted(chosen) if index != need.index)


def _can_insert(insertion: Insertion, need: Need) -> bool:
    return insertion.worthwhile(need) is not None


# -- what would make it fit ---------------------------------------------------------------------------------------
def _remedies(search: Search, need: Need, left: Left) -> Iterator[Remedy]:
    """Single changes, the mildest of each kind, the cheapest first."""
    found = []
    for remedy in _tried(search, need):
        if remedy is not None:
            found.append(remedy)
        if left() <= 0:
            break
    yield from (remedy for _, remedy in sorted(found, key=lambda item: item[0]))


def _tried(search: Search, need: Need) -> Iterator[tuple[float, Remedy] | None]:
    group = need.group
    yield _days(search, group, "ai_to", 1)
    yield _days(search, group, "ai_from", -1)
    if group.ai_by is Hands.TECHNICIAN:
        yield _change(
            search, group, replace(group, ai_by=Hands.RANCH), "ai_by", "ranch", "Let the ranch inseminate its own."
        )
    if group.steps_by is Hands.TECHNICIAN:
        text = "Let the ranch give the treatments itself."
        yield _change(search, group, replace(group, steps_by=Hands.RANCH), "steps_by", "ranch", text)
    if group.needs_barn:
        text = "Do without the breeding barn."
        yield _change(search, group, replace(group, needs_barn=False), "needs_barn", False, text)
    if group.order is Order.ANY:
        text = "Keep the order through the chute."
        yield _change(search, group, replace(group, order=Order.KEPT), "order", "kept", text)
    yield _fewer(search, group)


def _change(
    search: Search, group: Group, changed: Group, field: str, to: str | bool, text: str
) -> tuple[float, Remedy] | None:
    cost = _price(search, changed)
    return None if cost is None else (cost, Remedy(text, group.id, field, to))


def _price(search: Search, changed: Group) -> float | None:
    """What the changed group adds to the plan's cost; None where it finds no place that is worth it."""
    old = search.model
    found = search.insertion.worthwhile(old.need(changed, old.index[changed.id]))
    return None if found is None else found.cost


def _days(search: Search, group: Group, field: str, step: int) -> tuple[float, Remedy] | None:
    season = search.model.season
    for days in _WIDEN:
        day: date = getattr(group, field) + timedelta(days=step * days)
        if not season.first_day <= day <= season.last_day:
            return None
        cost = _price(search, replace(group, ai_to=day) if field == "ai_to" else replace(group, ai_from=day))
        if cost is not None:
            word = "later" if step > 0 else "earlier"
            text = f"Allow AI {days} day{'s' if days > 1 else ''} {word} ({day:%a %d %b})."
            return cost, Remedy(text, group.id, field, day.isoformat())
    return None


def _fewer(search: Search, group: Group) -> tuple[float, Remedy] | None:
    """The most head, in steps of a tenth, that would find a place."""
    for tenths in range(9, 4, -1):
        head = group.head * tenths // 10
        if head < 1:
            return None
        cost = _price(search, replace(group, head=head))
        if cost is not None:
            text = f"Breed {head} of the {group.head} head in this group, the rest another time."
            return cost, Remedy(text, group.id, "head", head)
    return None
