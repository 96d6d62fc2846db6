"""Costs that ranches share: split by a set rule, exact to the cent, and a statement for each ranch."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from scheduling.kernel.advice.money import CENT, cents
from scheduling.kernel.reader import ReadError


class SplitRule(StrEnum):
    """How a shared cost is split."""

    HEAD = "by head"
    EQUAL = "in equal parts"
    KM = "by km from the technician's base"
    HALF = "half in equal parts, half by head"


@dataclass(frozen=True, slots=True)
class Member:
    """A ranch that shares: its head that day and its distance (km) from the technician's base."""

    id: str
    head: int
    km: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class SharedCost:
    """A cost of several ranches: a technician day, km, a barn. `members`: who shares it (empty: everybody)."""

    words: str
    amount: Decimal
    rule: SplitRule
    members: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Share:
    """A ranch's part of one cost."""

    words: str
    rule: SplitRule
    whole: Decimal
    part: Decimal


@dataclass(frozen=True, slots=True)
class Statement:
    """What one ranch pays: its own costs and its parts of shared ones."""

    member: str
    own: tuple[tuple[str, Decimal], ...]
    shares: tuple[Share, ...]

    @property
    def total(self) -> Decimal:
        """All of it."""
        return sum((amount for _, amount in self.own), Decimal(0)) + sum((row.part for row in self.shares), Decimal(0))


def split(amount: Decimal, weights: Mapping[str, Decimal]) -> dict[str, Decimal]:
    """An amount split in proportion to weights, in whole cents that add up to it exactly.

    Each part is cut to the cent; the cents left over go to the largest remainders, ties by id. Without any weight the parts are
    equal. `ReadError` for an amount that is negative or has part-cents, for a negative weight, or for nobody to share.
    """
    if amount < 0 or amount != cents(amount):
        raise ReadError("amount", "nothing or more, in whole cents")
    if not weights or min(weights.values()) < 0:
        raise ReadError("members", "at least one, with no negative head or km")
    whole = sum(weights.values(), Decimal(0))
    fair = {key: amount * (weight / whole if whole else Decimal(1) / len(weights)) for key, weight in weights.items()}
    parts = {key: (value // CENT) * CENT for key, value in fair.items()}
    left = int((amount - sum(parts.values(), Decimal(0))) / CENT)
    for key in sorted(fair, key=lambda key: (-(fair[key] - parts[key]), key))[:left]:
        parts[key] += CENT
    return parts


def split_by_rule(amount: Decimal, rule: SplitRule, members: Sequence[Member]) -> dict[str, Decimal]:
    """An amount split over members by a set rule, exact to the cent."""
    ids = [member.id for member in members]
    if len(set(ids)) != len(ids):
        raise ReadError("members", "each ranch once")
    heads = {member.id: Decimal(member.head) for member in members}
    if rule is SplitRule.HEAD:
        return split(amount, heads)
    if rule is SplitRule.KM:
        return split(amount, {member.id: member.km for member in members})
    equal = {member.id: Decimal(1) for member in members}
    if rule is SplitRule.EQUAL:
        return split(amount, equal)
    half = (amount / 2 // CENT) * CENT
    first, second = split(half, equal), split(amount - half, heads)
    return {key: first[key] + second[key] for key in first}


def statements(
    members: Sequence[Member],
    shared: Sequence[SharedCost],
    own: Mapping[str, Sequence[tuple[str, Decimal]]] | None = None,
) -> tuple[Statement, ...]:
    """A statement for each member; over all of them every shared cost adds up to its whole."""
    by_id = {member.id: member for member in members}
    rows: dict[str, list[Share]] = {member.id: [] for member in members}
    for cost in shared:
        unknown = [key for key in cost.members if key not in by_id]
        if unknown:
            raise ReadError("members", f"ranches of the list; there is no {unknown[0]}")
        sharing = [by_id[key] for key in cost.members] or list(members)
        for key, part in split_by_rule(cost.amount, cost.rule, sharing).items():
            rows[key].append(Share(cost.words, cost.rule, cost.amount, part))
    given = own or {}
    return tuple(Statement(member.id, tuple(given.get(member.id, ())), tuple(rows[member.id])) for member in members)
