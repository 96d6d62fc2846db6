"""Taking over an earlier plan: what still holds of it stays to the minute, the rest becomes a wish."""

from collections import defaultdict

from scheduling.kernel.plan import GroupPlan, Plan, Visit
from scheduling.kernel.search.chute import Assignment, Kept, Span
from scheduling.kernel.search.insertion import Insertion, Wish
from scheduling.kernel.search.model import Model, Need, Part, hour_anchor, minute
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit as Stop
from scheduling.kernel.season import Hands
from scheduling.kernel.throughput import gap_range


def wishes_of(model: Model, state: State, keep: Plan | None) -> dict[int, Wish]:
    """For every group of the earlier plan that is still in the season: its day, its technicians, its place to the minute."""
    if keep is None:
        return {}
    visits: dict[str, list[Visit]] = defaultdict(list)
    for visit in keep.visits:
        visits[visit.group].append(visit)
    wishes = {}
    for group in keep.groups:
        index = model.index.get(group.id)
        if index is None:
            continue
        people = frozenset(
            model.number[visit.technician] for visit in visits[group.id] if visit.technician in model.number
        )
        need = model.needs[index]
        readings = (_Reading(model, state, some, group, visits[group.id]) for some in (need, *need.finer))
        kept = next((found for reading in readings if (found := reading.assignment()) is not None), None)
        wishes[index] = Wish(group.ai_day.toordinal(), people, kept)
    return wishes


def adopt(insertion: Insertion, wishes: dict[int, Wish]) -> None:
    """Put every group that still fits beside those put before it exactly where the earlier plan has it."""
    state = insertion.state
    for wish in wishes.values():
        if wish.kept is None:
            continue
        candidate = next(iter(insertion.as_kept(wish.kept, state.worst_move())), None)
        if candidate is not None and insertion.holds(candidate):
            state.put(candidate.item, candidate.days)


class _Reading:
    """One group's place in the earlier plan, read and tested against what the season says now."""

    def __init__(self, model: Model, state: State, need: Need, plan: GroupPlan, visits: list[Visit]) -> None:
        self.model, self.state, self.need, self.plan, self.visits = model, state, need, plan, visits

    def assignment(self) -> Assignment | None:
        """The assignment, or None where a rule no longer holds."""
        need, plan = self.need, self.plan
        if plan.ai_day.toordinal() not in need.days or sum(lot.head for lot in plan.lots) != need.group.head:
            return None
        if any({step.key for step in lot.steps} != set(need.protocol.by_key) for lot in plan.lots):
            return None
        if any(visit.technician not in self.model.number or visit.lot >= len(plan.lots) for visit in self.visits):
            return None
        rate = self._crew_rate()
        spans = self._trip_spans()
        if rate is None or not self._steps_hold(rate, spans):
            return None
        stops, barn = self._stops(), self._barn()
        if stops is None or barn is None:
            return None
        kept = Kept(
            plan,
            {trip.key: min(span[0] for span in spans[trip.key]) for trip in need.trips},
            tuple(sorted([*(span for rows in spans.values() for span in rows), *self._heat_spans()])),
        )
        return Assignment(need, plan.ai_day.toordinal(), None, rate, stops, kept, barn)

    def _crew_rate(self) -> float | None:
        need = self.need
        if need.group.ai_by is Hands.RANCH or not need.sessions:
            return need.ranch.ai_rate
        first = need.sessions[0].ai
        crew = {self.model.number[visit.technician] for visit in self.visits if first and visit.step == first.key}
        return sum(self.model.people[person].rate for person in sorted(crew)) or None

    def _trip_spans(self) -> dict[str, list[Span]]:
        spans: dict[str, list[Span]] = {}
        for trip in self.need.trips:
            rows = []
            for lot in self.plan.lots:
                step = next(step for step in lot.steps if step.key == trip.key)
                rows.append((minute(step.start), minute(step.end)))
            spans[trip.key] = rows
        return spans

    def _heat_spans(self) -> list[Span]:
        keys = {work.key for work in self.need.works if work.part is Part.HEAT}
        return [(minute(visit.start), minute(visit.end)) for visit in self.visits if visit.step in keys]

    def _steps_hold(self, rate: float, spans: dict[str, list[Span]]) -> bool:
        """Days, handling hours, lengths, intervals and steps carried out."""
        need, shape = self.need, self.state.visits.shape(self.need, rate)
        day = self.plan.ai_day.toordinal()
        if tuple(lot.head for lot in self.plan.lots) != shape.lots:
            return False
        for trip in need.trips:
            done = need.fixed_start(trip)
            if done is not None:
                if abs(spans[trip.key][0][0] - done) > 1:
                    return False
                continue
            low, high = self.state.visits.hours(need, day + trip.day, 0)
            lengths = shape.patterns[trip.key].lengths
            for (start, end), length in zip(spans[trip.key], lengths, strict=True):
                if start < low or end > high or (trip.ai is None and end - start < length - 1):
                    return False
        return self._intervals_hold(rate, spans)

    def _intervals_hold(self, rate: float, spans: dict[str, list[Span]]) -> bool:
        need = self.need
        for trip in need.trips:
            step = trip.ai or hour_anchor(trip)
            if step is None or step.after is None:
                continue
            base = next((other for other in need.trips if step.after.step in other.keys), None)
            if base is None:
                return False
            at = self._session_rate(step.key) if trip.ai else need.ranch.treat_rate
            for lot, head in enumerate(self._heads(trip.ai is not None, step.key)):
                allowed = gap_range(head, step.after.window, need.pace(at or rate))
                gap = (spans[trip.key][lot][0] - spans[base.key][lot][0]) / 60
                if allowed is None or not allowed[0] - 1e-6 <= gap <= allowed[1] + 1e-6:
                    return False
        return True

    def _session_rate(self, key: str) -> float:
        if self.need.group.ai_by is Hands.RANCH:
            return self.need.ranch.ai_rate
        crew = {self.model.number[visit.technician] for visit in self.visits if visit.step == key}
        return sum(self.model.people[person].rate for person in sorted(crew))

    def _heads(self, timed: bool, key: str) -> list[int]:
        lots = [lot.head for lot in self.plan.lots]
        if not timed or self.need.group.ai_by is Hands.RANCH:
            return lots
        return [
            sum(visit.head for visit in self.visits if visit.step == key and visit.lot == lot) or head
            for lot, head in enumerate(lots)
        ]

    def _stops(self) -> tuple[tuple[int, Stop], ...] | None:
        """Who comes for what, in the order of the need's works; None where somebody is missing or may not do it."""
        need, stops = self.need, []
        for number, work in enumerate(need.works):
            rows: dict[int, list[Visit]] = defaultdict(list)
            for visit in self.visits:
                if visit.step == work.key:
                    rows[self.model.number[visit.technician]].append(visit)
            done = work.trip is not None and need.fixed_start(work.trip) is not None
            if not rows and not done:
                return None
            for person in sorted(rows):
                stop = self._stop(number, person, sorted(rows[person], key=lambda visit: visit.lot))
                if stop is None:
                    return None
                stops.append((person, stop))
        return tuple(stops) if len(stops) == len({(visit.technician, visit.step) for visit in self.visits}) else None

    def _stop(self, number: int, person: int, rows: list[Visit]) -> Stop | None:
        need, work = self.need, self.need.works[number]
        lots = 1 if work.heat is not None else len(self.plan.lots)
        if [visit.lot for visit in rows] != list(range(lots)):
            return None
        if not need.group.skills <= self.model.people[person].technician.skills:
            return None
        if work.heat is not None and rows[0].head != work.heat.head(need.group.head):
            return None
        spans = tuple((minute(visit.start), minute(visit.end)) for visit in rows)
        heads = tuple(visit.head for visit in rows)
        return self.state.visits.pinned(need, number, self.plan.ai_day.toordinal(), spans, heads)

    def _barn(self) -> int | None:
        """The barn's number, -1 where there is none; None where it is not right."""
        names = {visit.barn for visit in self.visits if visit.barn is not None}
        barns = list(self.model.season.barns)
        if len(names) > 1 or not names <= set(barns):
            return None
        number = barns.index(names.pop()) if names else -1
        if (
            number < 0
            and self.need.group.needs_barn
            and self.need.group.ai_by is Hands.TECHNICIAN
            and self.need.sessions
        ):
            return None
        stalls = (
            self.need.ranch.ai_stalls
            if number < 0
            else max(self.need.ranch.ai_stalls, self.model.season.barns[barns[number]].stalls)
        )
        together = max(
            (
                sum(visit.step == key and visit.lot == 0 for visit in self.visits)
                for key in {visit.step for visit in self.visits}
            ),
            default=0,
        )
        return number if together <= stalls else None
