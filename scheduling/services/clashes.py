"""The clash desk: what collides, remedies that are tried, which of them are offered."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from accounts.tenancy import Member
from scheduling.kernel.asked import day_words
from scheduling.models import (
    ClashCase,
    ClashRemedy,
    PlanJob,
    PlanTrial,
    PlanVersion,
    Season,
    SeasonEntry,
)
from scheduling.services.problem import differences, season_document
from scheduling.services.remedies import Candidate, Setting, candidates, written
from scheduling.services.seasons import require_planner
from scheduling.services.trials import (
    TrialError,
    Wanted,
    count_past_as_done,
    holds_of_the_past,
    names_of,
    request_trials,
)

FAR_DAYS = 3
OFFERED = 5
ROUNDS, SECONDS = 60, 2.5
_RIVALS = 2
Kind, State = ClashCase.Kind, ClashCase.State


# -- what could be laid on the desk -----------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Suggestion:
    """A group of the plan in work that has no place, or AI `days` days from its wish."""

    entry: SeasonEntry
    kind: str
    days: int


def suggestions(
    season: Season, plan: PlanVersion, entries: Iterable[SeasonEntry], far: int = FAR_DAYS
) -> list[Suggestion]:
    """Groups that the plan leaves out, then those at least `far` days from their wish, the furthest first."""
    by_id = {str(entry.pk): entry for entry in entries}
    out = [
        Suggestion(by_id[row["group"]], Kind.UNPLACED, 0) for row in plan.document["unplaced"] if row["group"] in by_id
    ]
    moved = []
    for row in plan.document["groups"]:
        entry = by_id.get(row["id"])
        days = (date.fromisoformat(row["ai_day"]) - entry.ai_wanted).days if entry else 0
        if entry and abs(days) >= far:
            moved.append(Suggestion(entry, Kind.MOVED, days))
    return [*out, *sorted(moved, key=lambda item: -abs(item.days))]


# -- opening ----------------------------------------------------------------------------------------------------------
def open_case(
    *,
    member: Member,
    season: Season,
    entry: SeasonEntry,
    rival: SeasonEntry | None = None,
    now: datetime,
    rounds: int | None = ROUNDS,
    seconds: float | None = SECONDS,
) -> ClashCase:
    """Lay a group without a place or far from its wish on the desk, or two groups that wish for the same day, and ask for
    every remedy to be planned. The budget is for each remedy. Raises TrialError."""
    require_planner(member, season)
    plan = season.plan or season.published_plan
    if plan is None:
        raise TrialError("There is no plan yet. Plan the season first; clashes show in the plan.")
    changed = differences(season, plan.problem)
    if changed:
        raise TrialError(
            f"This has changed since the plan was made: {'; '.join(changed[:4])}. Plan the season again first."
        )
    kind = _kind(season, plan, entry, rival)
    document = season_document(season)
    if plan.pk == season.published_plan_id:
        count_past_as_done(document, season, now)
    rivals = (str(rival.pk),) if rival else _rivals(document, plan.document, entry)
    setting = Setting(
        document, plan.document, names_of(season), str(entry.pk), rivals, entry.ai_wanted, pair=rival is not None
    )
    found = list(candidates(setting))
    past = holds_of_the_past(season, now)
    with transaction.atomic():
        job, trials = request_trials(
            member=member,
            season=season,
            base=plan,
            wanted=[Wanted(written(document, item.writes), (*past, *item.holds)) for item in found],
            now=now,
            rounds=rounds,
            seconds=seconds,
        )
        case = ClashCase.objects.create(
            season=season,
            kind=kind,
            group=entry,
            rival=rival,
            day=entry.ai_wanted,
            base=plan,
            job=job,
            opened_by=member.user,
            opened_at=now,
        )
        ClashRemedy.objects.bulk_create(_remedy(case, i, item, trials[i]) for i, item in enumerate(found))
    return case


def _remedy(case: ClashCase, number: int, item: Candidate, trial: PlanTrial) -> ClashRemedy:
    return ClashRemedy(
        case=case,
        number=number + 1,
        kind=item.kind,
        family=item.family,
        title=item.title[:200],
        writes=list(item.writes),
        trial=trial,
    )


def _kind(season: Season, plan: PlanVersion, entry: SeasonEntry, rival: SeasonEntry | None) -> str:
    if entry.season_id != season.pk or (rival is not None and rival.season_id != season.pk):
        raise TrialError("Choose groups of this season.")
    placed = {row["id"]: date.fromisoformat(row["ai_day"]) for row in plan.document["groups"]}
    if rival is not None:
        return _pair_kind(entry, rival)
    day = placed.get(str(entry.pk))
    if day is None:
        return Kind.UNPLACED
    if day == entry.ai_wanted:
        raise TrialError(
            f"{entry.group} has the day that it wishes for. Choose a group that has not, or name two that collide."
        )
    return Kind.MOVED


def _pair_kind(entry: SeasonEntry, rival: SeasonEntry) -> str:
    if rival.pk == entry.pk:
        raise TrialError("Choose two different groups.")
    if entry.ai_wanted != rival.ai_wanted:
        one, other = day_words(entry.ai_wanted), day_words(rival.ai_wanted)
        raise TrialError(f"They do not collide: {entry.group} wishes for {one}, {rival.group} for {other}.")
    return Kind.PAIR


def _rivals(document: dict[str, Any], plan: dict[str, Any], entry: SeasonEntry) -> tuple[str, ...]:
    """Groups that have what the group wants: AI on its day at its own ranch, or with a technician who could come to it."""
    able = {row["id"] for row in document["technicians"] if set(entry.skills) <= set(row["skills"])}
    rows = {row["id"]: row for row in document["groups"]}
    there = {row["id"] for row in plan["groups"] if row["ai_day"] == entry.ai_wanted.isoformat() and row["id"] in rows}
    there -= {str(entry.pk)}
    served = {visit["group"] for visit in plan["visits"] if visit["technician"] in able}
    home = str(entry.group.herd.ranch_id)
    near = [name for name in there if rows[name]["ranch"] == home or name in served]
    near.sort(key=lambda name: (rows[name]["ranch"] != home, rows[name]["head"], name))
    return tuple(near[:_RIVALS])


# -- after the trials have run ----------------------------------------------------------------------------------------
def settle_case(job: PlanJob) -> None:
    """Judge the remedies of the clash whose trials this job ran: which work, which of them are offered (the cheapest of each
    family, five at most). Call it in the transaction that writes the trials."""
    case = (
        ClashCase.objects.filter(job=job, state=State.TRYING).select_related("base", "group__group", "season").first()
    )
    if case is None:
        return
    remedies = list(case.remedies.select_related("trial"))
    names = names_of(case.season)
    for remedy in remedies:
        remedy.fault = _fault(case, remedy, names)[:300]
        remedy.works = not remedy.fault
        if remedy.works:
            _narrow(remedy)
    good = [remedy for remedy in remedies if remedy.works]
    offered = _choice(good)
    ClashRemedy.objects.bulk_update(remedies, ["fault", "works", "writes"])
    PlanTrial.objects.bulk_update([remedy.trial for remedy in offered], ["problem"])
    left_out = [remedy.pk for remedy in good if remedy not in offered]
    PlanTrial.objects.filter(remedy__in=left_out).delete()
    PlanTrial.objects.filter(remedy__case=case, remedy__works=False).update(problem={}, document=None)
    case.state = State.OPEN
    case.save(update_fields=["state"])


def _fault(case: ClashCase, remedy: ClashRemedy, names: Mapping[str, str]) -> str:
    """Why a remedy does not work, or nothing."""
    plan = remedy.trial.document
    if plan is None:
        return "It was not tried: planning was stopped."
    if remedy.trial.broken:
        return str(remedy.trial.broken[0]["text"])
    before = {row["group"] for row in case.base.document["unplaced"]} - {str(case.group_id)}
    out = [row["group"] for row in plan["unplaced"] if row["group"] not in before]
    if out:
        return f"{', '.join(names.get(name, 'a part of the group') for name in out[:3])} would have no place."
    if remedy.kind == "split" and _together(plan, remedy):
        return "Both parts would be inseminated on one day: a split gains nothing."
    if remedy.kind == "two_at_once" and not _two_together(plan, str(case.group_id)):
        return "No two technicians can be there at the same hour."
    return ""


def _together(plan: dict[str, Any], remedy: ClashRemedy) -> bool:
    days = {row["id"]: row["ai_day"] for row in plan["groups"]}
    return any(days.get(write["entry"]) == days.get(write["split"]) for write in remedy.writes if "split" in write)


def _two_together(plan: dict[str, Any], group: str) -> bool:
    there: dict[tuple[int, str], set[str]] = defaultdict(set)
    for visit in plan["visits"]:
        if visit["group"] == group:
            there[visit["lot"], visit["step"]].add(visit["technician"])
    return any(len(people) > 1 for people in there.values())


def _narrow(remedy: ClashRemedy) -> None:
    """Widen a group's days only as far as the plan found needs it."""
    assert remedy.trial.document is not None
    days = {row["id"]: row["ai_day"] for row in remedy.trial.document["groups"]}
    rows = {row["id"]: row for row in remedy.trial.problem["groups"]}
    kept = []
    for write in remedy.writes:
        if write.get("field") in ("ai_from", "ai_to"):
            day, was = days[write["entry"]], write["was"]
            needed = min(day, was) if write["field"] == "ai_from" else max(day, was)
            rows[write["entry"]][write["field"]] = needed
            if needed == was:
                continue
            write = {**write, "to": needed}
        kept.append(write)
    remedy.writes = kept


def _choice(good: list[ClashRemedy]) -> list[ClashRemedy]:
    """The cheapest of each family, of those that come to the same plan the one that changes fewest wishes."""
    best: dict[str, ClashRemedy] = {}
    for remedy in sorted(good, key=lambda item: (len(item.writes), item.trial.cost_total or 0.0, item.number)):
        held = best.get(remedy.family)
        if held is None or (remedy.trial.cost_total or 0.0) < (held.trial.cost_total or 0.0):
            best[remedy.family] = remedy
    seen: set[str] = set()
    offered = []
    for remedy in sorted(best.values(), key=lambda item: (len(item.writes), item.trial.cost_total or 0.0, item.number)):
        assert remedy.trial.document is not None
        same = repr((remedy.trial.document["groups"], remedy.trial.document["visits"]))
        if same not in seen:
            seen.add(same)
            offered.append(remedy)
    return sorted(offered, key=lambda item: (item.trial.cost_total or 0.0, item.number))[:OFFERED]
