"""Feed tokens and the one channel of a person: making, finding, revoking, choosing."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.http import Http404

from accounts.models import User
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_in
from herdplan.calendars.models import CalendarChoice, FeedToken
from herdplan.herds.models import Herd
from herdplan.technicians.models import Technician

GRACE = timedelta(days=14)
FETCHES_PER_HOUR = 60


class ChannelClash(ValueError):
    """A feed that would show dates a second time; the text says what to do."""


def invited_people() -> QuerySet[User]:
    """People whose calendar is kept by invitations: who chose so, and technicians who chose nothing and have no feed."""
    own_feed = FeedToken.objects.filter(owner=OuterRef("pk"), revoked_at=None).exclude(kind=FeedToken.Kind.COOP)
    chose = Q(calendar_choice__channel=CalendarChoice.Channel.INVITATIONS)
    by_default = Q(calendar_choice=None, technician_profiles__isnull=False) & ~Exists(own_feed)
    return User.objects.filter(chose | by_default, is_active=True).distinct()


def channel_of(user: User) -> str:
    """The channel by which dates reach the person's calendar."""
    choice = CalendarChoice.objects.filter(user=user).first()
    if choice is not None:
        return choice.channel
    invited = invited_people().filter(pk=user.pk).exists()
    return CalendarChoice.Channel.INVITATIONS if invited else CalendarChoice.Channel.FEED


def choose_channel(*, user: User, channel: str, now: datetime) -> int:
    """Choose the channel; feeds of one's own work are closed where they would show it twice. Returns how many were."""
    with transaction.atomic():
        CalendarChoice.objects.update_or_create(user=user, defaults={"channel": channel, "chosen_at": now})
        if channel == CalendarChoice.Channel.FEED:
            return 0
        feeds = FeedToken.objects.filter(owner=user, revoked_at=None).filter(
            Q(technician__user=user) | Q(herd__ranch__people=user)
        )
        keys = list(feeds.values_list("pk", flat=True))
        return FeedToken.objects.filter(pk__in=keys).update(revoked_at=now.replace(microsecond=0))


def _shows_own_work(user: User, feed: FeedToken) -> bool:
    if feed.technician is not None:
        return feed.technician.user_id == user.pk
    return feed.herd is not None and feed.herd.ranch.people.filter(pk=user.pk).exists()


def digest(token: str) -> str:
    """The SHA-256 under which a token is kept; it has 256 random bits, so a plain hash is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def make_feed(
    *,
    member: Member,
    name: str,
    kind: str,
    herd: Herd | None,
    technician: Technician | None,
    now: datetime,
    alarm: int = 0,
) -> tuple[FeedToken, str]:
    """Make a feed of what the member may see; returns it with the token, which is shown once."""
    member.require(Permission.FEED_MAKE)
    feed = FeedToken(
        cooperative=member.cooperative,
        owner=member.user,
        name=name,
        kind=kind,
        herd=herd if kind == FeedToken.Kind.HERD else None,
        technician=technician if kind == FeedToken.Kind.TECHNICIAN else None,
        alarm=alarm,
        created_at=now,
    )
    if not may_see(member, feed):
        raise PermissionDenied("Your role does not let you see what this feed would show.")
    chose = CalendarChoice.objects.filter(user=member.user).exclude(channel=CalendarChoice.Channel.FEED)
    if chose.exists() and _shows_own_work(member.user, feed):
        raise ChannelClash(
            "Your dates reach your calendar in another way already, and this feed would show them twice. "
            "Choose feeds first."
        )
    token = secrets.token_urlsafe(32)
    feed.token_hash = digest(token)
    feed.save()
    return feed, token


def may_see(member: Member, feed: FeedToken) -> bool:
    """Whether the member may (still) see what the feed shows."""
    whole = member.reach(Permission.SEASON_VIEW) is Reach.COOP
    if feed.kind == FeedToken.Kind.COOP:
        return whole
    if feed.kind == FeedToken.Kind.TECHNICIAN:
        technician = feed.technician
        mine = technician is not None and technician.user_id == member.user.pk
        return (
            mine or member.may(Permission.TECHNICIAN_EDIT, Reach.COOP) or (whole and "MEMBERS_VIEW" in member.allowed)
        )
    ranch = feed.herd.ranch if feed.herd else None
    return ranch is not None and (whole or ranch.people.filter(pk=member.user.pk).exists())


def revoke(*, member: Member, feed: FeedToken, now: datetime) -> None:
    """Close a feed: its address shows a notice for two weeks, then nothing."""
    if feed.owner_id != member.user.pk and not member.may(Permission.MEMBERS_MANAGE, Reach.COOP):
        raise PermissionDenied("This feed is somebody else's.")
    FeedToken.objects.filter(pk=feed.pk, revoked_at=None).update(revoked_at=now.replace(microsecond=0))


def find_feed(*, token: str, now: datetime) -> FeedToken | None:
    """The feed of a token. Where its owner has lost the right to see it, it is closed from now on."""
    feed = (
        FeedToken.objects.filter(token_hash=digest(token))
        .select_related("cooperative", "owner__reminder_settings", "herd__ranch", "technician")
        .first()
    )
    if feed is not None and feed.revoked_at is None and not _owner_may(feed.owner, feed):
        feed.revoked_at = now.replace(microsecond=0)
        feed.save(update_fields=["revoked_at"])
    return feed


def _owner_may(owner: User, feed: FeedToken) -> bool:
    try:
        return owner.is_active and may_see(member_in(owner, feed.cooperative.slug), feed)
    except Http404:
        return False


def count_fetch(*, feed: FeedToken, client: str, now: datetime) -> bool:
    """Write down that the feed was fetched; False where that is more than 60 times in this hour. One query."""
    hour = int(now.timestamp() // 3600)
    same = feed.hour == hour
    if same and feed.fetches >= FETCHES_PER_HOUR:
        return False
    FeedToken.objects.filter(pk=feed.pk).update(
        last_fetch_at=now, last_client=client[:120], hour=hour, fetches=F("fetches") + 1 if same else 1
    )
    return True
