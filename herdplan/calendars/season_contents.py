"""The dated items of a herd (what to prepare, what to keep, what comes after AI), its planned moves, and a co-op's orders.

An event spans the days of its item; a window of work longer than two weeks stands on its first day, with its last in the title.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from accounts.models import Cooperative, User
from herdplan.calendars.floor import raised_at
from herdplan.calendars.item_words import day_words, in_language
from herdplan.calendars.models import FeedToken, Place
from herdplan.calendars.phrases import phrases
from herdplan.calendars.writer import Event, Fragment, fragment
from scheduling.models import PlannedMove, PlannedStep
from scheduling.services.planned_moves import banded, moment
from scheduling.services.season_basis import EARLIEST, LATEST, Basis, published
from scheduling.services.season_items import QUIET, SeasonItem, items_of

BACK, AHEAD, CANCELLED_FOR = timedelta(days=30), timedelta(days=400), timedelta(days=30)
_LONGEST_SPAN = timedelta(days=14)
_KEPT = 50_000
_EPOCH = datetime(2024, 1, 1, tzinfo=ZoneInfo("UTC"))
# What a co-op buys or fills together; a coordinator sees these of all groups, a day at a time.
_ORDERS = ("semen", "drugs", "nitrogen")


class ItemFacts(NamedTuple):
    """All that a calendar says of an item, in a language."""

    uid: str
    sequence: int
    changed_at: datetime
    zone: str
    title: str
    text: str
    group: str
    ranch: str
    first: date
    last: date
    band: bool
    done: bool
    cancelled: bool
    counted: tuple[date, date] | None
    language: str


def herd_items(feed: FeedToken, host: str, language: str, midnight: datetime) -> Iterator[Fragment]:
    """Items and planned moves of a herd's groups whose plan is published. Five queries."""
    steps = _anchors(midnight).filter(entry__group__herd=feed.herd_id)
    return (_fragment(facts) for facts in _told(published(steps), host, language, midnight))


def own_items(user: User, coop: Cooperative, host: str, language: str, now: datetime) -> Iterator[Event]:
    """The same of all ranches that a person belongs to in a co-op, as far as it is not over."""
    steps = _anchors(now).filter(ranch__people=user, ranch__cooperative=coop)
    events = (event_of(facts) for facts in _told(published(steps), host, language, now))
    return (event for event in events if event.ends > now)


def _told(bases: list[Basis], host: str, language: str, midnight: datetime) -> "Iterator[ItemFacts | MoveFacts]":
    places = _places(bases)
    for basis in bases:
        for row in items_of(basis):
            if row.key not in QUIET and _shown(row, midnight):
                yield _facts(row, places, host, language)
    yield from _moves(bases, places, host, language, midnight)


def _anchors(midnight: datetime) -> QuerySet[PlannedStep]:
    """Published steps near enough that something around their AI may be shown."""
    return PlannedStep.objects.filter(
        starts__gte=midnight - LATEST, starts__lt=midnight + AHEAD + EARLIEST, lot=0
    ).order_by("starts", "pk")


def _places(bases: Iterable[Basis]) -> dict[uuid.UUID, Place]:
    """How often each ranch's name or place has changed."""
    return {row.ranch_id: row for row in Place.objects.filter(ranch__in={basis.ranch_pk for basis in bases})}


def _shown(row: SeasonItem, midnight: datetime) -> bool:
    gone = row.basis.cancelled or row.standing.dropped is not None
    changed = row.changed_at
    if gone and changed is not None and changed < midnight - CANCELLED_FOR:
        return False
    return row.last >= (midnight - BACK).date() and row.first < (midnight + AHEAD).date()


def _facts(row: SeasonItem, places: dict[uuid.UUID, Place], host: str, language: str) -> ItemFacts:
    basis = row.basis
    sequence, changed_at = _version(basis, row.sequence, row.changed_at, places)
    return ItemFacts(
        uid=f"{row.key}-{basis.anchor}@{host}",
        sequence=sequence,
        changed_at=changed_at,
        zone=basis.zone,
        title=in_language(row.title, language),
        text=in_language(row.text, language),
        group=basis.group,
        ranch=basis.ranch,
        first=row.first,
        last=row.last,
        band=row.band,
        done=row.standing.done is not None,
        cancelled=basis.cancelled or row.standing.dropped is not None,
        counted=row.counted if row.standing.moved else None,
        language=language,
    )


def _version(
    basis: Basis, sequence: int, changed_at: datetime | None, places: dict[uuid.UUID, Place]
) -> tuple[int, datetime]:
    """SEQUENCE and change time with what the ranch added when its name or place was changed."""
    place = places.get(basis.ranch_pk)
    moments = [moment for moment in (basis.changed_at, changed_at) if moment is not None]
    if place is not None and place.number:
        return sequence + place.number, max([*moments, place.changed_at])
    return sequence, max(moments)


def item_event(facts: ItemFacts) -> Event:
    """An item as an event of whole days that blocks nobody, in the language in force."""
    long = not facts.band and facts.last - facts.first > _LONGEST_SPAN
    last = facts.first if long else facts.last
    summary = f"{facts.title}: {facts.group}"
    if long:
        summary = _("%(what)s, by %(day)s") % {"what": summary, "day": day_words(facts.last)}
    if facts.done:
        summary = _("✓ Done: %(what)s") % {"what": summary}
    lines = [f"{facts.group}, {facts.ranch}. {facts.text}"]
    if facts.last > facts.first and not facts.band:
        lines.append(_("From %(first)s to %(last)s.") % _span((facts.first, facts.last)))
    if facts.counted is not None:
        lines.append(_counted(facts.counted))
    zone = ZoneInfo(facts.zone)
    return Event(
        uid=facts.uid,
        sequence=facts.sequence,
        changed_at=facts.changed_at,
        starts=datetime.combine(facts.first, time(), zone),
        ends=datetime.combine(last + timedelta(days=1), time(), zone),
        zone=facts.zone,
        summary=summary,
        description="\n".join(lines),
        standing=phrases(facts.language).closing,
        cancelled=facts.cancelled,
        days=(facts.first, last + timedelta(days=1)),
    )


def _counted(days: tuple[date, date]) -> str:
    if days[0] == days[1]:
        return _("Moved by the ranch; by the rules it is due %(first)s.") % _span(days)
    return _("Moved by the ranch; by the rules it is due from %(first)s to %(last)s.") % _span(days)


def _span(days: tuple[date, date]) -> dict[str, str]:
    return {"first": day_words(days[0]), "last": day_words(days[1])}


class MoveFacts(NamedTuple):
    """All that a calendar says of a planned move, in a language."""

    uid: str
    sequence: int
    changed_at: datetime
    zone: str
    starts: datetime
    ends: datetime
    title: str
    group: str
    ranch: str
    sentence: str
    warned: bool
    cancelled: bool
    language: str


def _moves(
    bases: list[Basis], places: dict[uuid.UUID, Place], host: str, language: str, midnight: datetime
) -> Iterator[MoveFacts]:
    by_entry = {basis.entry: basis for basis in bases}
    rows = PlannedMove.objects.filter(entry__in=list(by_entry), day__gte=(midnight - BACK).date())
    for move in rows.filter(day__lt=(midnight + AHEAD).date()):
        if move.withdrawn and move.changed_at < midnight - CANCELLED_FOR:
            continue
        yield _move_facts(move, by_entry[move.entry_id], places, host, language)


def _move_facts(move: PlannedMove, basis: Basis, places: dict[uuid.UUID, Place], host: str, language: str) -> MoveFacts:
    sequence, changed_at = _version(basis, basis.sequence + move.sequence, move.changed_at, places)
    row = banded(move, basis)
    where = row.move.words  # what the rancher typed, in whatever language
    sentence = in_language(row.sentence.removeprefix(f"{where}: "), language)
    return MoveFacts(
        uid=f"move-{move.pk}@{host}",
        sequence=sequence,
        changed_at=changed_at,
        zone=basis.zone,
        starts=moment(move, move.begins, basis.zone),
        ends=moment(move, move.ends, basis.zone),
        title=in_language(move.get_kind_display(), language),
        group=basis.group,
        ranch=basis.ranch,
        sentence=f"{where if language == 'en' else f'{move.origin} → {move.goal}'}: {sentence}",
        warned=row.light.value != "open",
        cancelled=move.withdrawn,
        language=language,
    )


@lru_cache(maxsize=_KEPT)
def _fragment(facts: ItemFacts | MoveFacts) -> Fragment:
    return fragment(event_of(facts))


def event_of(facts: ItemFacts | MoveFacts) -> Event:
    """An item or a planned move as an event, in the language of its facts."""
    with translation.override(facts.language):
        return item_event(facts) if isinstance(facts, ItemFacts) else move_event(facts)


def move_event(facts: MoveFacts) -> Event:
    """A planned move at its hour, in the language in force."""
    warned = "! " if facts.warned else ""
    return Event(
        uid=facts.uid,
        sequence=facts.sequence,
        changed_at=facts.changed_at,
        starts=facts.starts,
        ends=facts.ends,
        zone=facts.zone,
        summary=f"{warned}{facts.title}: {facts.group}",
        description=f"{facts.group}, {facts.ranch}. {facts.sentence}",
        standing=_("Look at the heat of the day before you load."),
        cancelled=facts.cancelled,
    )


def coop_orders(feed: FeedToken, host: str, language: str, midnight: datetime) -> Iterator[Fragment]:
    """For a coordinator: what falls due to be ordered, one event a day and thing with the groups in it. Three queries."""
    days: dict[tuple[str, date], list[SeasonItem]] = defaultdict(list)
    changes: list[datetime] = []
    for basis in published(_anchors(midnight).filter(ranch__cooperative=feed.cooperative_id)):
        for row in items_of(basis):
            if row.key in _ORDERS:
                changes += [row.changed_at] if row.changed_at else []
                if row.open and not basis.cancelled and _shown(row, midnight):
                    days[row.key, row.first].append(row)
    if changes:
        changes += [raised] if (raised := raised_at(feed.cooperative_id)) else []
        for (key, day), rows in sorted(days.items()):
            uid = f"orders-{key}-{feed.cooperative_id}-{day:%Y%m%d}@{host}"
            with translation.override(language):
                yield _orders_fragment(_orders(feed, uid, day, rows, max(changes), language))


class OrderFacts(NamedTuple):
    """All that a calendar says of what falls due on a day, in a language."""

    uid: str
    last: datetime
    zone: str
    day: date
    title: str
    head: int
    groups: tuple[str, ...]
    language: str


def _orders(feed: FeedToken, uid: str, day: date, rows: list[SeasonItem], last: datetime, language: str) -> OrderFacts:
    line = _("%(ranch)s, %(group)s: %(head)d head, by %(day)s")
    groups = sorted(
        line % {"ranch": r.basis.ranch, "group": r.basis.group, "head": r.basis.head, "day": day_words(r.last)}
        for r in rows
    )
    head, title = sum(row.basis.head for row in rows), in_language(rows[0].title, language)
    return OrderFacts(uid, last, feed.cooperative.zone, day, title, head, tuple(groups), language)


@lru_cache(maxsize=_KEPT)
def _orders_fragment(facts: OrderFacts) -> Fragment:
    """The version is the latest change of anything that it could hold: minutes since 2024 fit the 31 bits of readers.

    In the language in force, which is that of the facts.
    """
    starts = datetime.combine(facts.day, time(), ZoneInfo(facts.zone))
    count = len(facts.groups)
    what = ngettext("%(what)s: %(count)d group, %(head)d head", "%(what)s: %(count)d groups, %(head)d head", count)
    return fragment(
        Event(
            uid=facts.uid,
            sequence=max(0, int((facts.last - _EPOCH).total_seconds() // 60)),
            changed_at=facts.last,
            starts=starts,
            ends=starts + timedelta(days=1),
            zone=facts.zone,
            summary=what % {"what": facts.title, "count": count, "head": facts.head},
            description="\n".join(facts.groups),
            standing=phrases(facts.language).closing,
            days=(facts.day, facts.day + timedelta(days=1)),
        )
    )
