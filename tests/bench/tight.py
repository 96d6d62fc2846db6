"""Explanations: `python -m tests.bench.tight M --seeds 3`. Seasons with a third of the technicians and a day either way.

A line each and a summary: groups left out, seconds of computing for each explained, how many causes, how many remedies; causes
that are one too many and remedies that do not work when the season file is changed as they say.
"""

import argparse
import statistics
import time
from collections import Counter

from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.explain import explain
from scheduling.kernel.season import load_season
from tests.factories.seasons import SIZES
from tests.factories.tight import PROTOCOLS, needless, remedy_works, search_at, tight_document

_TRIED = 40


def main() -> None:
    """Every seed from 1 up."""
    parser = argparse.ArgumentParser()
    parser.add_argument("size", choices=SIZES)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--rounds", type=int, default=50)
    parser.add_argument("--technicians", type=int, default=3, help="one technician in so many is left")
    parser.add_argument("--days", type=int, default=1, help="days that AI may lie from the wish")
    parser.add_argument("--most", type=int, default=120, help="head a technician takes a day")
    wanted = parser.parse_args()
    took: list[float] = []
    causes: list[int] = []
    kinds: Counter[str] = Counter()
    remedies: Counter[str] = Counter()
    wrong, idle = 0, 0
    for seed in range(1, wanted.seeds + 1):
        document = tight_document(wanted.size, seed, technicians=wanted.technicians, days=wanted.days, most=wanted.most)
        season = load_season(document, PROTOCOLS)
        plan = solve(season, seed=1, budget=Budget(rounds=wanted.rounds))
        search = search_at(season, plan)
        for item in plan.unplaced[:_TRIED]:
            begun = time.process_time()
            told = explain(search, search.model.index[item.group], with_remedies=True)
            took.append(time.process_time() - begun)
            causes.append(len(told.causes))
            kinds.update(cause.kind for cause in told.causes)
            remedies.update(remedy.field for remedy in told.remedies)
            if faults := needless(search, told):
                wrong += 1
                print(f"  {item.group}: causes {[cause.kind for cause in told.causes]}: {faults}")
            for remedy in told.remedies:
                if not remedy_works(document, plan, remedy):
                    idle += 1
                    print(f"  {item.group}: does not work: {remedy.text} ({remedy.field} -> {remedy.to})")
        print(f"{wanted.size} seed {seed}: {len(plan.groups)} groups in, {len(plan.unplaced)} out", flush=True)
    if took:
        print(
            f"{wanted.size}: {len(took)} explained, {statistics.median(took):.3f} s each (median), {max(took):.3f} s at most, of "
            f"computing; causes a group {statistics.mean(causes):.2f} on average, {max(causes)} at most, {dict(kinds)}; sets not "
            f"smallest {wrong}; remedies {sum(remedies.values())} {dict(remedies)}, not working {idle}"
        )


if __name__ == "__main__":
    main()
