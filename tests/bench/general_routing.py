"""General vehicle routing with time windows: `python -m tests.bench.general_routing random --seconds 30 [--seed 1] [--day 300]`.

What runs is the product's own `solve`, as for any season. The same instance, to the metre and the minute, is written down a
second time, by hand, for PyVRP, which is run for long: iterations from several seeds, none of it through the product's code.
The best known value is the cheapest of these and of ours. Public instances come by download only, so that none are used.
"""

import argparse
import time

from pyvrp import Model as Reference
from pyvrp.stop import MaxIterations

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.search.model import Model
from scheduling.kernel.season import Season, load_season
from tests.factories.general_day import AI_RATE, general_day_document


def reference(season: Season, iterations: int, seed: int) -> float:
    """Cost by the reference solver on the same kilometres, minutes, windows and loads (nobody may be left out)."""
    ours, model = Model(season), Reference()
    base = ours.people[0].base
    places = [model.add_location(i, 0) for i in range(len(season.groups) + 1)]
    depot = model.add_depot(places[0])
    for place, group in zip(places[1:], season.groups, strict=True):
        ranch = season.ranches[group.ranch]
        lasts = group.head * 60 // AI_RATE
        opens, closes = (clock.hour * 60 + clock.minute for clock in (ranch.opens, ranch.closes))
        model.add_client(place, delivery=group.head, service_duration=lasts, tw_early=opens, tw_late=closes - lasts)
    day_cost = round(season.weights.technician_day * 1000)
    load = min(person.max_head_per_day for person in season.technicians.values())
    crew = len(season.technicians)
    model.add_vehicle_type(crew, load, depot, depot, fixed_cost=day_cost, tw_early=4 * 60, tw_late=22 * 60)
    numbers = [base, *range(len(season.groups))]
    for i, one in enumerate(numbers):
        for j, other in enumerate(numbers):
            if i != j:
                km, minutes = ours.road(one)[other]
                model.add_edge(places[i], places[j], round(km * 1000), minutes)
    found = model.solve(MaxIterations(iterations), seed=seed, display=False)
    if not found.is_feasible():
        raise SystemExit("The reference solver found no plan; take another seed.")
    return float(found.cost()) / 1000


def main() -> None:
    """Both on one instance, one line."""
    parser = argparse.ArgumentParser()
    parser.add_argument("layout", choices=("random", "clustered", "mixed"))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument("--day", type=float, default=300, help="cost of a technician-day")
    parser.add_argument(
        "--iterations", type=int, default=50_000, help="of the reference solver, from each of its seeds"
    )
    parser.add_argument("--runs", type=int, default=3, help="seeds of the reference solver")
    wanted = parser.parse_args()
    made = general_day_document(wanted.layout, wanted.seed, technician_day=wanted.day)
    season = load_season(made, load_catalogue().protocols)
    references = [reference(season, wanted.iterations, seed) for seed in range(1, wanted.runs + 1)]
    begun = time.monotonic()
    plan = solve(season, seed=1, budget=Budget(seconds=wanted.seconds), clock=time.process_time)
    broken = check(season, plan).broken
    best = min(plan.cost.total, *references)
    print(
        f"{wanted.layout} seed {wanted.seed}, day {wanted.day:g}: best known {best:.1f} (reference "
        f"{', '.join(f'{100 * (cost / best - 1):.2f}' for cost in references)} % above), ours {plan.cost.total:.1f} in "
        f"{wanted.seconds:g} s of computing ({time.monotonic() - begun:.0f} s of wall time, {plan.rounds} rounds, "
        f"{plan.cost.technician_days} technician-days, {plan.cost.unplaced} out), gap "
        f"{100 * (plan.cost.total / best - 1):.2f} %, rules broken {len(broken)}"
    )
    raise SystemExit(bool(broken))


if __name__ == "__main__":
    main()
