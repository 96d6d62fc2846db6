"""Taking over an earlier plan: what still holds of it stays to the minute, the rest becomes a wish."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from math import inf

from scheduling.kernel.late import put_off, shifted
from scheduling.kernel.plan import GroupPlan, Lot, PlacedStep, Plan, Visit
from scheduling.kernel.search.chute import Assignment, Kept, Span
from scheduling.kernel.search.insertion import Insertion, Wish
from scheduling.kernel.search.look import Days
from scheduling.kernel.search.model import Model, Need, Part, hour_anchor, minute, moment_of
from scheduling.kernel.search.state import State
from scheduling.kernel.search.visits import Visit as Stop
from scheduling.kernel.season import Hands
from scheduling.kernel.sessions import session_head
from scheduling.kernel.throughput import gap_range

# Hours by which an interval of a plan written to the minute may seem too short or too long.
_WRITTEN = 1 / 60 + 1e-6


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
        kept = _Reading(model, state, need, group, visits[group.id]).assignment()
        wishes[index] = Wish(group.ai_day.toordinal(), people, kept)
    return wishes


def under_way(model: Model, keep: Plan | None, wishes: Mapping[int, Wish]) -> frozenset[tuple[int, int]]:
    """Technicians (with the ordinal of the day) who have left home by the earlier plan: they need not set out again."""
    left = {
        (model.number[day.technician], day.day.toordinal())
        for day in (keep.days if keep is not None else ())
        if day.technician in model.number and minute(day.leaves) < model.not_before
    }
    kept = (wish.kept for wish in wishes.values() if wish.kept is not None)
    return frozenset(left | {(person, visit.day) for item in kept for person, visit in item.past})


def adopt(insertion: Insertion, wishes: dict[int, Wish]) -> None:
    """Put every group that still fits beside those put before it exactly where the earlier plan has it.

    Those to which somebody came already are first, and of these the ones of which most was carried out: others give way.
    """
    state = insertion.state
    _drop_what_nobody_drove(insertion, wishes)
    for index in sorted(wishes, key=lambda index: _open_trips(state.model.needs[index])):
        wish = wishes[index]
        if wish.kept is None:
            continue
        candidate = next(iter(insertion.as_kept(wish.kept, state.worst_move())), None)
        if candidate is not None and insertion.holds(candidate):
            state.put(candidate.item, candidate.days)


def _drop_what_nobody_drove(insertion: Insertion, wishes: dict[int, Wish]) -> None:
    """Hours at which steps were ticked off may be closer together than anybody can drive: there the later groups have their
    steps still, but nobody's visit stands for them."""
    days: Days = {}
    for index, wish in wishes.items():
        past = wish.kept.past if wish.kept is not None else ()
        found = insertion.all_added(past, days) if past else None
        if found is not None:
            days = found[1]
        elif past and wish.kept is not None:
            wishes[index] = replace(wish, kept=wish.kept.without_past())


def _open_trips(need: Need) -> tuple[bool, float]:
    """Whether nobody came to the group yet, and how many trips are still to come of one that has begun."""
    return not need.past, sum(need.fixed_start(trip) is None for trip in need.trips) if need.fixed else inf


def _moved(step: PlacedStep, to: datetime | None) -> PlacedStep:
    return step if to is None else replace(step, start=to, end=to)


def as_done(need: Need, plan: GroupPlan, visits: list[Visit]) -> tuple[GroupPlan, list[Visit]]:
    """A group's plan and visits with trips that were carried out at another hour where they were: all lots as far apart as
    planned, from when the first began."""
    late = _late(need, plan)
    if not late:
        return plan, visits
    place = put_off(plan, late)
    lots = tuple(_waiting(need, lot, late) for lot in place.lots)
    return replace(place, lots=lots), [shifted(visit, late.get(visit.step, timedelta())) for visit in visits]


def _late(need: Need, plan: GroupPlan) -> dict[str, timedelta]:
    """How much later than planned steps of trips carried out began (less than 0: earlier), a minute left aside."""
    late: dict[str, timedelta] = {}
    begun = {step.key: minute(step.start) for lot in plan.lots[:1] for step in lot.steps}
    for trip in need.trips:
        done = need.fixed_start(trip)
        if done is not None and trip.key in begun and abs(done - begun[trip.key]) > 1:
            late.update(dict.fromkeys(trip.keys, timedelta(minutes=done - begun[trip.key])))
    return late


def _waiting(need: Need, lot: Lot, late: Mapping[str, timedelta]) -> Lot:
    """The lot with its printed hours from treatment to the first AI, one of which came so late."""
    ai = next((step for step in need.protocol.ai_steps if step.after is not None), None)
    if ai is None or ai.after is None or lot.interval_min_h is None or lot.interval_max_h is None:
        return lot
    more = (late.get(ai.key, timedelta()) - late.get(ai.after.step, timedelta())) / timedelta(hours=1)
    return replace(
        lot, interval_min_h=round(lot.interval_min_h + more, 3), interval_max_h=round(lot.interval_max_h + more, 3)
    )


class _Reading:
    """One group's place in the earlier plan, read and tested against what the season says now."""

    def __init__(self, model: Model, state: State, need: Need, plan: GroupPlan, visits: list[Visit]) -> None:
        self.model, self.state, self.need = model, state, need
        self.plan, self.visits = as_done(need, plan, visits)

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
            self._with_done(),
            {trip.key: min(span[0] for span in spans[trip.key]) for trip in need.trips},
            tuple(sorted([*(span for rows in spans.values() for span in rows), *self._heat_spans()])),
            self._at_stalls(spans, barn),
            self._done(spans),
        )
        return Assignment(need, plan.ai_day.toordinal(), None, rate, stops, kept, barn)

    def _with_done(self) -> GroupPlan:
        """The group's plan, with steps outside of the chute at the hours at which they were carried out."""
        need = self.need
        hours = {step.key: need.fixed[step.key] for step in need.loose if step.key in need.fixed}
        if not hours:
            return self.plan
        moments = {key: moment_of(hour, need.ranch.zone) for key, hour in hours.items()}
        lots = tuple(
            replace(lot, steps=tuple(_moved(step, moments.get(step.key)) for step in lot.steps))
            for lot in self.plan.lots
        )
        return replace(self.plan, lots=lots)

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

    def _done(self, spans: dict[str, list[Span]]) -> frozenset[Span]:
        """All handling that is over: of steps carried out, and of a watch's half days so far."""
        trips = (trip for trip in self.need.trips if self.need.fixed_start(trip) is not None)
        heat = (span for span in self._heat_spans() if self.need.fixed and span[0] < self.model.not_before)
        return frozenset([*heat, *(span for trip in trips for span in spans[trip.key])])

    def _heat_spans(self) -> list[Span]:
        keys = {work.key for work in self.need.every_work if work.part is Part.HEAT}
        return [(minute(visit.start), minute(visit.end)) for visit in self.visits if visit.step in keys]

    def _steps_hold(self, rate: float, spans: dict[str, list[Span]]) -> bool:
        """Days, handling hours, lengths, intervals and steps carried out. Lots may be of any size."""
        need, day = self.need, self.plan.ai_day.toordinal()
        lengths = [60 * lot.head / need.ranch.treat_rate for lot in self.plan.lots]
        for trip in need.trips:
            done = need.fixed_start(trip)
            if done is not None:
                if abs(spans[trip.key][0][0] - done) > 1:
                    return False
                continue
            low, high = self.state.visits.hours(need, day + trip.day, 0)
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
            if need.fixed_start(trip) is not None and need.fixed_start(base) is not None:
                continue  # what was carried out is as far apart as it is
            heads = self._heads(trip.ai is not None, step.key)
            for lot, (head, treated) in enumerate(zip(heads, self.plan.lots, strict=True)):
                at = self._session_rate(step.key, lot) if trip.ai else need.ranch.treat_rate
                allowed = gap_range(head, step.after.window, need.pace(at or rate), treated.head)
                gap = (spans[trip.key][lot][0] - spans[base.key][lot][0]) / 60
                if allowed is None or not allowed[0] - _WRITTEN <= gap <= allowed[1] + _WRITTEN:
                    return False
        return True

    def _session_rate(self, key: str, lot: int) -> float:
        if self.need.group.ai_by is Hands.RANCH:
            return self.need.ranch.ai_rate
        crew = {self.model.number[visit.technician] for visit in self.visits if (visit.step, visit.lot) == (key, lot)}
        return sum(self.model.people[person].rate for person in sorted(crew))

    def _heads(self, timed: bool, key: str) -> list[int]:
        lots = [lot.head for lot in self.plan.lots]
        if not timed or self.need.group.ai_by is Hands.RANCH:
            return lots
        return [
            sum(visit.head for visit in self.visits if visit.step == key and visit.lot == lot) or head
            for lot, head in enumerate(lots)
        ]

    def _at_stalls(self, spans: dict[str, list[Span]], barn: int) -> dict[Span, tuple[int, int]]:
        """How many technicians are at AI of each lot, on how many stalls."""
        stalls, found = self._stalls(barn), {}
        for trip in self.need.sessions:
            for lot, span in enumerate(spans[trip.key]):
                hands = sum((visit.step, visit.lot) == (trip.ai and trip.ai.key, lot) for visit in self.visits)
                if hands:
                    found[span] = hands, stalls
        return found

    def _stops(self) -> tuple[tuple[int, Stop], ...] | None:
        """Who comes for what, in the order of the need's works; None where somebody is missing or may not do it."""
        need, stops = self.need, []
        for number, work in enumerate(need.every_work):
            rows: dict[int, list[Visit]] = defaultdict(list)
            for visit in self.visits:
                if visit.step == work.key:
                    rows[self.model.number[visit.technician]].append(visit)
            if not rows and work not in need.past:
                return None
            for person in sorted(rows):
                made = self._made(number, person, sorted(rows[person], key=lambda visit: visit.lot))
                if not made:
                    return None
                stops += [(person, stop) for stop in made]
            if rows and not self._all_there(number, [visit for some in rows.values() for visit in some]):
                return None
        return tuple(stops) if sum(len(stop.lots) for _, stop in stops) == len(self.visits) else None

    def _all_there(self, number: int, rows: list[Visit]) -> bool:
        """Whether somebody comes to every lot, nobody twice, with all the head that there must be."""
        work, lots = self.need.every_work[number], self.plan.lots
        if work.trip is None:
            return len(rows) == 1
        if len({(visit.technician, visit.lot) for visit in rows}) < len(rows):
            return False
        for lot, item in enumerate(lots):
            head = sum(visit.head for visit in rows if visit.lot == lot)
            least = session_head(self.need.protocol, work.trip.ai, item.head) if work.trip.ai else 1
            if not least <= head or (work.trip.ai and head > item.head):
                return False
        return True

    def _made(self, number: int, person: int, rows: list[Visit]) -> list[Stop]:
        """A technician's stops: one for all lots without a break, else one for each; none where the technician may not come."""
        need, work = self.need, self.need.every_work[number]
        if not need.group.skills <= self.model.people[person].technician.skills:
            return []
        if work.heat is not None and rows[0].head != work.heat.head(need.group.head):
            return []
        spans = tuple((minute(visit.start), minute(visit.end)) for visit in rows)
        heads, day = tuple(visit.head for visit in rows), self.plan.ai_day.toordinal()
        pinned = self.state.visits.pinned
        whole = [visit.lot for visit in rows] == list(range(1 if work.heat is not None else len(self.plan.lots)))
        if whole and all(one[1] == other[0] for one, other in pairwise(spans)):
            return [pinned(need, number, day, spans, heads)]
        return [
            pinned(need, number, day, (span,), (head,), (visit.lot,))
            for span, head, visit in zip(spans, heads, rows, strict=True)
        ]

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
        together = Counter((visit.step, visit.lot) for visit in self.visits)
        return number if max(together.values(), default=0) <= self._stalls(number) else None

    def _stalls(self, barn: int) -> int:
        """Stalls at the ranch, or of the barn that is there."""
        brought = list(self.model.season.barns.values())[barn].stalls if barn >= 0 else 0
        return max(self.need.ranch.ai_stalls, brought)
