"""How each person wants to be reminded: rules, lead times, channels, quiet hours, language."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from accounts.models import User
from accounts.sealing import SERVICE_ADDRESSES
from herdplan.reminders.channels import ServiceRefused, service_name
from herdplan.reminders.hosts import HostRefused, require_public
from herdplan.reminders.models import CoopReminders, PersonSettings, PushSubscription, RuleChoice, ServiceAddress
from herdplan.reminders.rules import (
    BY_CODE,
    CHANNEL_WORDS,
    EMAIL,
    LONGEST_LEAD_DAYS,
    PUSH,
    QUIET_FROM,
    QUIET_TO,
    SERVICE,
    USUAL_CHANNELS,
    Rule,
)

MOST_ADDRESSES = 10


class PreferenceError(ValueError):
    """A wish that cannot be kept; the text names the field and what is allowed."""


@dataclass(frozen=True)
class Door:
    """One way to a person: the channel, and which of the person's service addresses where there are several."""

    channel: str
    address: str


@dataclass
class Profile:
    """A person's wishes, loaded for many people at once."""

    user: User
    language: str = "en"
    usual: tuple[str, ...] = USUAL_CHANNELS
    quiet: tuple[time, time] | None = (QUIET_FROM, QUIET_TO)
    urgent_passes: bool = False
    choices: dict[str, RuleChoice] = field(default_factory=dict)
    pushes: int = 0
    services: tuple[str, ...] = ()

    def on(self, rule: Rule) -> bool:
        """Whether the person wants the rule."""
        return rule.fixed or self.choices.get(rule.code) is None or self.choices[rule.code].on

    def doors(self, rule: Rule) -> list[Door]:
        """Where messages of the rule go: never nowhere."""
        choice = self.choices.get(rule.code)
        wanted = choice.channels if choice is not None and choice.channels else self.usual
        found = [Door(EMAIL, self.user.email)] if EMAIL in wanted else []
        if PUSH in wanted and self.pushes:
            found.append(Door(PUSH, str(self.user.pk)))
        if SERVICE in wanted:
            found += [Door(SERVICE, key) for key in self.services]
        return found or [Door(EMAIL, self.user.email)]

    def timing(self, rule: Rule) -> tuple[int, time | None, int]:
        """Days before, local time, minutes before: the person's or the rule's own."""
        choice = self.choices.get(rule.code)
        if choice is None:
            return rule.days, rule.at, rule.minutes
        return (
            rule.days if choice.days is None else choice.days,
            rule.at if choice.at is None or rule.at is None else choice.at,
            rule.minutes if choice.minutes is None else choice.minutes,
        )

    def quiet_end(self, moment: datetime, zone: ZoneInfo) -> datetime | None:
        """When the quiet hours end that `moment` lies in; None outside of them."""
        span = self._span(moment, zone)
        return span[1] if span else None

    def quiet_start(self, moment: datetime, zone: ZoneInfo) -> datetime | None:
        """When the quiet hours began that `moment` lies in; None outside of them."""
        span = self._span(moment, zone)
        return span[0] if span else None

    def _span(self, moment: datetime, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
        if self.quiet is None or self.quiet[0] == self.quiet[1]:
            return None
        local = moment.astimezone(zone)
        for back in (0, 1):
            day = local.date() - timedelta(days=back)
            start = datetime.combine(day, self.quiet[0], zone)
            over = self.quiet[1] <= self.quiet[0]
            end = datetime.combine(day + timedelta(days=1 if over else 0), self.quiet[1], zone)
            if start <= moment < end:
                return start, end
        return None


def language_of(user: User | None) -> str:
    """The language of a person's messages; no query where the settings were read with the person."""
    found: PersonSettings | None = getattr(user, "reminder_settings", None)
    return found.language if found is not None else "en"


def profiles_of(users: Iterable[User]) -> dict[Any, Profile]:
    """Profiles by the person's id; four queries for any number of people."""
    people = {user.pk: Profile(user) for user in users}
    keys = list(people)
    for row in PersonSettings.objects.filter(user__in=keys):
        profile = people[row.user_id]
        profile.language, profile.urgent_passes = row.language, row.urgent_passes
        profile.usual = tuple(row.channels) or USUAL_CHANNELS
        profile.quiet = (row.quiet_from, row.quiet_to) if row.quiet_from and row.quiet_to else None
    for choice in RuleChoice.objects.filter(user__in=keys):
        people[choice.user_id].choices[choice.rule] = choice
    for key in PushSubscription.objects.filter(user__in=keys).values_list("user", flat=True):
        people[key].pushes += 1
    for owner, address in ServiceAddress.objects.filter(user__in=keys).values_list("user", "pk"):
        people[owner].services += (str(address),)
    return people


def profile_of(user: User) -> Profile:
    """One person's profile."""
    return profiles_of([user])[user.pk]


def save_settings(
    *,
    user: User,
    language: str,
    channels: list[str],
    quiet_from: time | None,
    quiet_to: time | None,
    urgent_passes: bool,
) -> None:
    """Save what holds for every rule. PreferenceError names the field."""
    _require_channels(channels)
    if not channels:
        raise PreferenceError("Usual channels: choose at least one.")
    if (quiet_from is None) != (quiet_to is None):
        raise PreferenceError("Quiet hours: give both ends, or leave both empty for none.")
    if language not in dict(settings.LANGUAGES):
        raise PreferenceError("Language: one of the list.")
    PersonSettings.objects.update_or_create(
        user=user,
        defaults={
            "language": language,
            "channels": channels,
            "quiet_from": quiet_from,
            "quiet_to": quiet_to,
            "urgent_passes": urgent_passes,
        },
    )
    _sweep_soon(user)


def save_choice(
    *,
    user: User,
    rule: str,
    on: bool,
    channels: list[str],
    days: int | None = None,
    at: time | None = None,
    minutes: int | None = None,
) -> None:
    """Save what a person changed about one rule; a choice equal to the default leaves no row."""
    found = BY_CODE.get(rule)
    if found is None:
        raise PreferenceError("Rule: one of the table.")
    _require_channels(channels)
    if days is not None and not 0 <= days <= LONGEST_LEAD_DAYS:
        raise PreferenceError(f"{found.title}, days before: 0 to {LONGEST_LEAD_DAYS}.")
    if minutes is not None and not 0 <= minutes <= 24 * 60:
        raise PreferenceError(f"{found.title}, minutes before: 0 to 1440.")
    values = {
        "on": on or found.fixed,
        "days": None if days == found.days else days,
        "at": None if at == found.at else at,
        "minutes": None if minutes == found.minutes else minutes,
        "channels": channels,
    }
    _sweep_soon(user)
    if values == {"on": True, "days": None, "at": None, "minutes": None, "channels": []}:
        RuleChoice.objects.filter(user=user, rule=rule).delete()
        return
    RuleChoice.objects.update_or_create(user=user, rule=rule, defaults=values)


def _sweep_soon(user: User) -> None:
    """What the person changed shows in waiting reminders at the next turn, not at the next regular sweep."""
    CoopReminders.objects.filter(cooperative__memberships__user=user).update(swept_at=None)


def _require_channels(channels: list[str]) -> None:
    unknown = set(channels) - set(CHANNEL_WORDS)
    if unknown:
        raise PreferenceError(f"Channels: {', '.join(sorted(unknown))} is none of ours.")


def add_push(*, user: User, label: str, endpoint: str, p256dh: str, auth: str, now: datetime) -> PushSubscription:
    """Take in a browser's subscription; the same browser again replaces its old one, whoever had it before."""
    parts = urlsplit(endpoint)
    host = parts.hostname or ""
    if (parts.scheme != "https" and host not in settings.SERVICE_HOSTS) or not host or len(endpoint) > 2000:
        raise PreferenceError("Endpoint: an https address of a push service.")
    try:
        require_public(host)
    except HostRefused as fault:
        raise PreferenceError(f"Endpoint: {fault}") from fault
    if not 80 <= len(p256dh) <= 100 or not 16 <= len(auth) <= 40:
        raise PreferenceError("Keys: the browser's own p256dh and auth.")
    with transaction.atomic():
        if PushSubscription.objects.filter(user=user).count() >= MOST_ADDRESSES:
            raise PreferenceError(f"Push: {MOST_ADDRESSES} browsers at most; remove one first.")
        row, _ = PushSubscription.objects.update_or_create(
            endpoint_hash=hashlib.sha256(endpoint.encode()).hexdigest(),
            defaults={
                "user": user,
                "label": label[:120],
                "endpoint": endpoint,
                "p256dh": p256dh,
                "auth": auth,
                "created_at": now,
            },
        )
    return row


def add_service(*, user: User, label: str, address: str, now: datetime) -> ServiceAddress:
    """Keep a service address, sealed. PreferenceError where it is not one, or leads into a private network."""
    try:
        service = service_name(address)
    except ServiceRefused as fault:
        raise PreferenceError(f"Service address: {fault}") from fault
    if ServiceAddress.objects.filter(user=user).count() >= MOST_ADDRESSES:
        raise PreferenceError(f"Service address: {MOST_ADDRESSES} at most; remove one first.")
    return ServiceAddress.objects.create(
        user=user, label=label, service=service, sealed=SERVICE_ADDRESSES.seal(address.strip()), created_at=now
    )
