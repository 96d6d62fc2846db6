"""What a group's dated items follow from: its AI day, programme and care, and what people did to the items.

From published rows for feeds and reminders; for pages also from a plan in work, from a wish, or from a wanted calving.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from herdplan.herds.models import BreedingGroup, Ranch
from scheduling.kernel.advice.after_ai import anchor
from scheduling.kernel.advice.results import Expected, Semen, expected
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass
from scheduling.models import GroupCare, ItemAct, PlannedStep, SeasonEntry
from scheduling.services.catalogue import is_for_sexed, protocol_of

# Weeks before and after an AI day that anything here speaks of: first weighing of heifers to calving, with some room.
EARLIEST, LATEST = timedelta(days=160), timedelta(days=330)
# Where no rate is in print and none was typed: a default of this program.
RATE = 0.5


@dataclass(frozen=True, slots=True)
class Basis:
    """What a group's items follow from. `source`: published, draft, wished or calving.

    `anchor`: the published step whose day counts. `sequence` and `changed_at` are its own; where it is cancelled, so is
    everything.
    """

    entry: uuid.UUID | None
    protocol: str
    animal_class: str
    head: int
    group: str
    ranch: str
    ranch_pk: uuid.UUID
    zone: str
    south: bool
    ai_day: date
    source: str
    care: GroupCare
    anchor: uuid.UUID | None = None
    sequence: int = 0
    changed_at: datetime | None = None
    cancelled: bool = False
    acts: Mapping[str, tuple[ItemAct, ...]] = field(default_factory=dict)

    def acts_on(self, key: str) -> "Standing":
        """How an item stands by what people did to it."""
        return standing(self.acts.get(key, ()))

    @property
    def rate(self) -> float:
        """The share pregnant to AI that is counted with."""
        if self.care.expected_rate:
            return self.care.expected_rate / 100
        found = printed_rate(self.protocol, self.animal_class)
        return found.middle if found else RATE


@dataclass(frozen=True, slots=True)
class Standing:
    """An item's acts summed up: the tick, the other day or the drop that stands now, and how many acts there were."""

    done: ItemAct | None = None
    moved: ItemAct | None = None
    dropped: ItemAct | None = None
    count: int = 0
    last_at: datetime | None = None


def standing(acts: Sequence[ItemAct]) -> Standing:
    """The acts of one item in their order, summed up."""
    done = moved = dropped = None
    for act in acts:
        if act.kind in (ItemAct.Kind.DONE, ItemAct.Kind.UNDONE):
            done = act if act.kind == ItemAct.Kind.DONE else None
        else:
            moved = act if act.kind == ItemAct.Kind.MOVED else None
            dropped = act if act.kind == ItemAct.Kind.DROPPED else None
    return Standing(done, moved, dropped, len(acts), acts[-1].at if acts else None)


@cache
def printed_rate(protocol: str, animal_class: str) -> Expected | None:
    """What is in print for the programme with the semen that it is made for."""
    semen = Semen.SEXED if is_for_sexed(protocol) else Semen.CONVENTIONAL
    return expected(protocol, semen, bos_indicus=animal_class == AnimalClass.BOS_INDICUS_COW)


@cache
def ai_anchor(protocol_id: str) -> tuple[str, int] | None:
    """The step that tells the AI day, and the days from it; None for a protocol that this edition does not know."""
    protocol = protocol_of(protocol_id)
    return anchor(protocol) if protocol else None


@cache
def _anchor_keys() -> frozenset[str]:
    """Keys of every step that tells an AI day in some protocol, so that other steps need not be read."""
    tells = (anchor(protocol) for protocol in load_catalogue().protocols.values())
    return frozenset(row[0] for row in tells if row)


def published(steps: QuerySet[PlannedStep]) -> list[Basis]:
    """The bases of groups from those of some published steps that tell an AI day. Three queries, whatever the size.

    One basis an entry: by its first lot, whose AI day is the group's.
    """
    found = []
    for step in steps.filter(lot=0, key__in=_anchor_keys()).select_related("ranch", "entry__group", "entry__care"):
        tells = ai_anchor(step.entry.protocol)
        if tells is not None and tells[0] == step.key:
            found.append(_of_step(step, tells[1]))
    return _with_acts(found)


def _of_step(step: PlannedStep, days: int) -> Basis:
    day = step.starts.astimezone(ZoneInfo(step.ranch.zone)).date() + timedelta(days=days)
    return replace(
        _of_entry(step.entry, step.ranch, day, "published"),
        anchor=step.pk,
        sequence=step.sequence,
        changed_at=step.changed_at,
        cancelled=step.status == PlannedStep.Status.CANCELLED,
    )


def _of_entry(entry: SeasonEntry, ranch: Ranch, day: date, source: str) -> Basis:
    return Basis(
        entry=entry.pk,
        protocol=entry.protocol,
        animal_class=entry.group.animal_class,
        head=entry.head,
        group=entry.group.name,
        ranch=ranch.name,
        ranch_pk=ranch.pk,
        zone=ranch.zone,
        south=ranch.lat < 0,
        ai_day=day,
        source=source,
        care=care_of(entry),
    )


def care_of(entry: SeasonEntry) -> GroupCare:
    """The entry's wishes around AI, or the defaults."""
    return entry.care if hasattr(entry, "care") else GroupCare(entry=entry)


def _with_acts(bases: Sequence[Basis]) -> list[Basis]:
    acts: dict[uuid.UUID, dict[str, list[ItemAct]]] = defaultdict(lambda: defaultdict(list))
    keys = [basis.entry for basis in bases if basis.entry is not None]
    for act in ItemAct.objects.filter(entry__in=keys).select_related("by").order_by("pk") if keys else ():
        acts[act.entry_id][act.item].append(act)
    found = []
    for basis in bases:
        mine = acts.get(basis.entry, {}) if basis.entry else {}
        found.append(replace(basis, acts={key: tuple(rows) for key, rows in mine.items()}))
    return found


def bases_of(entries: Iterable[SeasonEntry], drafts: Mapping[str, date]) -> dict[uuid.UUID, Basis]:
    """The bases of entries by their ids: from what is published, else from a plan in work (AI days by entry), else as wished.

    The entries come with group, herd and ranch. Two queries more, whatever their number.
    """
    rows = {entry.pk: entry for entry in entries}
    live = PlannedStep.objects.filter(entry__in=list(rows)).exclude(status=PlannedStep.Status.CANCELLED)
    tells = {pk: ai_anchor(entry.protocol) for pk, entry in rows.items()}
    anchors = {step.entry_id: step for step in live.filter(lot=0) if (tells[step.entry_id] or ("",))[0] == step.key}
    found = []
    for pk, entry in rows.items():
        ranch = entry.group.herd.ranch
        step, days = anchors.get(pk), tells[pk]
        if step is not None and days is not None:
            step.entry, step.ranch = entry, ranch
            found.append(_of_step(step, days[1]))
        elif str(pk) in drafts:
            found.append(_of_entry(entry, ranch, drafts[str(pk)], "draft"))
        else:
            found.append(_of_entry(entry, ranch, entry.ai_wanted, "wished"))
    return {basis.entry: basis for basis in _with_acts(found) if basis.entry is not None}


def calving_basis(group: BreedingGroup, protocol: str, ai_day: date) -> Basis:
    """The basis of a group that is entered nowhere yet, for an AI day that is only thought of."""
    ranch = group.herd.ranch
    return Basis(
        entry=None,
        protocol=protocol,
        animal_class=group.animal_class,
        head=group.head,
        group=group.name,
        ranch=ranch.name,
        ranch_pk=ranch.pk,
        zone=ranch.zone,
        south=ranch.lat < 0,
        ai_day=ai_day,
        source="calving",
        care=GroupCare(),
    )


def draft_days(document: Mapping[str, object] | None) -> dict[str, date]:
    """AI days by entry of a plan's document."""
    groups = document.get("groups", ()) if document else ()
    assert isinstance(groups, Sequence)
    return {row["id"]: date.fromisoformat(row["ai_day"]) for row in groups}
