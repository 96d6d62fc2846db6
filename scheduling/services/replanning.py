"""Replanning with least change when life happens.

What happened is laid over the season as a document; the plan that follows is tried out by a job. Master data changes only
when the coordinator accepts.
"""

from collections.abc import Iterable
from copy import deepcopy
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.db import transaction

from accounts.tenancy import Member
from herdplan.herds.models import ClosedDay, Ranch
from herdplan.technicians.models import DayOff, Technician
from scheduling.kernel.asked import day_words
from scheduling.kernel.compare import days_between
from scheduling.kernel.days import straight_km
from scheduling.models import PlannedStep, PlanVersion, Replanning, Season, SeasonEntry, StepRecord
from scheduling.services.entries import write_wishes
from scheduling.services.problem import season_document
from scheduling.services.publishing import publish
from scheduling.services.seasons import require_planner
from scheduling.services.trials import (
    TrialError,
    Wanted,
    count_past_as_done,
    holds_of_the_past,
    request_trials,
    require_fresh,
    take_over,
)

Kind = Replanning.Kind
SECONDS = 7.0
_MOST_DAYS = 120


class ReplanError(ValueError):
    """Something that happened and cannot be planned for as it was said: the field and what is allowed."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(f"{field}: {text}")
        self.field, self.text = field, text


@dataclass(frozen=True, slots=True)
class Happening:
    """What happened. Which fields count depends on the kind: `technician`, `ranches` or `entry` with days or head.

    `earliest` and `latest` are the days on which a group that lost its slot can have AI; `restart` starts its programme anew.
    """

    kind: str
    technician: Technician | None = None
    ranches: tuple[Ranch, ...] = ()
    entry: SeasonEntry | None = None
    first_day: date | None = None
    last_day: date | None = None
    head: int | None = None
    restart: bool = False
    reason: str = ""


def request_replanning(
    *,
    member: Member,
    season: Season,
    happening: Happening,
    now: datetime,
    base: PlanVersion | None = None,
    past_is_done: bool = True,
    rounds: int | None = None,
    seconds: float | None = None,
) -> Replanning:
    """Ask what plan would follow from what happened, changing `base` (else the published plan, else the plan in work) least.

    With `past_is_done` published steps that should have begun by `now` count as done at their planned hours, ticked off or
    not: what lies in the past cannot be moved. Raises ReplanError or TrialError.
    """
    require_planner(member, season)
    plan = base or season.published_plan or season.plan
    if plan is None or plan.season_id != season.pk:
        raise TrialError("There is no plan yet. Plan the season first; then there is something to replan.")
    event, title = _event(season, happening, now.astimezone(ZoneInfo(season.zone)).date())
    document = season_document(season)
    if past_is_done and plan.pk == season.published_plan_id:
        count_past_as_done(document, season, now)
    problem = laid_over(document, happening.kind, event)
    if happening.kind == Kind.LOST_SLOT and _row(problem, event).get("done"):
        text = "Steps of this group have been done, and they fix its AI day. Tick that the programme starts again."
        raise ReplanError("restart", text)
    wanted = Wanted(problem, holds_of_the_past(season, now))
    if seconds is None and rounds is None:
        seconds = SECONDS
    with transaction.atomic():
        _, trials = request_trials(
            member=member, season=season, base=plan, wanted=[wanted], now=now, rounds=rounds, seconds=seconds
        )
        return Replanning.objects.create(
            season=season,
            kind=happening.kind,
            event=event,
            title=title[:200],
            trial=trials[0],
            made_by=member.user,
            made_at=now,
        )


# -- what happened, checked and put in words --------------------------------------------------------------------------
def _event(season: Season, happening: Happening, today: date) -> tuple[dict[str, Any], str]:
    """What happened as a JSON document, and a sentence."""
    kind = happening.kind
    if kind == Kind.TECHNICIAN_ILL:
        return _ill(season, happening, today)
    if kind in (Kind.RANCH_CLOSED, Kind.WEATHER):
        return _closed(season, happening, today)
    if kind == Kind.LATE_HEADCOUNT:
        return _headcount(season, happening)
    if kind == Kind.LOST_SLOT:
        return _lost_slot(season, happening, today)
    if kind == Kind.STEPS_DONE:
        if not StepRecord.objects.filter(entry__season=season).exists():
            raise ReplanError("kind", "No step has been ticked off yet: there is nothing to replan around.")
        return {}, "Replanned around the steps that have been done"
    raise ReplanError("kind", f"Choose what happened: {', '.join(Kind.values)}.")


def _days(season: Season, happening: Happening, today: date) -> tuple[date, date, str]:
    """First and last day, cut to the season and to what still lies ahead, and the words for them."""
    first, last = happening.first_day, happening.last_day
    if first is None or last is None:
        raise ReplanError("first_day", "Give the first and the last day.")
    if last < first:
        raise ReplanError("last_day", "Choose a day that is not before the first one.")
    if (last - first).days >= _MOST_DAYS:
        raise ReplanError("last_day", f"At most {_MOST_DAYS} days at once.")
    first, last = max(first, season.first_day, today), min(last, season.last_day)
    if last < first:
        text = f"These days lie outside of the season or in the past; the season runs until {season.last_day:%d %b %Y}."
        raise ReplanError("last_day", text)
    words = f"on {day_words(first)}" if first == last else f"from {day_words(first)} to {day_words(last)}"
    return first, last, words


def _ill(season: Season, happening: Happening, today: date) -> tuple[dict[str, Any], str]:
    person = happening.technician
    if person is None or person.cooperative_id != season.cooperative_id:
        raise ReplanError("technician", "Choose a technician of this co-op.")
    first, last, words = _days(season, happening, today)
    event = {"technician": str(person.pk), "first": first.isoformat(), "last": last.isoformat()}
    return {**event, "reason": happening.reason.strip() or "Cannot come"}, f"{person.name} cannot come {words}"


def _closed(season: Season, happening: Happening, today: date) -> tuple[dict[str, Any], str]:
    ranches = happening.ranches
    if not ranches or any(ranch.cooperative_id != season.cooperative_id for ranch in ranches):
        raise ReplanError("ranches", "Choose at least one ranch of this co-op.")
    first, last, words = _days(season, happening, today)
    names = ", ".join(ranch.name for ranch in ranches[:3]) + (
        f" and {len(ranches) - 3} more" if len(ranches) > 3 else ""
    )
    why = "Weather: no cattle are handled at" if happening.kind == Kind.WEATHER else "No cattle are handled at"
    event = {
        "ranches": sorted(str(ranch.pk) for ranch in ranches),
        "first": first.isoformat(),
        "last": last.isoformat(),
    }
    default = "Weather" if happening.kind == Kind.WEATHER else "Closed"
    return {**event, "reason": happening.reason.strip() or default}, f"{why} {names} {words}"


def _entry(season: Season, happening: Happening) -> SeasonEntry:
    entry = happening.entry
    if entry is None or entry.season_id != season.pk:
        raise ReplanError("entry", "Choose a group of this season.")
    return entry


def _headcount(season: Season, happening: Happening) -> tuple[dict[str, Any], str]:
    entry, head = _entry(season, happening), happening.head
    if head is None or not 1 <= head <= 5000:
        raise ReplanError("head", "Give the number of head, 1 to 5000.")
    if head == entry.head:
        raise ReplanError("head", f"{entry.group} is entered with {head} head already.")
    return {"entry": str(entry.pk), "head": head}, f"{entry.group} has {head} head instead of {entry.head}"


def _lost_slot(season: Season, happening: Happening, today: date) -> tuple[dict[str, Any], str]:
    entry = _entry(season, happening)
    first, last = happening.first_day, happening.last_day
    if first is None or last is None:
        raise ReplanError("first_day", "Give the first and the last day on which AI is possible now.")
    if last < first:
        raise ReplanError("last_day", "Choose a day that is not before the first one.")
    if first < max(season.first_day, today) or last > season.last_day:
        text = f"Choose days from {day_words(max(season.first_day, today))} to {day_words(season.last_day)}."
        raise ReplanError("first_day" if first < max(season.first_day, today) else "last_day", text)
    event = {"entry": str(entry.pk), "first": first.isoformat(), "last": last.isoformat(), "restart": happening.restart}
    again = ", and its programme starts again" if happening.restart else ""
    return event, f"{entry.group} needs another AI day, {day_words(first)} to {day_words(last)}{again}"


# -- laid over the season's document ----------------------------------------------------------------------------------
def laid_over(document: dict[str, Any], kind: str, event: dict[str, Any]) -> dict[str, Any]:
    """The season as it is after what happened; the document given is left as it is."""
    changed = deepcopy(document)
    if kind == Kind.TECHNICIAN_ILL:
        _close(changed["technicians"], {event["technician"]}, "days_off", event)
    elif kind in (Kind.RANCH_CLOSED, Kind.WEATHER):
        _close(changed["ranches"], set(event["ranches"]), "closed_days", event)
    elif kind == Kind.LATE_HEADCOUNT:
        _row(changed, event)["head"] = event["head"]
    elif kind == Kind.LOST_SLOT:
        row = _row(changed, event)
        row.update(ai_from=event["first"], ai_to=event["last"])
        row["ai_wanted"] = min(max(row["ai_wanted"], event["first"]), event["last"])
        if event["restart"]:
            row["done"] = []
    return changed


def _close(rows: list[dict[str, Any]], ids: set[str], field: str, event: dict[str, Any]) -> None:
    days = days_between(date.fromisoformat(event["first"]), date.fromisoformat(event["last"]))
    for row in rows:
        if row["id"] in ids:
            row[field] = sorted({*row[field], *(day.isoformat() for day in days)})


def _row(document: dict[str, Any], event: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] | None = next((row for row in document["groups"] if row["id"] == event["entry"]), None)
    if found is None:
        raise TrialError("This group is no longer in the season. Nothing was applied.")
    return found


# -- deciding ---------------------------------------------------------------------------------------------------------
def accept_replanning(
    *, member: Member, replanning: Replanning, now: datetime, publish_it: bool = False
) -> PlanVersion:
    """Write what happened into the master data and make the plan that follows the plan in work; publish it where asked.

    All or nothing. Raises TrialError, EntryError or what publishing raises.
    """
    season = replanning.season
    require_planner(member, season)
    with transaction.atomic():
        season = Season.objects.select_for_update().get(pk=season.pk)
        row = Replanning.objects.select_related("trial__base").get(pk=replanning.pk)
        if row.state != Replanning.State.OPEN:
            raise TrialError(f"This was {row.get_state_display().lower()} already.")
        if row.trial.document is None:
            raise TrialError("The new plan is not ready yet. Wait until planning has ended.")
        require_fresh(season, row.trial, laid_over(season_document(season), row.kind, row.event))
        _write(season, row.kind, row.event)
        version = take_over(season=season, trial=row.trial, member=member, note=row.title, now=now)
        row.state, row.result = Replanning.State.ACCEPTED, version
        row.decided_by, row.decided_at = member.user, now
        row.save(update_fields=["state", "result", "decided_by", "decided_at"])
        if publish_it:
            season.refresh_from_db()
            publish(member=member, season=season, plan=version, now=now)
    return version


def drop_replanning(*, member: Member, replanning: Replanning, now: datetime) -> None:
    """Leave everything as it is."""
    require_planner(member, replanning.season)
    Replanning.objects.filter(pk=replanning.pk, state=Replanning.State.OPEN).update(
        state=Replanning.State.DROPPED, decided_by=member.user, decided_at=now
    )


def _write(season: Season, kind: str, event: dict[str, Any]) -> None:
    """What happened, in the rows of technicians, ranches and entries."""
    if kind == Kind.TECHNICIAN_ILL:
        person = Technician.objects.filter(pk=event["technician"], cooperative=season.cooperative_id).first()
        if person is None:
            raise TrialError("This technician is no longer in the co-op. Nothing was applied.")
        DayOff.objects.create(
            technician=person, first_day=event["first"], last_day=event["last"], reason=event["reason"][:120]
        )
    elif kind in (Kind.RANCH_CLOSED, Kind.WEATHER):
        _write_closed(season, [UUID(name) for name in event["ranches"]], event)
    elif kind in (Kind.LATE_HEADCOUNT, Kind.LOST_SLOT):
        _write_entry(season, kind, event)


def _write_closed(season: Season, ranches: Iterable[UUID], event: dict[str, Any]) -> None:
    days = days_between(date.fromisoformat(event["first"]), date.fromisoformat(event["last"]))
    found = Ranch.objects.filter(pk__in=list(ranches), cooperative=season.cooperative_id)
    ClosedDay.objects.bulk_create(
        [ClosedDay(ranch=ranch, day=day, reason=event["reason"][:120]) for ranch in found for day in days],
        ignore_conflicts=True,
    )


def _write_entry(season: Season, kind: str, event: dict[str, Any]) -> None:
    entry = season.entered.select_related("group__herd__ranch", "season").filter(pk=event["entry"]).first()
    if entry is None:
        raise TrialError("This group is no longer in the season. Nothing was applied.")
    if kind == Kind.LATE_HEADCOUNT:
        write_wishes(entry, {"head": event["head"]})
        return
    first, last = date.fromisoformat(event["first"]), date.fromisoformat(event["last"])
    write_wishes(entry, {"ai_from": first, "ai_to": last, "ai_wanted": min(max(entry.ai_wanted, first), last)})
    if event["restart"]:
        entry.records.all().delete()
        PlannedStep.objects.filter(entry=entry, status="done").update(status="planned")


def ranches_near(*, member: Member, middle: Ranch, km: float) -> tuple[Ranch, ...]:
    """The co-op's ranches within `km` of a ranch as the crow flies, that ranch first: a region that weather closes."""
    if middle.cooperative_id != member.cooperative.pk:
        raise PermissionDenied(f"{middle} is not a ranch of {member.cooperative}.")
    here = (middle.lat, middle.lon)
    far = [
        (straight_km(here, (ranch.lat, ranch.lon)), ranch)
        for ranch in Ranch.objects.filter(cooperative=member.cooperative)
    ]
    near = sorted(
        ((distance, ranch.name, ranch) for distance, ranch in far if distance <= km), key=lambda item: item[:2]
    )
    return tuple(ranch for _, _, ranch in near)
