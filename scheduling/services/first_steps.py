"""What a new co-op has and has not yet on the way to its first published season."""

from dataclasses import dataclass

from accounts.models import Cooperative, Invitation, Membership
from herdplan.herds.models import BreedingGroup, Ranch
from herdplan.technicians.models import Technician
from scheduling.models import Season


@dataclass(frozen=True, slots=True)
class FirstSteps:
    """What is there already; `season` is the one to go on with."""

    ranches: bool
    groups: bool
    technicians: bool
    people: bool
    season: Season | None
    entered: bool
    planned: bool


def first_steps(cooperative: Cooperative) -> FirstSteps | None:
    """Where the co-op stands; None once a season is published."""
    seasons = Season.objects.filter(cooperative=cooperative)
    if seasons.exclude(published_plan=None).exists():
        return None
    season = seasons.first()
    return FirstSteps(
        ranches=Ranch.objects.filter(cooperative=cooperative).exists(),
        groups=BreedingGroup.objects.filter(herd__ranch__cooperative=cooperative).exists(),
        technicians=Technician.objects.filter(cooperative=cooperative).exists(),
        people=Invitation.objects.filter(cooperative=cooperative).exclude(role="coordinator").exists()
        or Membership.objects.filter(cooperative=cooperative).exclude(role="coordinator").exists(),
        season=season,
        entered=season is not None and season.entered.exists(),
        planned=season is not None and season.plan_id is not None,
    )
