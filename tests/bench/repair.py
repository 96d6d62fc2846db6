"""`python -m tests.bench.repair SIZE [--seed N] [--seconds S] [--computing]`: a technician is lost for a week; what is repaired, and at what cost.

"Needless" counts groups that got another day although there is a swap: with everybody else where the new plan has them, the
group still fits on its old day with some technician. "Dearer at home" are those of them whose old day would cost more. Times
include whatever was needed to get there; a search has so many seconds and what calming takes after them.
"""

import argparse
import time

from scheduling.kernel.checker import check
from scheduling.kernel.compare import Situation, compare
from scheduling.kernel.disturbance import disturbance
from scheduling.kernel.plan import Plan
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import Season
from scheduling.kernel.standing import least_changed, standing
from tests.factories.repairs import lost_week, moved, needless
from tests.factories.seasons import SIZES


def tell(what: str, was: Situation, season: Season, plan: Plan, seconds: float) -> None:
    """One line of figures."""
    found = compare(was, Situation(season, plan))
    broken = [item for item in check(season, plan).broken if item.code != "cost_printed"]
    print(
        f"{what:<14} {seconds:6.2f} s, cost {plan.cost.total:9.1f}, groups changed {len(found.groups):3d}, "
        f"on another day {len(found.moved):2d}, disturbance {disturbance(found):6.0f}, unplaced {len(plan.unplaced)}, "
        f"rules broken {len(broken)}"
    )


def swaps(was: Situation, season: Season, plan: Plan) -> str:
    """How many groups on another day could have kept theirs."""
    found = needless(season, was.plan, plan)
    worth = sum(cost > plan.cost.total for cost in found.values())
    return f"{len(moved(was.plan, plan))} on another day, needless {len(found)}, dearer at home {worth}"


def main() -> None:
    """Plan, lose a technician, repair."""
    parser = argparse.ArgumentParser()
    parser.add_argument("size", choices=SIZES)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=8.0)
    parser.add_argument(
        "--computing", action="store_true", help="count processor time: for a machine that others share"
    )
    parser.add_argument("--rounds", type=int, default=30, help="rounds of the plan before")
    given = parser.parse_args()
    clock = time.process_time if given.computing else time.perf_counter
    before, first, season = lost_week(given.size, given.seed, given.rounds)
    was = Situation(before, first)
    begun = clock()
    tell("carrying on", was, season, standing(season, was.plan), clock() - begun)
    for what, budget in (("repair", Budget(rounds=0)), ("search", Budget(seconds=given.seconds))):
        begun = clock()
        plan = solve(season, seed=1, budget=budget, keep=was.plan, clock=clock)
        tell(what, was, season, plan, clock() - begun)
        calm = least_changed(season, was.plan, plan)
        tell(f"{what}, calmed", was, season, calm, clock() - begun)
        print(f"  as searched: {swaps(was, season, plan)}")
        print(f"  calmed: {swaps(was, season, calm)}", flush=True)


if __name__ == "__main__":
    main()
