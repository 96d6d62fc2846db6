"""Writing into people's own calendars: a sweep says what should be there, the outbox carries each change."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from accounts.models import Cooperative, User
from accounts.sealing import CALENDAR_PASSWORDS, SealBroken
from herdplan.calendars.caldav_door import CalendarAway, CalendarRefused, Door
from herdplan.calendars.contents import Style, step_event, step_facts, stop_event, stop_facts
from herdplan.calendars.feeds import host
from herdplan.calendars.models import CalendarChoice, OwnCollection, PushedItem
from herdplan.calendars.season_contents import own_items
from herdplan.calendars.services import choose_channel
from herdplan.calendars.writer import Event, alone, fragment
from herdplan.reminders.channels import Refused
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services import enqueue, key_of, language_of
from scheduling.services.catalogue import trip_heads

CHANNEL, PURPOSE = "caldav", "own calendar"
_CANCELLED_FOR = timedelta(days=30)


def connect(*, user: User, address: str, username: str, password: str, now: datetime) -> OwnCollection:
    """Take a calendar into use after a look at it; raises CalendarRefused or CalendarAway and keeps nothing then.

    An empty password keeps the one we have, at the same address and for the same user name only.
    """
    before = OwnCollection.objects.filter(user=user, leaving=False).first()
    same = before is not None and (before.address, before.username) == (address, username)
    if not password:
        if before is None or not same:
            raise CalendarRefused("Give the password. An app password made for this is best.")
        password = _password(before)
    Door(address, username, password).look()
    with transaction.atomic():
        if before is not None and before.address != address:
            OwnCollection.objects.filter(pk=before.pk).update(leaving=True)
            before = None
        row = before or OwnCollection(user=user, address=address)
        row.username, row.secret, row.last_error = username, CALENDAR_PASSWORDS.seal(password), ""
        row.generation += 1
        row.save()
        choose_channel(user=user, channel=CalendarChoice.Channel.PUSH, now=now)
    return row


def disconnect(*, user: User, now: datetime) -> None:
    """Stop writing: events that lie ahead are taken out, the secret goes with the last; dates come by feeds again."""
    with transaction.atomic():
        OwnCollection.objects.filter(user=user, leaving=False).update(leaving=True)
        choose_channel(user=user, channel=CalendarChoice.Channel.FEED, now=now)


def _password(row: OwnCollection) -> str:
    try:
        return CALENDAR_PASSWORDS.unseal(row.secret)
    except SealBroken as fault:
        raise CalendarRefused(str(fault)) from fault


def sweep(*, now: datetime) -> int:
    """Queue what must be written or taken out; returns how many. Safe to call again and again."""
    done = 0
    for row in OwnCollection.objects.select_related("user__calendar_choice"):
        choice = getattr(row.user, "calendar_choice", None)
        in_use = not row.leaving and row.user.is_active and choice is not None and choice.channel == "push"
        done += _sweep_one(row, now, in_use)
    return done


def _sweep_one(row: OwnCollection, now: datetime, in_use: bool) -> int:
    items = {item.uid: item for item in row.items.all()}
    done, wanted = 0, set()
    for event, coop in _events(row.user, now) if in_use else ():
        item = items.get(event.uid)
        if item is None and event.cancelled:
            continue
        wanted.add(event.uid)
        if item is None or item.gone or (item.version, item.generation) != (event.sequence, row.generation):
            _queue(row, item or PushedItem(collection=row, uid=event.uid), event, coop, now)
            done += 1
    for uid, item in items.items():
        if uid not in wanted and not item.gone and _in_the_way(item, now, in_use):
            _queue(row, item, None, None, now)
            done += 1
    if row.leaving and not any(item.gone or _in_the_way(item, now, in_use) for item in items.values()):
        row.delete()  # with what it knows of past events, which stay in the person's calendar
    return done


def _in_the_way(item: PushedItem, now: datetime, in_use: bool) -> bool:
    """Whether an event that is not wanted must be taken out. What has been stays: it is the person's own record of it.

    Called-off ones go for good a month after their day.
    """
    if item.ends > now:
        return True
    return "STATUS:CANCELLED" in item.text and (not in_use or item.ends < now - _CANCELLED_FOR)


def _events(user: User, now: datetime) -> Iterator[tuple[Event, Cooperative]]:
    """The person's stops, own ranches' steps, dated items and moves that lie ahead; cancelled ones for 30 days."""
    for coop in Cooperative.objects.filter(memberships__user=user).distinct():
        style = Style(host(), "", user.distance_unit, language=language_of(user))
        stops = Q(technician__user=user, technician__cooperative=coop, ends__gt=now)
        for stop in stop_facts(stops):
            if stop.status != "cancelled" or stop.changed_at > now - _CANCELLED_FOR:
                yield stop_event(stop, style), coop
        steps = Q(ranch__people=user, ranch__cooperative=coop, ends__gt=now)
        for step in step_facts(steps):
            kept = step.status != "cancelled" or step.changed_at > now - _CANCELLED_FOR
            if kept and step.key in trip_heads(step.protocol):
                yield step_event(step, style, False), coop
        for event in own_items(user, coop, style.host, style.language, now):
            yield event, coop


def _queue(row: OwnCollection, item: PushedItem, event: Event | None, coop: Cooperative | None, now: datetime) -> None:
    """Keep what should be there, with its outbox row, in one transaction."""
    with transaction.atomic():
        if item.message_id is not None:
            waiting = OutboxMessage.objects.filter(pk=item.message_id, state="pending")
            waiting.update(state="cancelled", last_error="a newer change took its place")
        item.gone = event is None
        if event is not None:
            item.version, item.text, item.ends = event.sequence, alone(fragment(event)).decode(), event.ends
        item.generation = row.generation
        dedup = f"push|{row.pk}|{item.uid}|{item.version}|{item.generation}|{item.gone}|{now.isoformat()}"
        enqueue(
            cooperative=coop or Cooperative.objects.filter(memberships__user=row.user).first(),
            user=row.user,
            channel=CHANNEL,
            address=f"own calendar of {row.user}"[:254],
            purpose=PURPOSE,
            subject=f"Take out: {item.uid}" if event is None else event.summary,
            body="" if event is None else f"{event.summary}\n{event.location}\n\n{event.text}\n",
            dedup=dedup,
            due=now,
            expires=None,
            now=now,
        )
        item.message = OutboxMessage.objects.get(dedup_key=key_of(dedup))
        item.save()


def send_push(message: OutboxMessage) -> None:
    """Bring one event of a person's own calendar to what it should be."""
    item = PushedItem.objects.select_related("collection").filter(message=message).first()
    if item is None:  # a newer change has taken over and has a message of its own
        return
    row = item.collection
    name = f"{item.uid.partition('@')[0]}.ics"
    try:
        door = Door(row.address, row.username, _password(row))
        if item.gone:
            door.delete(name)
            item.delete()
        else:
            etag = door.put(name, item.text, item.etag)[:200]
            PushedItem.objects.filter(pk=item.pk).update(etag=etag, stored_at=timezone.now())
    except (CalendarRefused, CalendarAway) as fault:
        OwnCollection.objects.filter(pk=row.pk).update(last_error=str(fault)[:300])
        if isinstance(fault, CalendarAway):
            raise
        raise Refused(str(fault)) from fault
    OwnCollection.objects.filter(pk=row.pk).update(stored_at=timezone.now(), last_error="")
