"""How work days and moves were shared out between ranches over the seasons, from the published plans."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Count

from accounts.models import Cooperative
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from herdplan.herds.models import Ranch
from scheduling.kernel.compare import Burden, burdens
from scheduling.kernel.plan import load_plan
from scheduling.kernel.reader import ReadError
from scheduling.kernel.season import load_season
from scheduling.models import GaveWay, Holiday, Season
from scheduling.services.editions import protocols_of


class HolidayError(ValueError):
    """A holiday that cannot be saved: the field and what is allowed."""

    def __init__(self, field_name: str, text: str) -> None:
        super().__init__(f"{field_name}: {text}")
        self.field, self.text = field_name, text


def holidays_of(cooperative: Cooperative) -> frozenset[date]:
    """The co-op's holidays. One query."""
    return frozenset(Holiday.objects.filter(cooperative=cooperative).values_list("day", flat=True))


def add_holiday(*, member: Member, day: date, name: str) -> Holiday:
    """Put a day in the co-op's list; raises HolidayError."""
    member.require(Permission.SEASON_EDIT, Reach.COOP)
    row = Holiday(cooperative=member.cooperative, day=day, name=name.strip())
    try:
        row.full_clean()
    except ValidationError as fault:
        where, texts = next(iter(fault.message_dict.items()))
        raise HolidayError("day" if where == "__all__" else where, " ".join(texts)) from None
    row.save()
    return row


def remove_holiday(*, member: Member, holiday: Holiday) -> None:
    """Take a day off the list."""
    member.require(Permission.SEASON_EDIT, Reach.COOP)
    if holiday.cooperative_id != member.cooperative.pk:
        raise PermissionDenied(f"{holiday} is not of {member.cooperative}.")
    holiday.delete()


@dataclass
class RanchShare:
    """What the published plans asked of a ranch, season by season in the order of `Shares.seasons`, and together.

    A season in which the ranch had no group holds None.
    """

    ranch: Ranch
    seasons: list[Burden | None] = field(default_factory=list)
    total: Burden = field(default_factory=Burden)
    gave_way: int = 0
    names: list[Season] = field(default_factory=list)

    @property
    def by_season(self) -> list[tuple[Season, Burden | None]]:
        """Each season with what it asked."""
        return list(zip(self.names, self.seasons, strict=True))


@dataclass(frozen=True)
class Shares:
    """Every ranch's share. `unreadable` are seasons whose published plan this edition of the catalogue cannot read."""

    seasons: list[Season]
    ranches: list[RanchShare]
    unreadable: list[Season]


def season_burdens(cooperative: Cooperative, seasons: Iterable[Season]) -> dict[UUID, dict[str, Burden] | None]:
    """What the published plan of each season asked of every ranch, by ranch id; None where it cannot be read.

    Two queries, whatever the number of seasons; `published_plan` should be selected with them.
    """
    protocols, rest = protocols_of(cooperative), holidays_of(cooperative)
    found: dict[UUID, dict[str, Burden] | None] = {}
    for season in seasons:
        plan = season.published_plan
        if plan is None:
            continue
        try:
            found[season.pk] = burdens(load_season(plan.problem, protocols), load_plan(plan.document), rest)
        except ReadError:
            found[season.pk] = None
    return found


def earlier_seasons(season: Season, most: int = 3) -> list[Season]:
    """The published seasons of the co-op that began before this one, the latest first. One query."""
    rows = Season.objects.filter(cooperative=season.cooperative_id, first_day__lt=season.first_day)
    rows = rows.exclude(published_plan=None).exclude(pk=season.pk).select_related("published_plan")
    return list(rows.order_by("-first_day")[:most])


def shares(*, cooperative: Cooperative, ranches: Iterable[Ranch], most: int = 6) -> Shares:
    """How the co-op's latest published seasons were shared between the given ranches. Five queries at most."""
    rows = Season.objects.filter(cooperative=cooperative).exclude(published_plan=None)
    seasons = list(rows.select_related("published_plan").order_by("-first_day")[:most])
    asked = season_burdens(cooperative, seasons)
    read = [season for season in seasons if asked[season.pk] is not None]
    wanted = list(ranches)
    counted = GaveWay.objects.filter(ranch__in=wanted).values_list("ranch").annotate(times=Count("pk")).order_by()
    times: dict[UUID, int] = dict(counted)
    found = []
    for ranch in wanted:
        share = RanchShare(ranch, gave_way=times.get(ranch.pk, 0), names=read)
        for season in read:
            burden = (asked[season.pk] or {}).get(str(ranch.pk))
            share.seasons.append(burden)
            share.total = share.total.plus(burden or Burden())
        found.append(share)
    found.sort(key=lambda share: (-share.total.rest_share, -share.total.days_moved, share.ranch.name))
    return Shares(read, found, [season for season in seasons if asked[season.pk] is None])
