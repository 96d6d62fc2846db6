"""Many seeds: `python -m tests.bench.many M --seeds 20 --seconds 3`. A line each and a summary; exit 1 where a rule is broken.

Seconds are of computing in this one process (not of waiting for a busy machine), so that figures can be compared. With
`--processes 2` parts are solved one after the other and the seconds are those of two processes at once (`tests/bench/in_turn.py`).
"""

import argparse
import resource
import statistics
import time
from dataclasses import dataclass

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import load_season
from tests.bench.first_fit import first_fit
from tests.bench.in_turn import InTurn
from tests.factories.seasons import SIZES, season_document


@dataclass(frozen=True)
class Found:
    """What came of one seed: costs, seconds to the first plan, groups left out, rules broken by all three plans."""

    by_hand: float
    first: float
    first_s: float
    best: float
    rounds: int
    out: int
    broken: int

    @property
    def ratio(self) -> float:
        """Cost against first fit."""
        return self.best / self.by_hand


def solved(size: str, seed: int, seconds: float, processes: int = 1) -> Found:
    """First fit, first plan and the plan within the budget, all checked."""
    season = load_season(season_document(size, seed), load_catalogue().protocols)
    by_hand = first_fit(season)
    begun = time.process_time()
    first = solve(season, seed=1, budget=Budget(rounds=0))
    first_s = time.process_time() - begun
    turns = InTurn(processes)
    helpers = turns if processes > 1 else None
    best = solve(season, seed=1, budget=Budget(seconds=seconds), clock=turns.clock, helpers=helpers)
    broken = sum(len(check(season, plan).broken) for plan in (by_hand, first, best))
    out = best.cost.unplaced
    return Found(by_hand.cost.total, first.cost.total, first_s, best.cost.total, best.rounds, out, broken)


def main() -> None:
    """Every seed from 1 up."""
    parser = argparse.ArgumentParser()
    parser.add_argument("size", choices=SIZES)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=3)
    parser.add_argument("--processes", type=int, default=1)
    wanted = parser.parse_args()
    rows = []
    for seed in range(1, wanted.seeds + 1):
        begun = time.monotonic()
        row = solved(wanted.size, seed, wanted.seconds, wanted.processes)
        rows.append(row)
        print(
            f"{wanted.size} seed {seed}: by hand {row.by_hand:.0f}, first {row.first:.0f} in {row.first_s:.2f} s, after "
            f"{wanted.seconds:g} s {row.best:.0f} ({row.out} out, {row.rounds} rounds), ratio {row.ratio:.3f}, rules broken "
            f"{row.broken}, {time.monotonic() - begun:.0f} s of wall time in all",
            flush=True,
        )
    ratios = [row.ratio for row in rows]
    print(
        f"{wanted.size}, {len(rows)} seeds, {wanted.seconds:g} s: rules broken {sum(row.broken for row in rows)}, ratio "
        f"{min(ratios):.3f} to {max(ratios):.3f}, median {statistics.median(ratios):.3f}; groups out "
        f"{sum(row.out for row in rows)}; first plan at most {max(row.first_s for row in rows):.2f} s; "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
    )
    raise SystemExit(any(row.broken for row in rows))


if __name__ == "__main__":
    main()
