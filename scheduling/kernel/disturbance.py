"""What changing a plan costs: in the points of the season's weights, and for those who live by it."""

from dataclasses import dataclass

from scheduling.kernel.compare import Comparison, GroupChange, Situation
from scheduling.kernel.plan import Plan


@dataclass(frozen=True, slots=True)
class Price:
    """Costs in the points of the season's weights: of the plan before anything happened, of carrying on with what of it can
    still be carried out (`lost` groups are then not bred at AI), and of the new plan."""

    before: float
    unchanged: float
    changed: float
    lost: tuple[str, ...]

    @property
    def change_costs(self) -> float:
        """Points that the new plan costs more than the plan before."""
        return round(self.changed - self.before, 1)

    @property
    def not_changing_costs(self) -> float:
        """Points that carrying on would cost more than the new plan; negative where carrying on is cheaper."""
        return round(self.unchanged - self.changed, 1)


def price(was: Situation, carried_on: Plan, now: Situation) -> Price:
    """What it costs to change, and not to. `carried_on` is what stands of the old plan in the changed season."""
    gone = {item.id for item in was.plan.groups} - {item.id for item in carried_on.groups}
    return Price(was.plan.cost.total, carried_on.cost.total, now.plan.cost.total, tuple(sorted(gone)))


# What a change is worth to whoever is asked for it, in points of the usual weights: a group on another day, each day of it,
# other technicians, other hours on the same day. Our own prices: that a date once given is kept is common practice.
_CHANGED_DAY, _PER_DAY, _CHANGED_CREW, _CHANGED_HOURS = 450.0, 30.0, 40.0, 20.0


def disturbance(comparison: Comparison) -> float:
    """How much two plans differ for those who live by the first, in points."""
    return sum(_disturbed(item) for item in comparison.groups)


def _disturbed(item: GroupChange) -> float:
    points = _CHANGED_DAY + _PER_DAY * abs(item.days) if item.days else 0.0
    points += _CHANGED_CREW if item.crew_changed else 0.0
    same_day = item.day_was == item.day_now
    return points + (_CHANGED_HOURS if same_day and (item.steps or item.recut) else 0.0)
