"""Solving a season within a budget."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import inf

from scheduling.kernel.plan import Bound, Plan
from scheduling.kernel.search.budget import Budget, Progress
from scheduling.kernel.search.build import plan_of
from scheduling.kernel.search.collector import no_collector
from scheduling.kernel.search.cooling import Cooling
from scheduling.kernel.search.exact import MOST_GROUPS, Proof
from scheduling.kernel.search.explain import explain_all
from scheduling.kernel.search.keeping import adopt, under_way, wishes_of
from scheduling.kernel.search.model import Model
from scheduling.kernel.search.packing import Packed, pack
from scheduling.kernel.search.parts import WHOLE, Helpers, Part, PartResult, Stretch, Waiting, join, part_of, stretches
from scheduling.kernel.search.polish import WIDE
from scheduling.kernel.search.returning import returned_in, send_home
from scheduling.kernel.search.rounds import Search
from scheduling.kernel.season import Season

_EXPLAINED = 40
# Seasons with more groups are cut into stretches of days; smaller ones are given whole, each time with another seed.
_CUT_ABOVE = 200
# Where the cuts lie (share of a stretch), up to which share of the budget, how hot: a whole cooling, then cooler ones across
# the cuts. What is left is for the whole season, warm at most, by one process: so it is little.
_TURNS = ((0.0, 0.45, inf), (0.5, 0.72, 25.0), (0.25, 0.96, 12.0))
_WARM = 15.0
# Seasons given whole: so many turns at most, of so many seconds at least, up to so much of the budget; what choosing among the
# technician-days of all may take of it each time.
_MOST_TURNS, _TURN_S = 6, 10.0
_TOGETHER = 0.9
_JOINED = 0.08
_POLL_S = 0.05
# A proof begins from a plan that so many rounds have made, with a choice among their technician-days up to that share of the
# budget (it takes 0.05 s). With rounds alone it may look at so many orders of stops for each of
# them and choose once for so many: about as much work as the rounds were.
_WARMED_UP = 300
_CHOSEN_BY = 0.15
_ROWS_A_ROUND = 8
_ROUNDS_A_CHOICE = 40
_LEAST_ROUNDS = 100
# Of a budget in seconds so much is left for the search where the proof comes to no end: less where a helper searches beside,
# for so much of the seconds.
_FOR_THE_SEARCH, _WITH_HELP = 0.1, 0.03
_BESIDE = 0.6


@no_collector()
def solve(
    season: Season,
    *,
    seed: int,
    budget: Budget,
    keep: Plan | None = None,
    clock: Callable[[], float] | None = None,
    progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    helpers: Helpers | None = None,
) -> Plan:
    """Plan a season. Always returns a plan; groups that fit nowhere are in `unplaced` with causes.

    With rounds alone the same season and seed give the same plan. `clock` counts seconds and is needed for a budget of
    seconds. `keep` is an earlier plan: what still fits of it stays, and changing it costs. `helpers` solve parts of the season
    at the same time; they need a budget of seconds and no plan to keep, else they are not asked.
    """
    search = Search(Model(season), seed, {})
    cooling = Cooling(search, budget, clock, progress, should_stop)
    wishes = wishes_of(search.model, search.state, keep)
    search.insertion.wishes = wishes
    search.state.routes.under_way = under_way(search.model, keep, wishes)
    adopt(search.insertion, wishes)
    search.first_plan()
    cooling.tell()
    proof = None
    if len(search.model.needs) <= MOST_GROUPS and not wishes:
        if _let_in(search):
            search.keep_if_cheaper(search.best)
        waiting = _beside(search, cooling, helpers, seed)
        proof = _prove(search, cooling, _FOR_THE_SEARCH if waiting is None else _WITH_HELP)
        if waiting is not None:
            _join_beside(search, cooling, waiting, wanted=proof is None)
    elif helpers is not None and helpers.count and not wishes and budget.seconds and clock and budget.rounds is None:
        _together(search, cooling, helpers, seed, budget.seconds)
    if proof is None and cooling.going():
        cooling.run()
    return _plan(search, cooling, seed, {index: wish.day for index, wish in wishes.items()}, proof)


def _beside(search: Search, cooling: Cooling, helpers: Helpers | None, seed: int) -> Waiting | None:
    """Somebody who searches while the season is proven, should that come to no end; None where seconds are not counted."""
    budget = cooling.budget
    if helpers is None or helpers.count < 2 or not budget.seconds or budget.rounds is not None or not cooling.going():
        return None
    return helpers.start([_whole(search, Packed((), ()), seed * 1000 + 1, _BESIDE * budget.seconds, inf)])


def _whole(search: Search, start: Packed, seed: int, seconds: float, hottest: float) -> Part:
    """The whole season as a part."""
    return Part(search.model.season, None, {}, (), 0, start, seed, Budget(seconds=seconds), hottest)


def _all_of(search: Search) -> Stretch:
    return Stretch(WHOLE, tuple(range(len(search.model.needs))), ())


def _join_beside(search: Search, cooling: Cooling, waiting: Waiting, *, wanted: bool) -> None:
    """Take what somebody found beside a proof that came to no end, or end that work."""
    results = waiting.results()
    if wanted:
        _collect(search, cooling, [_all_of(search)], results)
        search.restore(search.best)


def _prove(search: Search, cooling: Cooling, reserve: float) -> str | None:
    """Try to prove the best plan of a small season, which makes it the best; the kind of bound, None without a proof.

    With rounds alone the search comes first and the proof may take as much work as the rounds are worth; with seconds the
    search only warms up, since the proof finds plans faster.
    """
    budget = cooling.budget
    if budget.rounds is not None and budget.rounds < _LEAST_ROUNDS:
        return None
    if budget.rounds is not None:
        cooling.run()
        most, choices = budget.rounds * _ROWS_A_ROUND, budget.rounds // _ROUNDS_A_CHOICE
        return Proof(search, cooling.left, most, choices).run() if cooling.left() > 0 else None
    if not cooling.going():
        return None
    cooling.warm_up(_WARMED_UP)
    cooling.polish_all(_CHOSEN_BY)
    kept = reserve * (budget.seconds or 0.0)
    kind = Proof(search, cooling.left, reserve=kept).run()
    cooling.tell()
    return kind


def _together(search: Search, cooling: Cooling, helpers: Helpers, seed: int, seconds: float) -> None:
    """Let helpers work on parts: stretches of days of a large season, else the whole season from other seeds."""
    if len(search.free) > _CUT_ABOVE:
        for turn, (shift, until, hottest) in enumerate(_TURNS):
            if cooling.going() and cooling.used() < until:
                left = Budget(seconds=(until - cooling.used()) * seconds)
                found = stretches(search, helpers.count, shift)
                parts = [
                    part_of(search, item, seed * 1000 + turn * 10 + i, left, hottest) for i, item in enumerate(found)
                ]
                _collect(search, cooling, found, _waited(cooling, helpers, helpers.start(parts)))
        cooling.hottest = _TURNS[-1][2]
        return
    turns = max(1, min(_MOST_TURNS, int(seconds / _TURN_S)))
    for turn in range(turns):
        if cooling.going():
            last = turn == turns - 1 and turn > 0
            _islands(search, cooling, helpers, seed * 1000 + turn * 10, (turn + 1) / turns, warm=last)
    cooling.hottest = _WARM


def _islands(search: Search, cooling: Cooling, helpers: Helpers, seed: int, turn: float, *, warm: bool) -> None:
    """Let everybody cool the whole season apart, then choose among all technician-days that anybody has seen.

    The helpers begin from nothing, so that their days are others; `warm`: all go on from the best plan.
    """
    until = _TOGETHER * turn
    seconds = (until - cooling.used()) * (cooling.budget.seconds or 0.0)
    start, hottest = (pack(search.state), _WARM) if warm else (Packed((), ()), inf)
    cooling.hottest = hottest
    parts = [_whole(search, start, seed + i, seconds, hottest) for i in range(1, helpers.count)]
    waiting = helpers.start(parts)
    cooling.upto = until
    cooling.run()
    cooling.upto = 1.0
    _collect(search, cooling, [_all_of(search)] * len(parts), _waited(cooling, helpers, waiting))
    search.restore(search.best)
    _choose(cooling, min(1.0, until + _JOINED))


def _choose(cooling: Cooling, end: float) -> None:
    """Set partitioning over all that was seen, by days and across the country in turn, until neither finds anything."""
    idle, across = 0, False
    while idle < 2 and cooling.used() < end and cooling.going():
        idle = 0 if cooling.polish_all(end, WIDE, across=across) else idle + 1
        across = not across


def _waited(cooling: Cooling, helpers: Helpers, waiting: Waiting) -> list[PartResult | None]:
    while not waiting.done() and cooling.going():
        helpers.wait(_POLL_S)
        cooling.tell()
    return waiting.results()


def _collect(search: Search, cooling: Cooling, given: Sequence[Stretch], results: Sequence[PartResult | None]) -> None:
    """Join the parts that came back: stretches all at once, whole seasons one by one."""
    found = [(stretch, result) for stretch, result in zip(given, results, strict=True) if result is not None]
    rounds = sum(result.rounds for _, result in found)
    cooling.done, cooling.helped = cooling.done + rounds, cooling.helped + rounds
    if found and found[0][0].spans == WHOLE:
        for item in found:
            join(search, [item])
    elif found:
        join(search, found)
    cooling.tell()


def _plan(search: Search, cooling: Cooling, seed: int, homes: Mapping[int, int], proof: str | None) -> Plan:
    """The best plan found, with an explanation for every group left out; `homes` are the AI days of a plan that was kept."""
    search.restore(search.best)
    if proof != "proven":
        _let_in(search)
    while homes and send_home(search.insertion, homes) and _let_in(search):
        pass
    search.state.forget()
    out = [i for i, item in enumerate(search.state.placed) if item is None]
    unplaced = explain_all(search, out, most=_EXPLAINED, left=cooling.patience(), tell=cooling.tell)
    plan = plan_of(search.state, seed=seed, rounds=cooling.done, bound=Bound(None, "none"), unplaced=unplaced)
    if proof is not None:
        return replace(plan, bound=Bound(plan.cost.total, proof))
    return returned_in(search.model, homes, plan)


def _let_in(search: Search) -> bool:
    """Put in what still fits somewhere and is worth it: the search looks at the nearest only. Whether anybody went in."""
    came = False
    out = [index for index, item in enumerate(search.state.placed) if item is None]
    for index in out:
        found = search.insertion.worthwhile(search.model.needs[index], smaller=len(out) <= _EXPLAINED)
        if found is not None:
            search.state.put(found.item, found.days)
            came = True
    return came
