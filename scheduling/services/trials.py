"""Changed seasons planned to see what comes of it. A job runs them; the plan in work is not touched."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from accounts.tenancy import Member
from scheduling.kernel.asked import Asked, asked
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.checker import check
from scheduling.kernel.compare import Burden, Comparison, Load, Situation, compare, days_between, together
from scheduling.kernel.disturbance import Price, disturbance, price
from scheduling.kernel.plan import Plan, load_plan, to_document
from scheduling.kernel.protocol import Protocol
from scheduling.kernel.search import Budget, Progress, solve
from scheduling.kernel.season import Season as Problem
from scheduling.kernel.season import load_season
from scheduling.kernel.standing import least_changed, standing
from scheduling.models import PlanJob, PlannedStep, PlanTrial, PlanVersion, Season
from scheduling.services.editions import protocols_of
from scheduling.services.fairness import holidays_of
from scheduling.services.plans import broken_rows, save_plan
from scheduling.services.problem import differences_between, season_document
from scheduling.services.seasons import require_planner


class TrialError(ValueError):
    """A trial that cannot be made, accepted or chosen; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A changed season to be planned, and what binds this trial alone (see `held`)."""

    problem: dict[str, Any]
    holds: tuple[dict[str, Any], ...] = ()


def request_trials(
    *,
    member: Member,
    season: Season,
    base: PlanVersion,
    wanted: Iterable[Wanted],
    now: datetime,
    rounds: int | None = None,
    seconds: float | None = None,
) -> tuple[PlanJob, list[PlanTrial]]:
    """Ask for changed seasons to be planned, each changing `base` as little as it can. Raises TrialError while another job
    of the season runs. Call it in a transaction with the rows that belong to the trials."""
    require_planner(member, season)
    busy = "The season is being planned at this moment. Wait until that has ended, or stop it, then try again."
    if season.jobs.filter(state__in=("queued", "running")).exists():
        raise TrialError(busy)
    try:
        with transaction.atomic():
            job = PlanJob.objects.create(
                season=season, rounds=rounds, seconds=seconds, keep=base, created_by=member.user, created_at=now
            )
    except IntegrityError:  # somebody else asked at the same moment
        raise TrialError(busy) from None
    rows = [
        PlanTrial(season=season, job=job, base=base, number=i + 1, problem=item.problem, holds=list(item.holds))
        for i, item in enumerate(wanted)
    ]
    return job, PlanTrial.objects.bulk_create(rows)


def count_past_as_done(document: dict[str, Any], season: Season, now: datetime) -> None:
    """Published steps of the past that nobody ticked off count as done at their planned hour (the first lot's)."""
    past: dict[str, list[dict[str, str]]] = defaultdict(list)
    rows = PlannedStep.objects.filter(entry__season=season, starts__lte=now, lot=0).exclude(status="cancelled")
    for entry, key, starts in rows.values_list("entry", "key", "starts"):
        past[str(entry)].append({"step": key, "at": starts.isoformat()})
    _add_done(document, past)


def _add_done(document: dict[str, Any], past: Mapping[str, Iterable[dict[str, str]]]) -> None:
    """Add what counts as done, by group, where nothing is known of the step."""
    for row in document["groups"]:
        known = {item["step"] for item in row["done"]}
        row["done"] = [*row["done"], *(item for item in past.get(row["id"], ()) if item["step"] not in known)]


def _with_done(document: dict[str, Any], tried: dict[str, Any]) -> dict[str, Any]:
    """The season now, with what counted as done when a trial was planned, ticked off or not."""
    _add_done(document, {row["id"]: row.get("done", ()) for row in tried["groups"]})
    return document


def holds_of_the_past(season: Season, now: datetime) -> tuple[dict[str, Any], ...]:
    """What binds a trial in the middle of a season: nothing new may be put on days and hours that are over."""
    zone = ZoneInfo(season.zone)
    today = now.astimezone(zone).date()
    if today < season.first_day:
        return ()
    moment = now.replace(second=0, microsecond=0) + timedelta(minutes=1)
    hour: dict[str, Any] = {"not_before": moment.astimezone(zone).isoformat()}
    return (hour, {"before": min(today, season.last_day).isoformat()}) if today > season.first_day else (hour,)


def document_at(season: Season, now: datetime) -> dict[str, Any]:
    """The season's document at `now`: published steps that are over count as done, ticked off or not, and nothing new begins
    before this minute. A season that is over altogether is planned as it stands."""
    document = season_document(season)
    if season.published_plan_id is not None and not _is_over(season, now):
        count_past_as_done(document, season, now)
        for hold in holds_of_the_past(season, now):
            document["season"].update({key: hold[key] for key in ("not_before",) if key in hold})
    return document


def still_open(document: dict[str, Any], season: Season, now: datetime) -> dict[str, Any]:
    """The season's document as it can still be planned at `now`: nothing new is put on days that are over. The document given
    is left as it is. A season that is over altogether is planned as it stands: somebody writes last year's down, so that its
    shares count."""
    return held(document, () if _is_over(season, now) else holds_of_the_past(season, now))


def _is_over(season: Season, now: datetime) -> bool:
    return now.astimezone(ZoneInfo(season.zone)).date() > season.last_day


def held(problem: dict[str, Any], holds: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """The season with what binds a trial alone: a group's days (`ai_from`, `ai_to`), its `technicians`, or that nothing may
    be put on days `before` one, nor begin `not_before` a moment.

    Technicians are bound by a skill that only the allowed ones get, days that are over by closing every ranch.
    """
    bound = deepcopy(problem)
    groups = {row["id"]: row for row in bound["groups"]}
    for hold in holds:
        if "not_before" in hold:
            bound["season"]["not_before"] = hold["not_before"]
        if "before" in hold:
            _close_the_past(bound, date.fromisoformat(hold["before"]))
        row = groups.get(hold.get("group", ""))
        if row is not None:
            _hold_group(bound, row, hold)
    return bound


def _hold_group(bound: dict[str, Any], row: dict[str, Any], hold: dict[str, Any]) -> None:
    if "ai_from" in hold:
        row["ai_from"], row["ai_to"] = hold["ai_from"], hold["ai_to"]
        row["ai_wanted"] = min(max(row["ai_wanted"], row["ai_from"]), row["ai_to"])
    if "technicians" in hold:
        mark = f"the desk's choice for {row['id']}"
        row["skills"] = sorted({*row.get("skills", []), mark})
        for person in bound["technicians"]:
            if person["id"] in hold["technicians"]:
                person["skills"] = sorted({*person.get("skills", []), mark})


def _close_the_past(bound: dict[str, Any], first: date) -> None:
    begins = date.fromisoformat(bound["season"]["first_day"])
    over = {day.isoformat() for day in days_between(begins, first - timedelta(days=1))}
    for ranch in bound["ranches"]:
        ranch["closed_days"] = sorted({*ranch.get("closed_days", []), *over})
    catalogue = load_catalogue().protocols
    for row in bound["groups"]:  # feedings are no handling: the days that a programme lasts keep them out of the past
        protocol = catalogue.get(row["protocol"])
        earliest = (first + timedelta(days=protocol.reference_day)).isoformat() if protocol else ""
        if protocol and not row.get("done") and row["ai_from"] < earliest <= row["ai_to"]:
            row["ai_from"], row["ai_wanted"] = earliest, max(row["ai_wanted"], earliest)


def try_out(
    trial: PlanTrial,
    season: Season,
    *,
    seed: int,
    budget: Budget,
    clock: Callable[[], float],
    progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> None:
    """Plan a trial and set its result on the row, unsaved: of a quick repair and a long search, each without its needless
    changes, the better. Raises ReadError where the season cannot be read."""
    protocols = protocols_of(season.cooperative)
    problem = load_season(trial.problem, protocols)
    bound = load_season(held(trial.problem, trial.holds), protocols) if trial.holds else problem
    keep = load_plan(trial.base.document)
    first = solve(bound, seed=seed, budget=Budget(rounds=0), keep=keep)
    best = solve(bound, seed=seed, budget=budget, keep=keep, clock=clock, progress=progress, should_stop=should_stop)
    plan = _least_change(bound, keep, [least_changed(bound, keep, best), least_changed(bound, keep, first), best])
    report = check(problem, plan)
    trial.document = to_document(replace(plan, cost=report.cost))
    trial.broken = broken_rows(report, season, trial.problem, plan)
    trial.cost_total = report.cost.total


def _least_change(season: Problem, keep: Plan, plans: list[Plan]) -> Plan:
    """The plan whose cost and changes against the one kept are least together; the first of equals."""
    was = Situation(season, keep)
    return min(plans, key=lambda plan: plan.cost.total + disturbance(compare(was, Situation(season, plan))))


def save_trials(trials: Iterable[PlanTrial], now: datetime) -> None:
    """Write the results of trials that were planned."""
    rows = [row for row in trials if row.document is not None]
    for row in rows:
        row.tried_at = now
    PlanTrial.objects.bulk_update(rows, ["document", "broken", "cost_total", "tried_at"], batch_size=50)


def require_fresh(season: Season, trial: PlanTrial, changed: dict[str, Any]) -> None:
    """Raise TrialError where the season, changed in the same way, is no longer what was tried."""
    differs = differences_between(season, changed, trial.problem)
    if differs:
        names = "; ".join(differs[:5]) + (f"; and {len(differs) - 5} more" if len(differs) > 5 else "")
        raise TrialError(f"This has changed since it was tried: {names}. Nothing was applied; try again.")


def take_over(*, season: Season, trial: PlanTrial, member: Member, note: str, now: datetime) -> PlanVersion:
    """Make a trial's plan the plan in work, answering the season as the rows stand now. Raises TrialError where it breaks a
    rule by now, for example because a step was done at another hour; call it in a transaction, so that nothing is kept then."""
    version = save_plan(
        season=season,
        problem=_with_done(season_document(season), trial.problem),
        plan=load_plan(trial.document),
        origin=PlanVersion.Origin.SOLVER,
        by=member.user,
        now=now,
        parent=trial.base,
        note=note[:200],
    )
    if version.broken:
        text = str(version.broken[0]["text"])
        raise TrialError(f"The season has moved on since this was tried: {text} Nothing was applied; try again.")
    return version


@dataclass(frozen=True, slots=True)
class AskedRow:
    """What a group or a technician is asked, for people."""

    who: str
    texts: tuple[str, ...]
    to_accept: bool


@dataclass(frozen=True, slots=True)
class BurdenRow:
    """A ranch: as the plan stands, with the changed plan, in the season before (None: no group then), and in all earlier
    seasons that are looked at together."""

    ranch: str
    was: Burden
    now: Burden
    last: Burden | None
    earlier: Burden


@dataclass(frozen=True, slots=True)
class LoadRow:
    """A technician whose season changes."""

    technician: str
    was: Load
    now: Load


@dataclass(frozen=True)
class Outcome:
    """A trial beside the plan that it changes. `names` are groups by id, `people` technicians and ranches by id."""

    comparison: Comparison
    asked: tuple[Asked, ...]
    price: Price | None
    names: Mapping[str, str]
    people: Mapping[str, str]

    @property
    def for_groups(self) -> list[AskedRow]:
        """What each group is asked, by ranch and group."""
        rows = [item for item in self.asked if item.group]
        return [AskedRow(self.names.get(item.group, ""), item.texts, item.to_accept) for item in rows]

    @property
    def for_technicians(self) -> list[AskedRow]:
        """What changes for each technician."""
        rows = [item for item in self.asked if item.technician]
        return [AskedRow(self.people.get(item.technician, ""), item.texts, item.to_accept) for item in rows]

    @property
    def lost_names(self) -> list[str]:
        """Groups that carrying on would leave without AI, by name."""
        return sorted(self.names.get(name, name) for name in self.price.lost) if self.price else []

    @property
    def loads(self) -> list[LoadRow]:
        """Technicians whose days, head or km change, by name."""
        was, now = self.comparison.loads_was, self.comparison.loads_now
        rows = [LoadRow(self.people.get(key, ""), was.get(key, Load()), load) for key, load in now.items()]
        return sorted((row for row in rows if row.was != row.now), key=lambda row: row.technician)

    def burdens(self, earlier: Sequence[Mapping[str, Burden]] = ()) -> list[BurdenRow]:
        """Ranches for which anything changes, by name; `earlier` are burdens by ranch id, the season before first."""
        found, last = self.comparison, earlier[0] if earlier else {}
        rows = [
            BurdenRow(
                self.people.get(ranch, ""),
                found.burdens_was.get(ranch, Burden()),
                found.burdens_now.get(ranch, Burden()),
                last.get(ranch),
                together(season.get(ranch) for season in earlier),
            )
            for ranch in found.ranches
        ]
        return sorted(rows, key=lambda row: row.ranch)


def names_of(season: Season) -> dict[str, str]:
    """The season's groups by the id that documents use. One query."""
    return {str(row.pk): str(row.group) for row in season.entries.select_related("group__herd__ranch")}


def situation_of(document: dict[str, Any], plan: dict[str, Any], protocols: Mapping[str, Protocol]) -> Situation:
    """A season document and a plan document as values."""
    return Situation(load_season(document, protocols), load_plan(plan))


def outcome_of(
    trial: PlanTrial,
    *,
    before: Situation,
    protocols: Mapping[str, Protocol],
    holidays: frozenset[date],
    names: Mapping[str, str],
    with_price: bool = False,
) -> Outcome:
    """What a trial that has run would change. With the price of not changing, the plan before is looked through as well."""
    if trial.document is None:
        raise TrialError("This has not been planned yet. Wait until planning has ended.")
    after = situation_of(trial.problem, trial.document, protocols)
    found = compare(before, after, holidays=holidays)
    cost = price(before, standing(after.season, before.plan), after) if with_price else None
    people = {key: row.name for key, row in after.season.technicians.items()}
    people |= {key: row.name for key, row in after.season.ranches.items()}
    return Outcome(found, asked(found, after, names), cost, names, people)


def outcome(trial: PlanTrial, season: Season) -> Outcome:
    """What a trial that has run would change, with the price of not changing."""
    protocols = protocols_of(season.cooperative)
    return outcome_of(
        trial,
        before=situation_of(trial.base.problem, trial.base.document, protocols),
        protocols=protocols,
        holidays=holidays_of(season.cooperative),
        names=names_of(season),
        with_price=True,
    )
