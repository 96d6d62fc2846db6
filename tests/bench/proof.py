"""The proof on small seasons: `python -m tests.bench.proof --seeds 20 --seconds 10`. A line each; exit 1 where a rule is broken.

Seconds are of computing in this one process.
"""

import argparse
import time

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import load_season
from tests.factories.seasons import season_document


def main() -> None:
    """Every seed from 1 up: cost, kind of bound, seconds, rules broken."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=10)
    wanted = parser.parse_args()
    proven = broken = 0
    for seed in range(1, wanted.seeds + 1):
        season = load_season(season_document("S", seed), load_catalogue().protocols)
        begun = time.process_time()
        plan = solve(season, seed=1, budget=Budget(seconds=wanted.seconds), clock=time.process_time)
        took = time.process_time() - begun
        faults = len(check(season, plan).broken)
        proven += plan.bound.kind != "none"
        broken += faults
        print(
            f"S seed {seed}: cost {plan.cost.total}, bound {plan.bound.value} {plan.bound.kind}, {took:.1f} s, "
            f"{plan.cost.unplaced} out, broken {faults}",
            flush=True,
        )
    print(f"shown to be best {proven} of {wanted.seeds}, rules broken {broken}")
    raise SystemExit(1 if broken else 0)


if __name__ == "__main__":
    main()
