"""A clash with its remedies side by side: what each does to days, calving, km, technicians and every ranch's burden."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from scheduling.kernel.compare import GroupChange, Situation
from scheduling.kernel.protocol import Protocol
from scheduling.models import ClashAnswer, ClashCase, ClashRemedy, PlanVersion, Season
from scheduling.services.editions import protocols_of
from scheduling.services.fairness import earlier_seasons, holidays_of, season_burdens
from scheduling.services.trials import BurdenRow, Outcome, names_of, outcome_of, situation_of


@dataclass(frozen=True)
class Side:
    """A remedy with all that it does."""

    remedy: ClashRemedy
    outcome: Outcome
    burdens: list[BurdenRow]
    answers: list[ClashAnswer]

    @property
    def km(self) -> float:
        """Road km more (less where negative)."""
        return self.outcome.comparison.cost_now.km - self.outcome.comparison.cost_was.km

    @property
    def days(self) -> int:
        """Technician-days more (fewer where negative)."""
        return self.outcome.comparison.cost_now.technician_days - self.outcome.comparison.cost_was.technician_days

    @property
    def moved(self) -> list[tuple[str, GroupChange]]:
        """Groups with another AI day, by name."""
        return self._named(self.outcome.comparison.moved)

    @property
    def calving(self) -> list[tuple[str, GroupChange]]:
        """Groups whose calves are due on other days than the plan as it stands would have it, or that get a day at all."""
        return self._named(item for item in self.outcome.comparison.groups if item.days or item.gained)

    def _named(self, changes: Iterable[GroupChange]) -> list[tuple[str, GroupChange]]:
        return sorted(((self.outcome.names.get(item.group, ""), item) for item in changes), key=lambda pair: pair[0])

    @property
    def declined(self) -> bool:
        """Whether a ranch said no to it."""
        return any(answer.state == ClashAnswer.State.DECLINED for answer in self.answers)


@dataclass(frozen=True)
class Desk:
    """A clash with its remedies side by side. `earlier` are the published seasons before, the latest first."""

    case: ClashCase
    sides: list[Side]
    failed: list[ClashRemedy]
    earlier: list[Season]


def desk_of(case: ClashCase) -> Desk:
    """Everything that the page of a clash shows. Constant in queries."""
    season = case.season
    remedies = list(case.remedies.select_related("trial").prefetch_related("answers__ranch", "answers__by"))
    earlier = earlier_seasons(season)
    bore = season_burdens(season.cooperative, earlier)
    before = [bore[row.pk] or {} for row in earlier]
    sides = []
    if any(remedy.works for remedy in remedies):
        context = context_of(case)
        for remedy in remedies:
            if remedy.works and remedy.trial.document is not None:
                found = context.outcome(remedy)
                sides.append(Side(remedy, found, found.burdens(before), list(remedy.answers.all())))
    sides.sort(key=lambda side: (side.outcome.comparison.cost_now.total, side.remedy.number))
    failed = [remedy for remedy in remedies if remedy.works is False]
    return Desk(case, sides, failed, earlier)


@dataclass(frozen=True)
class Context:
    """What every remedy of a case is compared with."""

    before: Situation
    protocols: Mapping[str, Protocol]
    holidays: frozenset[date]
    names: dict[str, str]

    def outcome(self, remedy: ClashRemedy) -> Outcome:
        """What a remedy that was tried would change; parts of a split group have names of their own."""
        parts = {
            write["split"]: f"{self.names.get(write['entry'], 'Group')}, part two"
            for write in remedy.writes
            if "split" in write
        }
        return outcome_of(
            remedy.trial,
            before=self.before,
            protocols=self.protocols,
            holidays=self.holidays,
            names={**self.names, **parts},
        )


def context_of(case: ClashCase, base: PlanVersion | None = None) -> Context:
    """What the remedies of a case are compared with: its base plan, or another. Three queries."""
    season, plan = case.season, base or case.base
    protocols = protocols_of(season.cooperative)
    return Context(
        situation_of(plan.problem, plan.document, protocols),
        protocols,
        holidays_of(season.cooperative),
        names_of(season),
    )
