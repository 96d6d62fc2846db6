"""Entering groups in a season."""

from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import BreedingGroup, Ranch
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass
from scheduling.models import Season, SeasonEntry

FIELDS = (
    "protocol",
    "head",
    "ai_from",
    "ai_to",
    "ai_wanted",
    "order",
    "ai_by",
    "steps_by",
    "skills",
    "needs_barn",
    "kept_from_bulls",
)


class EntryError(ValueError):
    """An entry that cannot be saved: texts by field, each saying what is allowed."""

    def __init__(self, faults: dict[str, list[str]]) -> None:
        super().__init__("; ".join(f"{name}: {' '.join(texts)}" for name, texts in faults.items()))
        self.faults = faults


def enter_group(*, member: Member, season: Season, group: BreedingGroup, values: dict[str, Any]) -> SeasonEntry:
    """Enter a group with its wishes; raises EntryError, saving nothing."""
    require_ranch(member, group.herd.ranch)
    gone = SeasonEntry.objects.filter(season=season, group=group).exclude(withdrawn_at=None).first()
    entry = gone or SeasonEntry(season=season, group=group)
    entry.withdrawn_at = None
    return _save(entry, values)


def change_entry(*, member: Member, entry: SeasonEntry, values: dict[str, Any]) -> SeasonEntry:
    """Change a group's wishes; raises EntryError, saving nothing."""
    require_ranch(member, entry.group.herd.ranch)
    started = entry.records.exists()
    if started and values.get("protocol", entry.protocol) != entry.protocol:
        raise EntryError(
            {"protocol": ["A step has been done: the protocol stays. Take the step back first if it was a mistake."]}
        )
    return _save(entry, values)


def write_wishes(entry: SeasonEntry, values: dict[str, Any]) -> SeasonEntry:
    """Write wishes that were agreed on elsewhere; whoever calls has asked for leave. Raises EntryError, saving nothing."""
    return _save(entry, values)


def withdraw_entry(*, member: Member, entry: SeasonEntry, now: datetime) -> bool:
    """Take a group out of the season; True where its published dates stand until the season is planned and published anew."""
    require_ranch(member, entry.group.herd.ranch)
    if not entry.steps.exists():
        entry.delete()
        return False
    entry.withdrawn_at = now
    entry.save(update_fields=["withdrawn_at"])
    return entry.steps.exclude(status="cancelled").exists()


def may_change(member: Member, ranch: Ranch) -> bool:
    """Whether the member may change entries of this ranch."""
    reach = member.reach(Permission.ENTRY_EDIT)
    here = ranch.cooperative_id == member.cooperative.pk
    own = reach is Reach.OWN and ranch.people.filter(pk=member.user.pk).exists()
    return here and (reach is Reach.COOP or own)


def require_ranch(member: Member, ranch: Ranch) -> None:
    """403 where the member may not change entries of this ranch."""
    if not may_change(member, ranch):
        raise PermissionDenied(f"Your role in {member.cooperative} does not let you enter groups of {ranch}.")


def _save(entry: SeasonEntry, values: dict[str, Any]) -> SeasonEntry:
    for name in FIELDS:
        if name in values:
            setattr(entry, name, values[name])
    faults = _faults(entry)
    if faults:
        raise EntryError(faults)
    with transaction.atomic():
        entry.save()
    return entry


def _faults(entry: SeasonEntry) -> dict[str, list[str]]:
    try:
        entry.full_clean(validate_constraints=False)
    except ValidationError as fault:
        return dict(fault.message_dict)
    season = entry.season
    faults: dict[str, list[str]] = {}
    others = SeasonEntry.objects.filter(season=season, group=entry.group, withdrawn_at=None).exclude(pk=entry.pk)
    if others.exists():
        faults["group"] = [f"{entry.group} is entered in {season} already; change that entry."]
    if entry.group.herd.ranch.cooperative_id != season.cooperative_id:
        faults["group"] = ["Choose a group of this co-op."]
    faults |= _protocol_faults(entry)
    for name in ("ai_from", "ai_to"):
        if not season.first_day <= getattr(entry, name) <= season.last_day:
            faults[name] = [f"Choose a day of the season, {season.first_day:%d %b %Y} to {season.last_day:%d %b %Y}."]
    if entry.ai_from > entry.ai_to:
        faults["ai_to"] = ["Choose a day that is not before the first possible AI day."]
    elif not entry.ai_from <= entry.ai_wanted <= entry.ai_to:
        faults["ai_wanted"] = ["Choose a day between the first and the last possible AI day."]
    return faults


def _protocol_faults(entry: SeasonEntry) -> dict[str, list[str]]:
    protocol = load_catalogue().protocols.get(entry.protocol)
    if protocol is None:
        return {"protocol": ["Choose a protocol of the catalogue."]}
    if not protocol.fits(AnimalClass(entry.group.animal_class)):
        wanted = entry.group.get_animal_class_display().lower()
        return {"protocol": [f"{protocol.name} is not for {wanted}; choose one that is."]}
    lead = protocol.reference_day
    if (entry.ai_to - entry.season.first_day).days < lead:
        day = f"{entry.season.first_day + timedelta(days=lead):%d %b %Y}"
        text = f"{protocol.name} begins {lead} days before AI: choose {day} or later, or start the season earlier."
        return {"ai_to": [text]}
    return {}
