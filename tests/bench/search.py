"""Benchmark of the search: `python -m tests.bench.search M --seconds 30 --seed 1`. Prints one line; asserts no time."""

import argparse
import resource
import time

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import load_season
from tests.bench.first_fit import first_fit
from tests.factories.seasons import SIZES, season_document


def main() -> None:
    """First fit, first plan, plan within the budget; rules broken by each, memory."""
    parser = argparse.ArgumentParser()
    parser.add_argument("size", choices=SIZES)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    season = load_season(season_document(wanted.size, wanted.seed), load_catalogue().protocols)
    by_hand = first_fit(season)
    begun = time.monotonic()
    first = solve(season, seed=1, budget=Budget(rounds=0))
    first_s = time.monotonic() - begun
    best = solve(season, seed=1, budget=Budget(seconds=wanted.seconds), clock=time.monotonic)
    broken = [len(check(season, plan).broken) for plan in (by_hand, first, best)]
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{wanted.size} seed {wanted.seed}: by hand {by_hand.cost.total:.0f} ({by_hand.cost.unplaced} out), first plan "
        f"{first.cost.total:.0f} in {first_s:.2f} s, after {wanted.seconds:g} s {best.cost.total:.0f} ({best.cost.unplaced} out, "
        f"{best.rounds} rounds), ratio {best.cost.total / by_hand.cost.total:.3f}, broken {broken}, {megabytes:.0f} MB"
    )


if __name__ == "__main__":
    main()
