"""The only fetches of ranches, herds, groups and females that pages and API may use. Each respects the caller's reach."""

import re
import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Q, QuerySet
from django.http import Http404

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import BreedingGroup, ChuteDay, Female, Herd, Ranch, Record, RecordUpload


def ranches_for(member: Member) -> QuerySet[Ranch]:
    """Ranches that the caller may see: the co-op's, or the caller's own."""
    ranches = Ranch.objects.filter(cooperative=member.cooperative)
    reach = member.reach(Permission.RANCH_VIEW)
    if reach is Reach.COOP:
        return ranches
    return ranches.filter(people=member.user) if reach is Reach.OWN else ranches.none()


def ranch_list(member: Member) -> QuerySet[Ranch]:
    """Ranches with how many groups and females stand on them."""
    return ranches_for(member).annotate(
        group_count=Count("herds__groups", distinct=True),
        female_count=Count("herds__females", filter=Q(herds__females__status="active"), distinct=True),
    )


def ranch_for(member: Member, slug: str) -> Ranch:
    """One ranch by its short name, or 404."""
    ranch = ranches_for(member).filter(slug=slug).first()
    if ranch is None:
        raise Http404("No such ranch.")
    return ranch


def may_edit(member: Member, ranch: Ranch, permission: Permission = Permission.RANCH_EDIT) -> bool:
    """Whether the caller may change this ranch: for the whole co-op, or because it is the caller's own."""
    reach = member.reach(permission)
    return reach is Reach.COOP or (reach is Reach.OWN and ranch.people.filter(pk=member.user.pk).exists())


def herds_for(member: Member) -> QuerySet[Herd]:
    """Herds on the ranches that the caller may see."""
    return Herd.objects.filter(ranch__in=ranches_for(member)).select_related("ranch")


def herd_for(member: Member, identity: uuid.UUID) -> Herd:
    """One herd, or 404."""
    herd = herds_for(member).filter(pk=identity).first()
    if herd is None:
        raise Http404("No such herd.")
    return herd


def groups_for(member: Member) -> QuerySet[BreedingGroup]:
    """Breeding groups on the ranches that the caller may see."""
    return BreedingGroup.objects.filter(herd__ranch__in=ranches_for(member)).select_related("herd__ranch")


def group_for(member: Member, identity: uuid.UUID) -> BreedingGroup:
    """One group, or 404."""
    group = groups_for(member).filter(pk=identity).first()
    if group is None:
        raise Http404("No such group.")
    return group


def females_for(member: Member) -> QuerySet[Female]:
    """Females that the caller may see."""
    females = Female.objects.filter(herd__ranch__cooperative=member.cooperative).select_related("herd__ranch", "group")
    reach = member.reach(Permission.FEMALE_VIEW)
    if reach is Reach.COOP:
        return females
    return females.filter(herd__ranch__people=member.user) if reach is Reach.OWN else females.none()


def female_for(member: Member, identity: uuid.UUID) -> Female:
    """One female, or 404."""
    female = females_for(member).filter(pk=identity).first()
    if female is None:
        raise Http404("No such female.")
    return female


def natural(tag: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts tags as people count: 9 before 10, A2 before A10."""
    parts = (part for part in re.split(r"(\d+)", tag.lower()) if part)
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts)


@dataclass(frozen=True)
class History:
    """A female with everything on record of her. Newest day first; withdrawn records are left out."""

    female: Female
    records: dict[str, tuple[Record, ...]]

    def of(self, kind: str) -> tuple[Record, ...]:
        """Her records of a kind (a `Record.Kind`), newest first."""
        return self.records.get(kind, ())

    def latest(self, kind: str) -> Record | None:
        """The newest record of a kind."""
        return next(iter(self.of(kind)), None)

    def previous(self, kind: str) -> Record | None:
        """The one before the newest."""
        return next(iter(self.of(kind)[1:]), None)

    @property
    def calvings(self) -> tuple[date, ...]:
        """Days on which she calved, newest first; the herd book's last calving counts where no record says it."""
        days = {record.day for record in self.of(Record.Kind.CALVING)}
        if self.female.last_calved:
            days.add(self.female.last_calved)
        return tuple(sorted(days, reverse=True))

    def holds_on(self, day: date) -> tuple[Record, ...]:
        """Health holds that stand on a day, first and last day included."""
        return tuple(
            hold for hold in self.of(Record.Kind.HOLD) if hold.day <= day and (hold.until is None or day <= hold.until)
        )


def histories(females: QuerySet[Female], *, people: bool = False, bare: bool = False) -> list[History]:
    """Females with all their records, by tag. Two queries, however many females and records there are.

    `people` fetches who typed each record along; without it `record.by` would be a query a record. `bare` leaves out who
    typed and when.
    """
    found: dict[uuid.UUID, dict[str, list[Record]]] = defaultdict(lambda: defaultdict(list))
    standing = Record.objects.filter(female__in=females.order_by().values("pk"), withdrawn_at=None)
    standing = standing.select_related("by" if people else None).order_by("-day", "-at")
    for record in standing.defer("by", "at", "withdrawn_by", "withdrawn_at") if bare else standing:
        found[record.female_id][record.kind].append(record)
    return [
        History(female, {kind: tuple(rows) for kind, rows in found[female.pk].items()})
        for female in sorted(females, key=lambda female: natural(female.tag))
    ]


def tags_by_group(member: Member, groups: Iterable[uuid.UUID]) -> dict[uuid.UUID, list[str]]:
    """Tags of the females in groups that the caller may see, as people count. One query; none for whoever sees no female."""
    if not member.may(Permission.FEMALE_VIEW):
        return {}
    females = females_for(member).filter(group__in=list(groups), status=Female.Status.ACTIVE)
    found: dict[uuid.UUID, list[str]] = defaultdict(list)
    for group, tag in females.values_list("group_id", "tag"):
        found[group].append(tag)
    return {group: sorted(tags, key=natural) for group, tags in found.items()}


def herd_histories(member: Member, herd: Herd, *, people: bool = False) -> list[History]:
    """All females of a herd that the caller may see, with their records. Two queries. `people` as in `histories`."""
    return histories(females_for(member).filter(herd=herd), people=people)


def history_for(member: Member, identity: uuid.UUID) -> History:
    """One female with her records, or 404."""
    female = female_for(member, identity)
    return histories(Female.objects.filter(pk=female.pk).select_related("herd__ranch", "group"))[0]


def records_for(member: Member) -> QuerySet[Record]:
    """Records of the females that the caller may see, withdrawn ones too."""
    return Record.objects.filter(female__in=females_for(member).order_by().values("pk")).select_related(
        "female__herd__ranch", "by", "withdrawn_by"
    )


def record_for(member: Member, identity: uuid.UUID) -> Record:
    """One record, withdrawn or not, or 404."""
    record = records_for(member).filter(pk=identity).first()
    if record is None:
        raise Http404("No such record.")
    return record


def _herds_written(member: Member) -> QuerySet[Herd]:
    """Herds whose females the caller may write."""
    herds = Herd.objects.filter(ranch__cooperative=member.cooperative)
    reach = member.reach(Permission.FEMALE_EDIT)
    if reach is Reach.COOP:
        return herds
    return herds.filter(ranch__people=member.user) if reach is Reach.OWN else herds.none()


def chute_days_for(member: Member) -> QuerySet[ChuteDay]:
    """Days at the chute on the ranches whose females the caller may write."""
    return ChuteDay.objects.filter(herd__in=_herds_written(member).order_by().values("pk")).select_related(
        "herd__ranch", "group"
    )


def chute_days_lately(member: Member, herd: Herd, today: date) -> QuerySet[ChuteDay]:
    """Days at the chute of the last week, to go on with."""
    return chute_days_for(member).filter(herd=herd, day__gte=today - timedelta(days=7))


def chute_day_for(member: Member, identity: uuid.UUID) -> ChuteDay:
    """One day at the chute, or 404."""
    found = chute_days_for(member).filter(pk=identity).first()
    if found is None:
        raise Http404("No such day at the chute.")
    return found


def chute_line(member: Member, chute: ChuteDay) -> list[Female]:
    """The animals of a day at the chute, by tag: its group's, else the herd's."""
    females = females_for(member).filter(herd=chute.herd, status=Female.Status.ACTIVE)
    if chute.group:
        females = females.filter(group=chute.group)
    return sorted(females, key=lambda female: natural(female.tag))


def upload_for(member: Member, identity: uuid.UUID) -> RecordUpload:
    """One sheet sent to a herd that the caller may write, or 404."""
    uploads = RecordUpload.objects.filter(herd__in=_herds_written(member).order_by().values("pk"))
    found = uploads.filter(pk=identity).select_related("herd__ranch").first()
    if found is None:
        raise Http404("No such sheet.")
    return found
