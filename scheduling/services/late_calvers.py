"""Late calvers as a group of their own: proposed by the rules, made on one confirmation, all of it or nothing."""

import hashlib
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.permissions import Permission
from accounts.tenancy import Member
from herdplan.herds.models import BreedingGroup, Female
from herdplan.herds.queries import may_edit
from herdplan.herds.services import require_edit
from scheduling.models import SeasonEntry
from scheduling.services.entries import EntryError, enter_group, may_change, require_ranch
from scheduling.services.readiness import Animal, GroupReadiness, group_readiness

# Days that the new entry's AI window is open after the wanted day: a default of this program.
_WINDOW = timedelta(days=7)


class LateCalversError(ValueError):
    """A second group that cannot be made: the field and the way out; nothing was saved."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(f"{field}: {text}")
        self.field, self.text = field, text


@dataclass(frozen=True, slots=True)
class Proposal:
    """The late calvers, the days proposed for them, and what must still hold when somebody confirms it (`token`).

    `ready`: head that is ready on the new day by what is known now; `expected`: head that has not calved yet.
    """

    animals: tuple[Animal, ...]
    too_late: tuple[Animal, ...]
    start: date
    ai_day: date
    days_later: int
    ready: int
    expected: int
    name: str
    token: str


def proposal_of(readiness: GroupReadiness) -> Proposal | None:
    """What is proposed for a judged entry; None without late calvers."""
    late, dated = readiness.late, readiness.dated
    if late is None or dated is None:
        return None
    by_tag = {animal.judged.tag: animal for animal in readiness.animals}
    animals = tuple(by_tag[tag] for tag in late.tags)
    return Proposal(
        animals=animals,
        too_late=tuple(by_tag[tag] for tag in late.left_out),
        start=late.plan.start,
        ai_day=late.plan.ai,
        days_later=late.days_later,
        ready=late.ready,
        expected=sum(any(item.code == "calving_date" for item in animal.judged.reasons) for animal in animals),
        name=f"{readiness.entry.group.name}, late calvers"[:120],
        token=_token(animals, late.plan.ai),
    )


def _token(animals: tuple[Animal, ...], ai_day: date) -> str:
    """Who and when, so that a confirmation means what its page showed."""
    said = "|".join(sorted(str(animal.female.pk) for animal in animals)) + ai_day.isoformat()
    return hashlib.sha256(said.encode()).hexdigest()[:24]


def may_make(member: Member, entry: SeasonEntry) -> bool:
    """Whether the member may split this entry's group."""
    ranch = entry.group.herd.ranch
    return (
        may_change(member, ranch)
        and may_edit(member, ranch, Permission.RANCH_EDIT)
        and may_edit(member, ranch, Permission.FEMALE_EDIT)
    )


def make_second_group(
    *, member: Member, entry: SeasonEntry, name: str, ai_wanted: date, token: str, now: datetime
) -> SeasonEntry:
    """Move the late calvers into a new group and enter it; raises LateCalversError, saving nothing."""
    ranch = entry.group.herd.ranch
    require_ranch(member, ranch)
    require_edit(member, ranch, Permission.RANCH_EDIT)
    require_edit(member, ranch, Permission.FEMALE_EDIT)
    with transaction.atomic():
        # Two people may confirm at once: the second waits here and then finds nobody to move.
        BreedingGroup.objects.select_for_update().get(pk=entry.group_id)
        entry.refresh_from_db(fields=["head"])
        entry.group.refresh_from_db(fields=["head"])
        proposal = proposal_of(group_readiness(member=member, entry=entry, now=now))
        found = _checked(entry, proposal, ai_wanted, token)
        group = _group(entry, found, name)
        Female.objects.filter(pk__in=[animal.female.pk for animal in found.animals]).update(group=group)
        _shrink(entry, len(found.animals))
        return _enter(member, entry, group, ai_wanted)


def _checked(entry: SeasonEntry, proposal: Proposal | None, ai_wanted: date, token: str) -> Proposal:
    if entry.records.exists():
        raise LateCalversError(
            "", f"{entry.group} has begun its programme: its females stay together. Nothing was saved."
        )
    if proposal is None:
        raise LateCalversError("", "There are no late calvers in this group any more. Nothing was saved.")
    if token != proposal.token:
        raise LateCalversError(
            "", "The records have changed since this page was opened. Look again. Nothing was saved."
        )
    if len(proposal.animals) >= min(entry.head, entry.group.head):
        text = "All of the group calved late: move its AI day instead of splitting it. Nothing was saved."
        raise LateCalversError("", text)
    if ai_wanted < proposal.ai_day:
        day = f"{proposal.ai_day:%a} {proposal.ai_day.day} {proposal.ai_day:%b %Y}"
        raise LateCalversError("ai_wanted", f"Choose {day} or later: before, some are too early. Nothing was saved.")
    return proposal


def _group(entry: SeasonEntry, proposal: Proposal, name: str) -> BreedingGroup:
    old = entry.group
    group = BreedingGroup(
        herd=old.herd,
        name=name.strip(),
        animal_class=old.animal_class,
        head=len(proposal.animals),
    )
    try:
        group.full_clean()
    except ValidationError as fault:
        raise LateCalversError("name", " ".join(fault.messages)) from None
    group.save()
    return group


def _shrink(entry: SeasonEntry, head: int) -> None:
    entry.head -= head
    entry.save(update_fields=["head"])
    entry.group.head -= head
    entry.group.save(update_fields=["head"])


def _enter(member: Member, entry: SeasonEntry, group: BreedingGroup, ai_wanted: date) -> SeasonEntry:
    wishes = {
        "protocol": entry.protocol,
        "head": group.head,
        "ai_from": ai_wanted,
        "ai_wanted": ai_wanted,
        "ai_to": max(ai_wanted, min(ai_wanted + _WINDOW, entry.season.last_day)),
        "order": entry.order,
        "ai_by": entry.ai_by,
        "steps_by": entry.steps_by,
        "skills": entry.skills,
        "needs_barn": entry.needs_barn,
        "kept_from_bulls": entry.kept_from_bulls,
    }
    try:
        return enter_group(member=member, season=entry.season, group=group, values=wishes)
    except EntryError as fault:
        texts = list(dict.fromkeys(text for texts in fault.faults.values() for text in texts))
        raise LateCalversError("ai_wanted", " ".join([*texts, "Nothing was saved."])) from None
