"""Steps that were done at other hours than planned, and what of the published plan no longer suits them."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import OuterRef, Subquery

from scheduling.kernel.asked import day_words
from scheduling.kernel.checker.lots import check_group
from scheduling.kernel.late import put_off
from scheduling.kernel.plan import GroupPlan, Plan, load_plan
from scheduling.kernel.season import Done, Group
from scheduling.kernel.season import Season as Problem
from scheduling.models import PlannedStep, Season, SeasonEntry, StepRecord
from scheduling.services.plans import problem_of
from scheduling.services.wording import Wording, wording_of

_A_MINUTE = timedelta(minutes=1)
_OVER = "Both were done, so no plan can mend it: ask your veterinarian what is left to do."


def off_hours(season: Season, now: datetime, entry: SeasonEntry | None = None) -> list[str]:
    """Sentences on what of the published plan no longer keeps the programme's hours or days because a step was done at
    another time: of one entry, or of all that have work ahead. One query where every step was done as planned.

    Hours between two steps that were both done are said as long as work is ahead; all others until they are planned around.
    """
    late = _off_plan(season, now, entry)
    plan = season.published_plan
    if not late or plan is None:
        return []
    problem = problem_of(plan.problem, season.cooperative)
    value = load_plan(plan.document)
    table = _Table(problem, value, wording_of(season, plan.problem, value))
    return [text for group in problem.groups if group.id in late for text in table.off(group, late[group.id])]


@dataclass(frozen=True)
class _Table:
    problem: Problem
    plan: Plan
    words: Wording

    def off(self, group: Group, done: dict[str, datetime]) -> Iterator[str]:
        """What one group's done steps leave amiss."""
        place = next((item for item in self.plan.groups if item.id == group.id), None)
        if place is None:
            return
        yield from self._other_days(group, place, done)
        visits = [visit for visit in self.plan.visits if visit.group == group.id]
        judged = replace(group, done=())  # what was done is held against the programme here, as nowhere else
        was = {item.text for item in check_group(self.problem, judged, place, visits)}
        over = replace(group, done=tuple(Done(step, at) for step, at in done.items())).carried_out
        for item in check_group(self.problem, judged, _as_done(place, done), visits):
            if item.code == "interval" and _both(group, item.about[-1]) <= over:
                yield f"{self.words.say(item.text)} {_OVER}"
            elif item.code == "interval" and item.text not in was:
                yield self.words.say(item.text)

    def _other_days(self, group: Group, place: GroupPlan, done: dict[str, datetime]) -> Iterator[str]:
        zone = self.problem.ranches[group.ranch].zone
        first = {step.key: step.start for step in place.lots[0].steps}
        for trip in group.protocol.trips:
            key = trip[0].key
            if key not in done or key not in first:
                continue
            was, now = first[key].astimezone(zone).date(), done[key].astimezone(zone).date()
            if was != now:
                name = f"{trip[0].label} of {self.words.names.get(group.id, group.id)}"
                yield f"{name} was done on {day_words(now)} and planned for {day_words(was)}; what follows shifts with it."


def _both(group: Group, key: str) -> set[str]:
    """A step and the one that its hours are counted from."""
    rule = group.protocol.by_key[key].after
    return {key, rule.step} if rule is not None else {key}


def _off_plan(season: Season, now: datetime, entry: SeasonEntry | None) -> dict[str, dict[str, datetime]]:
    """What was done when, of entries of which a step was done at another minute than planned and others still lie ahead."""
    planned = PlannedStep.objects.filter(entry=OuterRef("entry"), key=OuterRef("step"), lot=0).values("starts")[:1]
    ahead = PlannedStep.objects.filter(entry__season=season, status="planned", ends__gte=now).values("entry")
    rows = StepRecord.objects.filter(entry__season=season, entry__withdrawn_at=None, entry__in=ahead)
    if entry is not None:
        rows = rows.filter(entry=entry)
    done: dict[str, dict[str, datetime]] = defaultdict(dict)
    moved: set[UUID] = set()
    for row in rows.annotate(planned=Subquery(planned)):
        done[str(row.entry_id)][row.step] = row.at
        if row.planned is not None and abs(row.planned - row.at) > _A_MINUTE:
            moved.add(row.entry_id)
    return {key: value for key, value in done.items() if UUID(key) in moved}


def _as_done(place: GroupPlan, done: dict[str, datetime]) -> GroupPlan:
    """The group as planned, but with done steps at their true hours."""
    first = {step.key: step.start for step in place.lots[0].steps}
    return put_off(place, {key: at - first[key] for key, at in done.items() if key in first})
