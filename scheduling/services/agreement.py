"""Choosing a remedy, asking the ranches concerned, applying what all of them accept, and noting who gave way."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import transaction

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import BreedingGroup, Ranch
from scheduling.kernel.compare import GroupChange
from scheduling.models import ClashAnswer, ClashCase, ClashRemedy, GaveWay, Season, SeasonEntry
from scheduling.services.desk import context_of
from scheduling.services.entries import FIELDS, EntryError, write_wishes
from scheduling.services.problem import season_document
from scheduling.services.remedies import written
from scheduling.services.seasons import require_planner
from scheduling.services.trials import TrialError, require_fresh, take_over

State, Answer = ClashCase.State, ClashAnswer.State
_OPEN = (State.TRYING, State.OPEN, State.ASKING)


def choose_remedy(*, member: Member, remedy: ClashRemedy, now: datetime) -> ClashCase:
    """Ask the members concerned whether they accept the remedy; where nobody is concerned it is applied at once. Raises
    TrialError."""
    require_planner(member, remedy.case.season)
    with transaction.atomic():
        case = _locked(remedy.case_id)
        if case.state not in (State.OPEN, State.ASKING):
            raise TrialError(f"This clash is closed: {case.get_state_display().lower()}.")
        remedy = case.remedies.select_related("trial__base").get(pk=remedy.pk)
        if not remedy.works or remedy.trial.document is None:
            raise TrialError("This remedy does not work; choose another.")
        if remedy.answers.filter(state=Answer.DECLINED).exists():
            raise TrialError("A ranch has declined this remedy; choose another, or open the desk again.")
        _require_fresh(case, remedy)
        _waiting(case).exclude(remedy=remedy).update(state=Answer.WITHDRAWN)
        for ranch, texts in _asks(case, remedy).items():
            ClashAnswer.objects.update_or_create(
                remedy=remedy,
                ranch_id=ranch,
                defaults={"texts": texts, "state": Answer.WAITING, "asked_at": now, "by": None, "answered_at": None},
            )
        case.chosen, case.state = remedy, State.ASKING
        case.save(update_fields=["chosen", "state"])
        if not remedy.answers.filter(state=Answer.WAITING).exists():
            _apply(case, remedy, member, now)
    return case


def _locked(case: UUID) -> ClashCase:
    rows = ClashCase.objects.select_for_update(of=("self",))
    return rows.select_related("season__cooperative", "season__published_plan", "base", "group__group").get(pk=case)


def _waiting(case: ClashCase) -> Any:
    return ClashAnswer.objects.filter(remedy__case=case, state=Answer.WAITING)


def _require_fresh(case: ClashCase, remedy: ClashRemedy) -> None:
    require_fresh(case.season, remedy.trial, written(season_document(case.season), remedy.writes))


def _asks(case: ClashCase, remedy: ClashRemedy) -> dict[str, list[str]]:
    """What each ranch is asked, by ranch id, in sentences that begin with the group's name.

    Counted from the published plan where there is one. Before that nobody has been promised anything, so that only ranches
    that do not get their wish are asked.
    """
    found = context_of(case, case.season.published_plan).outcome(remedy)
    changes = {item.group: item for item in found.comparison.groups}
    concerned = {write["entry"] for write in remedy.writes} | {write.get("split", "") for write in remedy.writes}
    asks: dict[str, list[str]] = defaultdict(list)
    for row in found.asked:
        if not row.ranch or not (row.to_accept or row.group in concerned):
            continue
        if case.season.published_plan_id is None and row.group not in concerned and not _off_wish(changes[row.group]):
            continue
        name = found.names.get(row.group, "")
        asks[row.ranch] += [f"{name}: {text}" for text in (*row.texts, *_write_texts(remedy, row.group))]
    return dict(asks)


def _off_wish(item: GroupChange) -> bool:
    return item.day_now != item.wanted


def _write_texts(remedy: ClashRemedy, group: str) -> Iterable[str]:
    for write in remedy.writes:
        if write["entry"] != group:
            continue
        if "split" in write:
            yield f"{write['head']} head become a group of their own."
        elif write["field"] == "needs_barn":
            yield "The breeding barn comes." if write["to"] else "It does without the breeding barn."


def may_answer(member: Member, ranch: Ranch) -> bool:
    """Whether the member may answer for this ranch: as one of its people, or as coordinator, for example by telephone."""
    reach = member.reach(Permission.CLASH_ANSWER)
    here = ranch.cooperative_id == member.cooperative.pk
    return here and (reach is Reach.COOP or (reach is Reach.OWN and ranch.people.filter(pk=member.user.pk).exists()))


def answer_ask(*, member: Member, answer: ClashAnswer, accept: bool, reason: str = "", now: datetime) -> ClashCase:
    """Accept or decline for a ranch. When every ranch has accepted, the remedy is applied; one that declines sends the clash
    back to the coordinator. Raises TrialError, saving nothing, where nobody waits for this answer any more."""
    if not may_answer(member, answer.ranch):
        raise PermissionDenied(f"Your role in {member.cooperative} does not let you answer for {answer.ranch}.")
    with transaction.atomic():
        case = _locked(answer.remedy.case_id)
        row = ClashAnswer.objects.select_related("remedy__trial__base").get(pk=answer.pk)
        if row.state != Answer.WAITING or case.state != State.ASKING or case.chosen_id != row.remedy_id:
            raise TrialError("This is no longer asked; nothing was changed.")
        row.state = Answer.ACCEPTED if accept else Answer.DECLINED
        row.reason, row.by, row.answered_at = reason.strip()[:300], member.user, now
        row.save(update_fields=["state", "reason", "by", "answered_at"])
        if not accept:
            _waiting(case).update(state=Answer.WITHDRAWN)
            _reopen(case)
        elif not _waiting(case).exists():
            _apply_or_reopen(case, row.remedy, member, now)
    return case


def _reopen(case: ClashCase) -> None:
    case.state, case.chosen = State.OPEN, None
    case.save(update_fields=["state", "chosen"])


def _apply_or_reopen(case: ClashCase, remedy: ClashRemedy, member: Member, now: datetime) -> None:
    """What everybody accepted may no longer fit: then the answers stay on record and the coordinator is told."""
    try:
        with transaction.atomic():
            _apply(case, remedy, member, now)
    except (TrialError, EntryError) as fault:
        remedy.works, remedy.fault = False, str(fault)[:300]
        remedy.save(update_fields=["works", "fault"])
        case.result = case.closed_at = None
        _reopen(case)


def _apply(case: ClashCase, remedy: ClashRemedy, member: Member, now: datetime) -> None:
    """Write the wishes that were agreed on, make the remedy's plan the plan in work, and note who gave way."""
    _require_fresh(case, remedy)
    log = _gave_way(case, remedy, now)
    for write in remedy.writes:
        _write(case.season, write)
    case.result = take_over(season=case.season, trial=remedy.trial, member=member, note=remedy.title, now=now)
    case.state, case.closed_at, case.chosen = State.APPLIED, now, remedy
    case.save(update_fields=["result", "state", "closed_at", "chosen"])
    GaveWay.objects.bulk_create(log)


def _write(season: Season, write: dict[str, Any]) -> None:
    entry = season.entered.select_related("group__herd__ranch", "season").filter(pk=write["entry"]).first()
    if entry is None:
        raise TrialError("A group of this remedy is no longer in the season. Nothing was applied.")
    if "split" in write:
        _cut(entry, UUID(write["split"]), write["head"])
        return
    value = write["to"]
    if write["field"] in ("ai_from", "ai_to"):
        value = date.fromisoformat(value)
    write_wishes(entry, {write["field"]: value})


def _cut(entry: SeasonEntry, identity: UUID, head: int) -> None:
    """Cut a part off as a breeding group of its own, entered with the same wishes."""
    whole = entry.group
    taken = {name.lower() for name in whole.herd.groups.values_list("name", flat=True)}
    name = next(text for i in range(2, 100) if (text := f"{whole.name[:105]}, part {i}").lower() not in taken)
    part = BreedingGroup.objects.create(herd=whole.herd, name=name, animal_class=whole.animal_class, head=head)
    values = {field: getattr(entry, field) for field in FIELDS}
    write_wishes(entry, {"head": entry.head - head})
    write_wishes(SeasonEntry(id=identity, season=entry.season, group=part), {**values, "head": head})


def _gave_way(case: ClashCase, remedy: ClashRemedy, now: datetime) -> list[GaveWay]:
    """A row for each group whose ranch was asked and that does not come nearer to its wish by the remedy."""
    found = context_of(case, case.season.published_plan).outcome(remedy)
    ranches = {str(answer.ranch_id) for answer in remedy.answers.filter(state=Answer.ACCEPTED)}
    texts = {row.group: row.texts for row in found.asked if row.group}
    concerned = {write["entry"] for write in remedy.writes if write.get("field") not in ("ai_from", "ai_to")}
    rows = []
    for item in found.comparison.groups:
        if item.ranch not in ranches or not (item.group in concerned or _further(item)):
            continue
        said = " ".join((*texts.get(item.group, ()), *_write_texts(remedy, item.group)))
        days = abs((item.day_now - item.wanted).days) if item.day_now else 0
        rows.append(
            GaveWay(
                season=case.season,
                ranch_id=UUID(item.ranch),
                case=case,
                group=found.names.get(item.group, "")[:120],
                text=said[:400],
                days=days,
                at=now,
            )
        )
    return rows


def _further(item: GroupChange) -> bool:
    """Whether a group ends further from its wish than it was, loses its place, or only its hours change."""
    if item.day_now is None:
        return True
    now = abs((item.day_now - item.wanted).days)
    was = abs((item.day_was - item.wanted).days) if item.day_was else 0
    return now > was or (now == was and bool(item.steps) and item.day_was is not None)


def drop_case(*, member: Member, case: ClashCase, now: datetime) -> None:
    """Leave the plan as it stands; nobody is asked any more."""
    require_planner(member, case.season)
    with transaction.atomic():
        row = _locked(case.pk)
        if row.state not in _OPEN:
            raise TrialError(f"This clash is closed: {row.get_state_display().lower()}.")
        _waiting(row).update(state=Answer.WITHDRAWN)
        row.state, row.closed_at = State.DROPPED, now
        row.save(update_fields=["state", "closed_at"])
