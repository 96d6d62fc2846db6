"""Making, finding and revoking feed tokens."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.http import Http404

from accounts.models import User
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, member_in
from herdplan.calendars.models import FeedToken
from herdplan.herds.models import Herd
from herdplan.technicians.models import Technician

GRACE = timedelta(days=14)
FETCHES_PER_HOUR = 60
_NOTE_EVERY = timedelta(minutes=1)


def digest(token: str) -> str:
    """The SHA-256 under which a token is kept; it has 256 random bits, so a plain hash is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def make_feed(
    *, member: Member, name: str, kind: str, herd: Herd | None, technician: Technician | None, now: datetime
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
        created_at=now,
    )
    if not may_see(member, feed):
        raise PermissionDenied("Your role does not let you see what this feed would show.")
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
        .select_related("cooperative", "owner", "herd__ranch", "technician")
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


def note_fetch(*, feed: FeedToken, client: str, now: datetime) -> None:
    """Write down that the feed was fetched, at most once a minute."""
    if feed.last_fetch_at is None or now - feed.last_fetch_at > _NOTE_EVERY:
        FeedToken.objects.filter(pk=feed.pk).update(last_fetch_at=now, last_client=client[:120])


def too_often(*, feed: FeedToken, now: datetime) -> bool:
    """Whether the address has been fetched more than 60 times in this hour."""
    key = f"feed:{feed.pk}:{now:%Y%m%d%H}"
    cache.add(key, 0, 3600)
    try:
        return cache.incr(key) > FETCHES_PER_HOUR
    except ValueError:  # the hour turned between the two calls
        return False
