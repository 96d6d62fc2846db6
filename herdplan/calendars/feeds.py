"""A feed's bytes and validators. What they were made from is kept, so that an unchanged feed reads no step and no booking."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from datetime import timezone as utc
from hashlib import sha256

from django.conf import settings
from django.db.models import Sum

from herdplan.calendars.contents import Style, closed_notice, fragments_of
from herdplan.calendars.models import FeedToken, Place
from herdplan.calendars.writer import PRODUCT, alone, joined
from herdplan.reminders.services import language_of
from scheduling.models import Season


@dataclass(frozen=True, slots=True)
class Validators:
    """The tag (without quotes) and the time of the last change of a feed."""

    tag: str
    changed: datetime


def host() -> str:
    """The right side of our UIDs."""
    return settings.BASE_URL.split("://", 1)[-1].split("/")[0].split(":")[0]


def style_of(feed: FeedToken) -> Style:
    """How the feed's owner reads it."""
    site = f"{settings.BASE_URL}/c/{feed.cooperative.slug}/"
    return Style(host(), site, feed.owner.distance_unit, feed.alarm, language_of(feed.owner))


def state_of(feed: FeedToken, now: datetime) -> str:
    """A digest of all that the feed's bytes follow from. Two queries, none of them over steps or bookings.

    The UTC day is part of it: a client that lost its copy but kept the tag is served again the next day.
    """
    seasons = Season.objects.filter(cooperative=feed.cooperative_id).order_by("pk")
    versions = list(seasons.values_list("pk", "calendar_version"))
    places = Place.objects.filter(ranch__cooperative=feed.cooperative_id).aggregate(n=Sum("number"))["n"]
    told = (
        PRODUCT,
        *style_of(feed),
        feed.cooperative.name,
        feed.cooperative.zone,
        feed.name,
        feed.revoked_at,
        versions,
        places or 0,
        now.astimezone(utc.utc).date(),
    )
    return sha256(repr(told).encode()).hexdigest()


def known(feed: FeedToken, state: str) -> Validators | None:
    """The validators of the bytes that were made from this state before, if any."""
    if feed.built_for != state or feed.built_at is None:
        return None
    return Validators(feed.built_tag, feed.built_at)


def build(feed: FeedToken, state: str, now: datetime) -> tuple[bytes, Validators]:
    """Write the feed and keep its validators. Its time moves on only when its bytes differ."""
    today = now.astimezone(utc.utc).date()
    style = style_of(feed)
    fragments = closed_notice(feed, style) if feed.revoked_at else fragments_of(feed, style, today)
    body = joined(f"{feed.cooperative.name}: {feed.name}", fragments)
    digest = sha256(body).hexdigest()
    changed = feed.built_at
    if changed is None or digest != feed.built_hash:
        changed = now.replace(microsecond=0)
        if feed.built_at is not None and changed <= feed.built_at:  # a second change within one second
            changed = feed.built_at + timedelta(seconds=1)
    tag = sha256(f"{digest}{today:%Y%m%d}".encode()).hexdigest()
    if (feed.built_for, feed.built_hash) != (state, digest):
        FeedToken.objects.filter(pk=feed.pk).update(built_for=state, built_hash=digest, built_tag=tag, built_at=changed)
    return body, Validators(tag, changed)


def collection_of(feed: FeedToken, now: datetime) -> dict[str, bytes]:
    """The feed's events as calendar objects of their own, by resource name."""
    today = now.astimezone(utc.utc).date()
    return {item.name: alone(item) for item in fragments_of(feed, style_of(feed), today)}
