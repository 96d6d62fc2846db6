"""Telling people what changed in the published plan: what differs from what each was told last, in one message each."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.db import transaction
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _

from accounts.models import Cooperative, User
from herdplan.reminders.models import ChangeNotice, CoopReminders, OutboxMessage, Told
from herdplan.reminders.rules import BY_CODE
from herdplan.reminders.services.facts import is_stale, take_back
from herdplan.reminders.services.outbox import enqueue
from herdplan.reminders.services.people import Profile, profiles_of
from herdplan.reminders.services.wanted import words_of
from herdplan.reminders.texts import change_line, changes_text, when
from scheduling.models import Booking, PlannedStep
from scheduling.queries import lots_at
from scheduling.services.lots import lot_words, with_lot
from scheduling.services.marks import marks_of

# A change of what lies this close ahead asks for a tap: it covers the same day and the early hours of the next.
URGENT_WITHIN = timedelta(hours=24)
_LINK_LASTS = timedelta(days=30)
_LEAST_MINUTES = 10
_signer = Signer(salt="herdplan.reminders.seen")


@dataclass(frozen=True, slots=True)
class State:
    """A row of the plan as a person sees it. `parts` are the words of its label, the `step`th of them the step's and the next
    one the group's, to which it is said which `lot` (from 1) of how many `lots`.
    """

    kind: str
    about: uuid.UUID
    parts: tuple[str, ...]
    step: int
    sequence: int
    starts: datetime
    head: int
    live: bool
    zone: ZoneInfo
    lot: int = 1
    lots: int = 1

    @property
    def label(self) -> str:
        """Step, group and ranch, or ranch first for a visit, in the language in force."""
        said = [_(part) if i == self.step else part for i, part in enumerate(self.parts)]
        said[self.step + 1] = with_lot(said[self.step + 1], lot_words(self.lot, self.lots))
        return ", ".join(said)

    def document(self) -> dict[str, Any]:
        """What a notice remembers of it."""
        return {
            "kind": self.kind, "about": str(self.about), "sequence": self.sequence, "live": self.live,
            "starts": self.starts.isoformat(),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class News:
    """A difference: what was told, what is now (None: the row is gone), and what kind of change that is."""

    kind: str
    told: Told | None
    now: State

    def is_urgent(self, now: datetime) -> bool:
        """Whether it touches the next 24 hours, by its old or its new time."""
        moments = [self.now.starts, *([self.told.starts] if self.told else [])]
        return (self.kind != "new" and any(now < moment < now + URGENT_WITHIN for moment in moments)) or (
            self.kind == "new" and now < self.now.starts < now + URGENT_WITHIN
        )  # fmt: skip


def tell_changes(coop: Cooperative, *, now: datetime) -> int:
    """Make the messages of what changed; returns how many people get one. Call it under the co-op's sweep lock."""
    for notice in _unsent(coop):
        if is_stale(notice):
            take_back(notice, now)
    told: dict[Any, dict[uuid.UUID, Told]] = defaultdict(dict)
    for row in Told.objects.filter(cooperative=coop, starts__gt=now - timedelta(days=2)):
        told[row.user_id][row.about] = row
    seen: dict[Any, tuple[User, dict[uuid.UUID, State]]] = {}
    for user, state in _states(coop, now):
        seen.setdefault(user.pk, (user, {}))[1][state.about] = state
    people = {key: user for key, (user, _) in seen.items()}
    people.update({user.pk: user for user in User.objects.filter(pk__in=[key for key in told if key not in people])})
    profiles = profiles_of(people.values())
    count = 0
    for key, profile in profiles.items():
        states = seen[key][1] if key in seen else {}
        count += _tell(coop, profile, told.get(key, {}), states, now)
    return count


def _unsent(coop: Cooperative) -> list[ChangeNotice]:
    """Notices that nobody has received yet."""
    waiting = OutboxMessage.objects.filter(cooperative=coop, notice__isnull=False, state="pending")
    return list(ChangeNotice.objects.filter(pk__in=waiting.values("notice"), withdrawn_at=None))


def _states(coop: Cooperative, now: datetime) -> Iterator[tuple[User, State]]:
    """Every person with every row of the plan that concerns them and is not long past."""
    steps = PlannedStep.objects.filter(ranch__cooperative=coop, starts__gt=now - timedelta(days=2))
    steps = steps.select_related("ranch", "entry__group").prefetch_related("ranch__people")
    bookings = Booking.objects.filter(technician__cooperative=coop, starts__gt=now - timedelta(days=2))
    bookings = bookings.select_related("entry__group__herd__ranch", "technician__user")
    lots = lots_at({*(step.entry_id for step in steps), *(booking.entry_id for booking in bookings)})
    for step in steps:
        if step.key in marks_of(step.entry.protocol):
            state = _step_state(step, lots)
            yield from ((user, state) for user in step.ranch.people.all() if user.is_active)
    for booking in bookings:
        if booking.technician.user is not None and booking.technician.user.is_active:
            yield booking.technician.user, _booking_state(booking, lots)


def _step_state(step: PlannedStep, lots: Mapping[uuid.UUID, int]) -> State:
    parts = (words_of(step.entry.protocol, step.key).label, step.entry.group.name, step.ranch.name)
    live, zone = step.status != "cancelled", ZoneInfo(step.ranch.zone)
    which = step.lot + 1, lots[step.entry_id]
    return State("step", step.pk, parts, 0, step.sequence, step.starts, step.head, live, zone, *which)


def _booking_state(row: Booking, lots: Mapping[uuid.UUID, int]) -> State:
    ranch = row.entry.group.herd.ranch
    parts = (ranch.name, words_of(row.entry.protocol, row.step).label, row.entry.group.name)
    live, zone = row.status != "cancelled", ZoneInfo(ranch.zone)
    which = row.lot + 1, lots[row.entry_id]
    return State("booking", row.pk, parts, 1, row.sequence, row.starts, row.head, live, zone, *which)


def _tell(
    coop: Cooperative, profile: Profile, told: dict[uuid.UUID, Told], states: dict[uuid.UUID, State], now: datetime
) -> int:
    news = [item for item in _news(coop, told, states) if _is_ahead(item, now)]
    _remember(coop, profile.user, told, states)
    if not news:
        return 0
    urgent = [item for item in news if item.is_urgent(now)]
    if not urgent and not profile.on(BY_CODE["plan_changed"]):
        return 0
    _write(coop, profile, news, urgent, now)
    return 1


def _news(coop: Cooperative, told: dict[uuid.UUID, Told], states: dict[uuid.UUID, State]) -> Iterator[News]:
    for key, state in states.items():
        kind = _difference(told.get(key), state)
        if kind:
            yield News(kind, told.get(key), state)
    gone = [row for key, row in told.items() if key not in states and row.live]
    there = {"step": set(_existing(PlannedStep, gone)), "booking": set(_existing(Booking, gone))}
    for row in gone:
        # A row that is still there only left the person's sight: another ranch's people now, or another technician's.
        if row.about not in there[row.kind]:
            zone = ZoneInfo(coop.zone)
            yield News(
                "cancelled", row, State(row.kind, row.about, (row.label,), -1, row.sequence, row.starts, 0, False, zone)
            )


def _existing(model: type[PlannedStep] | type[Booking], rows: list[Told]) -> Iterable[uuid.UUID]:
    return model.objects.filter(pk__in=[row.about for row in rows]).values_list("pk", flat=True)


def _difference(told: Told | None, state: State) -> str:
    """What kind of change it is; empty where nothing changed that the person has to know."""
    if told is None or (not told.live and state.live):
        return ("back" if told else "new") if state.live else ""
    if told.live and not state.live:
        return "cancelled"
    if not state.live or told.sequence == state.sequence:
        return ""
    if told.starts != state.starts:
        return "moved"
    return "head" if told.head != state.head else ""


def _is_ahead(item: News, now: datetime) -> bool:
    """Whether its old or new time is still to come."""
    old = item.told.starts if item.told else item.now.starts
    return max(old, item.now.starts) > now


def _remember(coop: Cooperative, user: User, told: dict[uuid.UUID, Told], states: dict[uuid.UUID, State]) -> None:
    rows = [
        Told(
            cooperative=coop, user=user, kind=state.kind, about=key, label=state.label[:300], sequence=state.sequence,
            starts=state.starts, head=state.head, live=state.live,
        )
        for key, state in states.items()
        if key not in told or any(getattr(told[key], name) != getattr(state, name) for name in _COMPARED)
    ]  # fmt: skip
    Told.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["user", "about"],
        update_fields=["label", "sequence", "starts", "head", "live"],
        batch_size=200,
    )
    Told.objects.filter(pk__in=[row.pk for key, row in told.items() if key not in states]).delete()


_COMPARED = ("sequence", "starts", "head", "live")


def _write(coop: Cooperative, profile: Profile, news: list[News], urgent: list[News], now: datetime) -> None:
    """The notice and its messages, one for each way that the person has chosen for it."""
    user, rule = profile.user, BY_CODE["same_day_change" if urgent else "plan_changed"]
    facts = [{**item.now.document(), "before": _before(item)} for item in sorted(news, key=_order)]
    states = "|".join(f"{fact['about']}:{fact['sequence']}:{fact['live']}:{fact['starts']}" for fact in facts)
    identity = uuid.uuid5(uuid.NAMESPACE_URL, f"herdplan:notice:{user.pk}:{states}")
    with translation.override(profile.language):
        lines = [_line(item) for item in sorted(news, key=_order) if item not in urgent]
        first = [_line(item) for item in sorted(urgent, key=_order)]
        link = seen_link(identity) if urgent else ""
        page = f"{settings.BASE_URL}{reverse('scheduling:today', args=[coop.slug])}"
        title, body = changes_text(coop.name, first, lines, link, page)
    notice, _ = ChangeNotice.objects.update_or_create(
        pk=identity,
        defaults={
            "cooperative": coop, "user": user, "title": title[:200], "text": "\n".join([*first, *lines]), "facts": facts,
            "urgent": bool(urgent), "made_at": now, "seen_by": _seen_by(coop, urgent, now) if urgent else None,
            "seen_at": None, "seen_how": "", "withdrawn_at": None, "escalated_at": None,
        },
    )  # fmt: skip
    for door in profile.doors(rule):
        enqueue(
            cooperative=coop, user=user, channel=door.channel, address=door.address, purpose=rule.purpose,
            subject=title, body=body, dedup=f"change|{identity}|{door.channel}|{door.address}", due=now,
            expires=max(max(item.now.starts, item.told.starts if item.told else now) for item in news),
            now=now, urgent=bool(urgent), link=link or page, notice=notice,
        )  # fmt: skip


def _order(item: News) -> tuple[datetime, str]:
    return item.now.starts, item.now.label


def _before(item: News) -> dict[str, Any] | None:
    if item.told is None:
        return None
    row = item.told
    return {
        "sequence": row.sequence,
        "starts": row.starts.isoformat(),
        "head": row.head,
        "live": row.live,
        "label": row.label,
    }


def _line(item: News) -> str:
    before = when(item.told.starts, item.now.zone) if item.told else ""
    now = when(item.now.starts, item.now.zone)
    old_head = item.told.head if item.told else 0
    return change_line(item.kind, item.now.label, before, now, item.now.head, old_head)


def _seen_by(coop: Cooperative, urgent: list[News], now: datetime) -> datetime:
    """The co-op's time for it, or half of what is left until the first step, whichever is shorter; at least 10 minutes."""
    minutes = settings_of(coop).seen_minutes
    moments = [
        moment for item in urgent for moment in (item.now.starts, item.told.starts if item.told else None) if moment
    ]
    left = min((moment for moment in moments if moment > now), default=now + URGENT_WITHIN) - now
    return now + max(timedelta(minutes=_LEAST_MINUTES), min(timedelta(minutes=minutes), left / 2))


def settings_of(coop: Cooperative) -> CoopReminders:
    """What the co-op decided, made with the defaults where nobody has yet."""
    row, _ = CoopReminders.objects.get_or_create(cooperative=coop)
    return row


def seen_link(notice: uuid.UUID) -> str:
    """The address behind which one tap says "seen"; signed, the same every time."""
    return f"{settings.BASE_URL}{reverse('seen', args=[_signer.sign(notice.hex)])}"


def notice_of_link(token: str, *, now: datetime) -> ChangeNotice | None:
    """The notice of a link; None where the link is none of ours, or older than 30 days."""
    try:
        identity = uuid.UUID(_signer.unsign(token))
    except (BadSignature, ValueError):
        return None
    found = ChangeNotice.objects.filter(pk=identity).select_related("cooperative", "user").first()
    return found if found is not None and found.made_at > now - _LINK_LASTS else None


def mark_seen(*, notice: ChangeNotice, how: str, now: datetime) -> None:
    """The person has seen it, and with it whatever was told before."""
    with transaction.atomic():
        earlier = ChangeNotice.objects.filter(cooperative=notice.cooperative_id, user=notice.user_id, seen_at=None)
        earlier.filter(made_at__lte=notice.made_at).update(seen_at=now, seen_how=how)
