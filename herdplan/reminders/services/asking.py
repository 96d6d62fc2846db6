"""Messages about clashes: ranches are asked, the coordinator hears of answers. Made from the rows of the plan, like reminders:
whoever changes the plan knows nothing of messages."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial

from django.conf import settings
from django.urls import reverse
from django.utils import translation

from accounts.models import User
from herdplan.reminders import clash_texts
from herdplan.reminders.models import OutboxMessage
from herdplan.reminders.services.outbox import enqueue, key_of
from herdplan.reminders.services.people import language_of
from scheduling.models import ClashAnswer, ClashCase

ASKED, ANSWERED = "asked for a clash", "clash answered"
_TELL_WITHIN = timedelta(days=7)


def sweep_asks(*, now: datetime) -> int:
    """Make the messages that should exist; returns how many questions wait. Safe to call again and again."""
    wanted = list(_waiting())
    for answer, user in wanted:
        _ask(answer, user, now)
    keys = {key_of(_dedup(answer, user)) for answer, user in wanted}
    stale = OutboxMessage.objects.filter(purpose=ASKED, state="pending").exclude(dedup_key__in=keys)
    stale.update(state="cancelled", last_error="it was answered or is no longer asked")
    _tell_coordinators(now)
    return len(wanted)


def _waiting() -> Iterator[tuple[ClashAnswer, User]]:
    rows = ClashAnswer.objects.filter(state="waiting", remedy__case__state="asking")
    rows = rows.select_related("ranch__cooperative", "remedy__case__season").prefetch_related("ranch__people")
    for answer in rows:
        for user in answer.ranch.people.all():
            yield answer, user


def _dedup(answer: ClashAnswer, user: User) -> str:
    """A question that is asked again is a new message."""
    return f"{ASKED}|{answer.pk}|{answer.asked_at.isoformat()}|email|{user.pk}"


def _ask(answer: ClashAnswer, user: User, now: datetime) -> None:
    coop, season = answer.ranch.cooperative, answer.remedy.case.season
    link = settings.BASE_URL + reverse("scheduling:ask", kwargs={"coop": coop.slug, "answer": answer.pk})
    with translation.override(language_of(user)):
        subject, body = clash_texts.asked(answer.ranch.name, season.name, answer.texts, link)
    enqueue(
        cooperative=coop,
        user=user,
        channel="email",
        address=user.email,
        purpose=ASKED,
        subject=subject,
        body=body,
        dedup=_dedup(answer, user),
        due=now,
        expires=None,
        now=now,
    )


def _tell_coordinators(now: datetime) -> None:
    """Whoever opened a clash hears when a ranch declines and when everybody has accepted."""
    declined = ClashAnswer.objects.filter(state="declined", answered_at__gte=now - _TELL_WITHIN)
    for answer in declined.select_related(
        "ranch", "by", "remedy__case__season__cooperative", "remedy__case__opened_by"
    ):
        told = f"declined|{answer.pk}|{answer.asked_at.isoformat()}"
        write = partial(clash_texts.declined, answer.ranch.name, answer.remedy.title, answer.reason)
        _tell(answer.remedy.case, write, told, now)
    settled = ClashCase.objects.filter(state="applied", closed_at__gte=now - _TELL_WITHIN)
    for case in settled.select_related("season__cooperative", "opened_by", "chosen", "group__group"):
        _tell(case, partial(clash_texts.settled, case.group.group.name, str(case.chosen)), f"applied|{case.pk}", now)


def _tell(case: ClashCase, write: Callable[[], tuple[str, str]], told: str, now: datetime) -> None:
    user, coop = case.opened_by, case.season.cooperative
    if user is None:
        return
    with translation.override(language_of(user)):
        subject, text = write()
    link = settings.BASE_URL + reverse("scheduling:clash", kwargs={"coop": coop.slug, "case": case.pk})
    enqueue(
        cooperative=coop,
        user=user,
        channel="email",
        address=user.email,
        purpose=ANSWERED,
        subject=f"{subject} ({case.season.name})",
        body=f"{text}\n\n{link}\n",
        dedup=f"{ANSWERED}|{told}",
        due=now,
        expires=None,
        now=now,
    )
