"""What each ranch pays of the costs that the co-op shares, from the published plan, exact to the cent. No query of its own."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from accounts.units import KM_PER_MILE
from scheduling.kernel.advice.money import cents
from scheduling.kernel.advice.sharing import Member as Sharer
from scheduling.kernel.advice.sharing import SplitRule, split_by_rule
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.days import road_km
from scheduling.kernel.season import Season as Problem
from scheduling.kernel.season import load_season
from scheduling.models import CoopPrices, PlanVersion, SplitBy
from scheduling.services.catalogue import step_words

_RULES = {
    SplitBy.HEAD: SplitRule.HEAD,
    SplitBy.EQUAL: SplitRule.EQUAL,
    SplitBy.KM: SplitRule.KM,
    SplitBy.HALF: SplitRule.HALF,
}


@dataclass(frozen=True, slots=True)
class Item:
    """A line of a statement. `whole` is the cost that is shared, None where it is the ranch's own."""

    day: date | None
    words: str
    rule: str
    whole: Decimal | None
    part: Decimal


@dataclass(frozen=True, slots=True)
class RanchStatement:
    """What one ranch pays. `id` is the ranch's id, `head` its head inseminated by technicians."""

    id: str
    name: str
    head: int
    items: tuple[Item, ...]

    @property
    def total(self) -> Decimal:
        """All of it."""
        return sum((item.part for item in self.items), Decimal(0))


@dataclass(frozen=True, slots=True)
class SeasonCosts:
    """Every ranch's statement. `whole` is summed from the costs themselves, not from the parts."""

    statements: tuple[RanchStatement, ...]
    whole: Decimal

    @property
    def parts(self) -> Decimal:
        """What all statements add up to."""
        return sum((row.total for row in self.statements), Decimal(0))


@dataclass(frozen=True, slots=True)
class _Stop:
    """A visit, told by what a statement needs."""

    technician: str
    day: date
    ranch: str
    head: int
    ai: bool
    barn: str | None


@dataclass(frozen=True, slots=True)
class _Cost:
    """A shared cost with who shares it."""

    day: date | None
    words: str
    amount: Decimal
    by: SplitBy
    sharers: tuple[Sharer, ...]


def season_costs(plan: PlanVersion, prices: CoopPrices, distance_unit: str) -> SeasonCosts:
    """The statements of a published plan at the prices given, ranches in the order of their names.

    A technician's day and road are shared by the ranches visited that day, a barn by all that use it. Distances are told in
    `distance_unit` (mi or km).
    """
    problem = load_season(plan.problem, load_catalogue().protocols)
    stops = list(_stops(plan.document, problem))
    costs = [*_day_costs(plan.document, problem, stops, prices, distance_unit), *_barn_costs(plan, stops, prices)]
    items: dict[str, list[Item]] = defaultdict(list)
    for cost in costs:
        for ranch, part in split_by_rule(cost.amount, _RULES[cost.by], cost.sharers).items():
            items[ranch].append(Item(cost.day, cost.words, SplitBy(cost.by).label.lower(), cost.amount, part))
    whole = sum((cost.amount for cost in costs), Decimal(0))
    for ranch, item in _fees(stops, prices, problem):
        items[ranch].append(item)
        whole += item.part
    return SeasonCosts(tuple(_statements(problem, stops, items)), whole)


def _stops(document: dict[str, Any], problem: Problem) -> Iterator[_Stop]:
    """Visits in the order of their hours. A split-time lot is reserved for twice over; each animal is counted once here."""
    groups = {group.id: group for group in problem.groups}
    left = {(item["id"], i): lot["head"] for item in document["groups"] for i, lot in enumerate(item["lots"])}
    for visit in sorted(
        document["visits"], key=lambda item: (datetime.fromisoformat(item["start"]), item["technician"])
    ):
        group, head = groups[visit["group"]], visit["head"]
        ai = step_words(group.protocol.id, visit["step"]).kind == "ai"
        if ai:
            head = min(head, left[group.id, visit["lot"]])
            left[group.id, visit["lot"]] -= head
        yield _Stop(
            technician=visit["technician"],
            day=datetime.fromisoformat(visit["start"]).astimezone(problem.zone).date(),
            ranch=group.ranch,
            head=head,
            ai=ai,
            barn=visit.get("barn"),
        )


def _day_costs(
    document: dict[str, Any], problem: Problem, stops: Sequence[_Stop], prices: CoopPrices, unit: str
) -> Iterator[_Cost]:
    of_day: dict[tuple[str, date], list[_Stop]] = defaultdict(list)
    for stop in stops:
        of_day[stop.technician, stop.day].append(stop)
    for row in document["days"]:
        day = date.fromisoformat(row["day"])
        mine = of_day[row["technician"], day]
        person = problem.technicians[row["technician"]]
        sharers = tuple(_sharers(problem, (person.lat, person.lon), mine))
        if not sharers:
            continue
        if prices.technician_day:
            words = f"{person.name}'s day"
            yield _Cost(day, words, cents(prices.technician_day), SplitBy(prices.technician_day_by), sharers)
        if prices.km and row["km"]:
            words = f"{person.name}'s road, {_distance(row['km'], unit)}"
            amount = cents(Decimal(str(row["km"])) * prices.km)
            yield _Cost(day, words, amount, SplitBy(prices.km_by), sharers)


def _distance(km: float, unit: str) -> str:
    return f"{km / KM_PER_MILE:.0f} miles" if unit == "mi" else f"{km:.0f} km"


def _sharers(problem: Problem, base: tuple[float, float], stops: Sequence[_Stop]) -> Iterator[Sharer]:
    """Ranches of a technician's day with their head that day and their road km from the base."""
    heads: dict[str, int] = defaultdict(int)
    for stop in stops:
        heads[stop.ranch] += stop.head
    for name, head in sorted(heads.items()):
        ranch = problem.ranches[name]
        km = Decimal(str(round(road_km(problem, base, (ranch.lat, ranch.lon)), 3)))
        yield Sharer(name, head, km)


def _barn_costs(plan: PlanVersion, stops: Sequence[_Stop], prices: CoopPrices) -> Iterator[_Cost]:
    """Every barn's days together, shared by all ranches that use it."""
    if not prices.barn_day:
        return
    days: dict[str, set[tuple[str, date]]] = defaultdict(set)
    heads: dict[tuple[str, str], int] = defaultdict(int)
    for stop in stops:
        if stop.barn is not None:
            days[stop.barn].add((stop.ranch, stop.day))
            heads[stop.barn, stop.ranch] += stop.head
    for barn, used in sorted(days.items()):
        sharers = tuple(Sharer(ranch, heads[barn, ranch]) for ranch in sorted({ranch for ranch, _ in used}))
        words = f"Breeding barn, {len(used)} day{'s' if len(used) > 1 else ''}"
        yield _Cost(None, words, cents(prices.barn_day * len(used)), SplitBy(prices.barn_by), sharers)


def _fees(stops: Sequence[_Stop], prices: CoopPrices, problem: Problem) -> Iterator[tuple[str, Item]]:
    """What a ranch pays for itself: the technician's fees a head and a visit."""
    names = {key: person.name for key, person in problem.technicians.items()}
    heads: dict[tuple[date, str, str], int] = defaultdict(int)
    for stop in stops:
        heads[stop.day, stop.technician, stop.ranch] += stop.head if stop.ai else 0
    for (day, technician, ranch), head in sorted(heads.items()):
        name = names[technician]
        if prices.technician_visit:
            yield ranch, Item(day, f"{name}'s visit", "your own", None, cents(prices.technician_visit))
        if prices.technician_head and head:
            amount = cents(prices.technician_head * head)
            yield ranch, Item(day, f"{name}'s fee, {head} head inseminated", "your own", None, amount)


def _statements(problem: Problem, stops: Sequence[_Stop], items: dict[str, list[Item]]) -> Iterator[RanchStatement]:
    heads: dict[str, int] = defaultdict(int)
    for stop in stops:
        heads[stop.ranch] += stop.head if stop.ai else 0
    for key, ranch in sorted(problem.ranches.items(), key=lambda pair: (pair[1].name, pair[0])):
        lines = sorted(items[key], key=lambda item: (item.day or date.max, item.words))
        yield RanchStatement(key, ranch.name, heads[key], tuple(lines))


def statement_rows(statement: RanchStatement, currency: str) -> list[list[str]]:
    """A statement as rows of a sheet: names first, the total last. Amounts are plain numbers."""
    head = ["day", "what", "shared", f"whole cost {currency}", f"this ranch pays {currency}"]
    rows = [
        [
            item.day.isoformat() if item.day else "",
            item.words,
            item.rule,
            "" if item.whole is None else f"{item.whole:.2f}",
            f"{item.part:.2f}",
        ]
        for item in statement.items
    ]
    return [head, *rows, ["", "Total", "", "", f"{statement.total:.2f}"]]
