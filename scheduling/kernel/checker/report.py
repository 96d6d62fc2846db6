"""What the checker says."""

from dataclasses import dataclass

from scheduling.kernel.plan import Cost


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule that the plan breaks: its number in the contract, a code, a sentence, and ids and days it is about."""

    rule: int
    code: str
    text: str
    about: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """Every broken rule (none: the plan may be published) and the cost, recomputed."""

    broken: tuple[Broken, ...]
    cost: Cost
