"""Spending a budget: coolings, each followed by set partitioning over the routes seen."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import TYPE_CHECKING

from scheduling.kernel.search.budget import Budget, Progress
from scheduling.kernel.search.day_routes import DayRoutes
from scheduling.kernel.search.partition import COLUMNS
from scheduling.kernel.search.polish import Polish
from scheduling.kernel.search.rounds import COLD, Search, hot_for
from scheduling.kernel.search.swift import swift_rounds

if TYPE_CHECKING:
    from scheduling.kernel.search.swift import Running, Swift

_CHUNK = 50
# Rounds for each group in one cooling: as many as pay before set partitioning gains more (measured on our own seasons).
_PER_GROUP = 100
# Share of a cooling's seconds for rounds; what is left is for set partitioning, this share of it at most for a stretch of days.
_SEARCHED = 0.8
_POLISH = 0.8
# What giving days anew may take of what a cooling leaves (without a limit it took all of it on large seasons); and both shares
# where the season is one long day, which the route solver plans better than rounds do.
_ROUTED = 0.25
_SEARCHED_ONE_DAY, _ONE_DAY = 0.1, 0.9
_WARM_SHARE = 0.1
# In machine code: this share of the seconds for rounds, from so many groups on, so hot at most; how hot the rounds after it may
# be, which move groups that it leaves in place. With fewer seconds than these in all, or left by a proof that came to no end,
# what it takes to begin (up to 0.5 s) would cost more than it brings.
_SWIFT, _LEAST_GROUPS, _HOT_SWIFT, _AFTER_SWIFT = 0.9, 4, 120.0, 15.0
_LEAST_SECONDS, _LEAST_LEFT = 1.5, 0.8
_SWIFT_CHUNK = 500
# Where groups are out, a second for each, this share of the seconds at most, is for causes and remedies, and that share again,
# so many seconds at least, is given beyond: people wait for an answer, not for every remedy.
_CAUSES_S, _FOR_CAUSES, _PATIENCE_S = 1.0, 0.1, 3.0


class Cooling:
    """Improves a search until its budget is spent. `upto`: share of it that may be used, `hottest`: limit of heat."""

    def __init__(
        self,
        search: Search,
        budget: Budget,
        clock: Callable[[], float] | None,
        progress: Callable[[Progress], None] | None = None,
        should_stop: Callable[[], bool] | None = None,
    ) -> None:
        self.search, self.budget, self.clock = search, budget, clock
        self.progress, self.should_stop = progress, should_stop
        self.begun = clock() if clock else 0.0
        self.done, self.helped = 0, 0  # rounds, and how many of them others made
        self.upto, self.hottest = 1.0, inf
        self.polish = Polish(search)
        self._machine: Swift | None = None
        self._searched, self._routed, self._one_day = _SEARCHED, _ROUTED, False

    # -- budget ---------------------------------------------------------------------------------------------------
    def used(self) -> float:
        """Share of the budget that is used up."""
        by_rounds = self.done / self.budget.rounds if self.budget.rounds else 0.0
        seconds = self.budget.seconds
        by_clock = (self.clock() - self.begun) / seconds if self.clock and seconds else 0.0
        return max(by_rounds, by_clock)

    def going(self) -> bool:
        """Whether there is budget left and nobody asked to stop."""
        budget = self.budget
        if (budget.rounds is None and (self.clock is None or budget.seconds is None)) or budget.rounds == 0:
            return False
        return self.used() < self._upto() and not (self.should_stop is not None and self.should_stop())

    def _upto(self) -> float:
        """Share of the budget that may be used, but for what causes need where groups are out."""
        if not self.budget.seconds:
            return self.upto
        out = self.search.best.placed.count(None)
        return min(self.upto, 1.0 - min(_FOR_CAUSES, _CAUSES_S * out / self.budget.seconds))

    def patience(self) -> Callable[[], float]:
        """Seconds for causes and remedies from now on: what is left of the budget, and a little more than it."""
        if self.clock is None or self.budget.seconds is None:
            return lambda: inf
        clock, end = self.clock, self.clock() + self.left() + max(_PATIENCE_S, _FOR_CAUSES * self.budget.seconds)
        return lambda: end - clock()

    def left(self) -> float:
        """Seconds that remain: infinite where only rounds are counted, 0 once somebody asked to stop."""
        if self.should_stop is not None and self.should_stop():
            return 0.0
        if self.clock is None or self.budget.seconds is None:
            return inf
        return self.begun + self.budget.seconds - self.clock()

    def tell(self) -> None:
        """Report where the search is."""
        if self.progress is not None:
            placed = len(self.search.model.needs) - self.search.state.out
            self.progress(Progress(self.done, min(1.0, self.used()), self.search.best.cost, placed))

    # -- searching ------------------------------------------------------------------------------------------------
    def run(self) -> None:
        """Coolings until the budget is spent."""
        search = self.search
        if not search.free:
            return
        long_days = DayRoutes(search)
        if self.budget.rounds is None and long_days.are_all():
            self._searched, self._routed, self._one_day = _SEARCHED_ONE_DAY, _ONE_DAY, True
        whole = _PER_GROUP * len(search.free)
        while self.going():
            rounds, share, end = self._cooling(whole)
            self._cool(rounds, share)
            search.restore(search.best)
            if not search.insertion.wishes:
                used = self.used()
                long_days.all(self._before(used + self._routed * max(0.0, end - used)), endless=self._one_day)
                self.polish_all(end)
            self.tell()
        search.restore(search.best)

    def polish_all(self, end: float, columns: int = COLUMNS, *, across: bool = False) -> bool:
        """Set partitioning over the whole season, up to this share of the budget; one stretch may take a part of it only."""

        def seconds() -> float:
            if self.budget.rounds is not None or self.budget.seconds is None:
                return inf
            return max(0.0, _POLISH * (end - self.used()) * self.budget.seconds)

        return self.polish.all(self._before(end), seconds=seconds, columns=columns, across=across)

    def warm_up(self, rounds: int) -> None:
        """A short cooling, at most a tenth of the budget."""
        hot = hot_for(rounds / max(1, len(self.search.free)))
        begun = self.done
        while self.done - begun < rounds and self.used() < _WARM_SHARE and self.going() and self.search.free:
            self._rounds(_CHUNK, hot * (COLD / hot) ** ((self.done - begun) / rounds))
        self.search.restore(self.search.best)
        self.tell()

    def _cooling(self, whole: int) -> tuple[int, float, float]:
        """Rounds of the next cooling; where they are not known, up to which share of the budget they last, and all of it."""
        if self.budget.rounds is not None:
            left = self.budget.rounds - self.done
            return max(1, left // max(1, round(left / whole))), 1.0, 1.0
        used = self.used()
        rounds = self._guess()
        coolings = max(1, round(rounds / whole)) if rounds else 1
        own = (self.upto - used) / coolings
        return 10**9, used + own * self._searched, used + own

    def _guess(self) -> float:
        """Rounds that the rest of the budget is good for, from a few to begin with."""
        if self.done == self.helped:
            self._rounds(_CHUNK, 1.0)
        used = self.used()
        return (self.done - self.helped) / max(used, 1e-9) * (self.upto - used)

    def _cool(self, rounds: int, until: float) -> None:
        swift = self._swift()
        running = swift.begin() if swift is not None else None
        if running is not None:
            self._swiftly(running, self.used() + _SWIFT * (until - self.used()))
            self.search.around = running.staying() or self.search.free
        first, begun = self.done, self.used()
        expected = rounds if self.budget.rounds is not None else self._guess()
        hot = min(self.hottest, hot_for(expected / len(self.search.free)), inf if running is None else _AFTER_SWIFT)
        while self.going() and self.done - first < rounds and self.used() < until:
            by_rounds = (self.done - first) / rounds
            by_share = (self.used() - begun) / max(until - begun, 1e-9) if self.budget.rounds is None else 0.0
            share = min(1.0, max(by_rounds, by_share))
            self._rounds(min(_CHUNK, rounds - (self.done - first)), hot * (COLD / hot) ** share)
            self.tell()
        self.search.around = self.search.free

    def _swift(self) -> Swift | None:
        """Rounds in machine code, where there are groups enough for what it takes to begin."""
        search = self.search
        if self.budget.rounds is not None or search.insertion.wishes or search.model.load_price:
            return None
        if (self.budget.seconds or 0.0) < _LEAST_SECONDS or (self._machine is None and self.left() < _LEAST_LEFT):
            return None
        if self._machine is None and len(search.free) >= _LEAST_GROUPS and search.model.people:
            self._machine = swift_rounds(search)
        return self._machine

    def _swiftly(self, running: Running, until: float) -> None:
        """A cooling in machine code up to this share of the budget, hot as `hottest` allows."""
        begun = self.used()
        hot = min(self.hottest, _HOT_SWIFT)
        while self.going() and self.used() < until:
            share = (self.used() - begun) / max(until - begun, 1e-9)
            self.done += running.improve(_SWIFT_CHUNK, hot * (COLD / hot) ** min(1.0, share))
            self.tell()
        running.end(best=True)
        self.search.restore(self.search.best)

    def _rounds(self, most: int, heat: float) -> None:
        self.done += self.search.improve(most, heat)

    def _before(self, end: float) -> Callable[[], bool]:
        """While less than this share of the budget is used. With rounds alone there is no limit."""
        return lambda: self.budget.rounds is not None or (self.going() and self.used() < end)
