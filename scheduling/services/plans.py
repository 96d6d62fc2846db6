"""Plan versions: saving what the search found, moving a group by hand, applying a remedy."""

from dataclasses import asdict, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max

from accounts.models import Cooperative, User
from accounts.tenancy import Member
from scheduling.kernel.checker import Report, check
from scheduling.kernel.days import technician_days
from scheduling.kernel.plan import Bound, GroupPlan, Lot, Plan, Visit, load_plan, to_document
from scheduling.kernel.season import Season as Problem
from scheduling.kernel.season import load_season
from scheduling.models import PlanVersion, Season, SeasonEntry
from scheduling.services.editions import protocols_of
from scheduling.services.entries import change_entry
from scheduling.services.seasons import require_planner
from scheduling.services.wording import wording_of


class MoveError(ValueError):
    """A move by hand that cannot be made; the text says why."""


def problem_of(document: dict[str, Any], cooperative: Cooperative) -> Problem:
    """The season document as a value, read with the co-op's own hours."""
    return load_season(document, protocols_of(cooperative))


def broken_rows(report: Report, season: Season, problem: dict[str, Any], plan: Plan) -> list[dict[str, Any]]:
    """What a plan breaks as rows, in sentences for people. What a cost was printed as is not among it."""
    found = [asdict(item) for item in report.broken if item.code != "cost_printed"]
    words = wording_of(season, problem, plan) if found else None
    return [{**item, "text": words.say(item["text"]), "about": list(item["about"])} for item in found if words]


def save_plan(
    *,
    season: Season,
    problem: dict[str, Any],
    plan: Plan,
    origin: str,
    by: User | None,
    now: datetime,
    parent: PlanVersion | None = None,
    note: str = "",
) -> PlanVersion:
    """Store a plan as the season's next version, with what the checker says of it, and make it the plan in work."""
    report = check(problem_of(problem, season.cooperative), plan)
    plan = replace(plan, cost=report.cost)
    broken = broken_rows(report, season, problem, plan)
    with transaction.atomic():
        Season.objects.select_for_update().get(pk=season.pk)
        last = season.plans.aggregate(last=Max("number"))["last"] or 0
        version = PlanVersion.objects.create(
            season=season,
            number=last + 1,
            origin=origin,
            parent=parent,
            note=note,
            problem=problem,
            document=to_document(plan),
            broken=broken,
            status=plan.status,
            cost_total=report.cost.total,
            created_by=by,
            created_at=now,
        )
        season.plan = version
        season.save(update_fields=["plan"])
    return version


def move_group(*, member: Member, plan: PlanVersion, entry: SeasonEntry, ai_day: date, now: datetime) -> PlanVersion:
    """Move a group's AI (and with it every step and visit) by whole days, keeping clock hours, and say what breaks.

    The result is a new version in work; `broken` lists the rules that it breaks.
    """
    require_planner(member, plan.season)
    problem, value = problem_of(plan.problem, member.cooperative), load_plan(plan.document)
    group = next((item for item in value.groups if item.id == str(entry.pk)), None)
    if group is None:
        raise MoveError("This group has no place in the plan; plan the season, or change its wishes.")
    if group.ai_day == ai_day:
        raise MoveError(f"AI of this group is on {ai_day:%a %d %b} already.")
    ranch = problem.ranches[next(item.ranch for item in problem.groups if item.id == group.id)]
    days = ai_day - group.ai_day
    _require_ahead(entry, _moved_group(group, days, ranch.zone), ranch.zone, now)
    groups = tuple(_moved_group(item, days, ranch.zone) if item.id == group.id else item for item in value.groups)
    visits = tuple(_moved_visit(item, days, ranch.zone) if item.group == group.id else item for item in value.visits)
    visits = tuple(sorted(visits, key=lambda visit: (visit.start, visit.technician, visit.end)))
    days_now = technician_days(problem, visits)
    moved = replace(value, groups=groups, visits=visits, days=days_now, bound=Bound(None, "none"))
    note = f"{entry.group} moved from {group.ai_day:%a %d %b} to {ai_day:%a %d %b}"
    return save_plan(
        season=plan.season,
        problem=plan.problem,
        plan=moved,
        origin=PlanVersion.Origin.HAND,
        by=member.user,
        now=now,
        parent=plan,
        note=note,
    )


def _require_ahead(entry: SeasonEntry, moved: GroupPlan, zone: ZoneInfo, now: datetime) -> None:
    """What has begun follows from what was given; what has not cannot begin on days that are over."""
    if now.astimezone(zone).date() > entry.season.last_day:
        return  # a season that is over is only written down
    if entry.steps.filter(starts__lte=now).exclude(status="cancelled").exists():
        text = f"{entry.group} has begun its programme, and its AI day follows from that."
        raise MoveError(f"{text} Say under Something has happened that it cannot keep its day.")
    first = min(step.start for lot in moved.lots for step in lot.steps).astimezone(zone)
    if first < now:
        raise MoveError(f"Its programme would begin on {first:%a %d %b, %H:%M}: no group is moved into the past.")


def _moved_group(group: GroupPlan, days: timedelta, zone: ZoneInfo) -> GroupPlan:
    return replace(group, ai_day=group.ai_day + days, lots=tuple(_moved_lot(lot, days, zone) for lot in group.lots))


def _moved_lot(lot: Lot, days: timedelta, zone: ZoneInfo) -> Lot:
    steps = (
        replace(step, start=_moved(step.start, days, zone), end=_moved(step.end, days, zone)) for step in lot.steps
    )
    return replace(lot, steps=tuple(steps))


def _moved_visit(visit: Visit, days: timedelta, zone: ZoneInfo) -> Visit:
    return replace(visit, start=_moved(visit.start, days, zone), end=_moved(visit.end, days, zone))


def _moved(moment: datetime, days: timedelta, zone: ZoneInfo) -> datetime:
    """The same clock hour in the ranch's zone, whole days later."""
    local = moment.astimezone(zone)
    return (local.replace(tzinfo=None) + days).replace(tzinfo=zone)


def apply_remedy(*, member: Member, plan: PlanVersion, group: str, number: int) -> SeasonEntry:
    """Write a remedy of an unplaced group into its wishes; the caller then plans again."""
    require_planner(member, plan.season)
    item = next((item for item in plan.document["unplaced"] if item["group"] == group), None)
    if item is None or not 0 <= number < len(item["remedies"]):
        raise MoveError("This remedy is no longer offered; plan the season again.")
    change = item["remedies"][number]["change"]
    entry = plan.season.entered.select_related("group__herd__ranch", "season").filter(pk=group).first()
    if entry is None:
        raise MoveError("This group is no longer in the season; plan the season again.")
    value: Any = change["to"]
    if change["field"] in ("ai_from", "ai_to"):
        value = date.fromisoformat(str(value))
    return change_entry(member=member, entry=entry, values={change["field"]: value})
