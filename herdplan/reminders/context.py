"""What every page of a co-op shows of changes that wait for a tap, and of messages that wait for the coordinator."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from django.http import HttpRequest
from django.utils import timezone

from accounts.permissions import Permission
from accounts.tenancy import Member
from herdplan.reminders import queries
from herdplan.reminders.models import ChangeNotice


@dataclass(frozen=True, slots=True)
class MessageAlarms:
    """People to be called, and messages that could not be delivered or perhaps were not."""

    calls: int = 0
    stuck: int = 0

    @property
    def total(self) -> int:
        """Both together, for the navigation."""
        return self.calls + self.stuck


def unseen(request: HttpRequest) -> dict[str, int | Callable[[], MessageAlarms]]:
    """How many urgent changes the caller has not said to have seen, one short query on pages of a co-op; and, asked only
    where a template names it, what waits for the coordinator."""
    member = getattr(request, "member", None)
    if member is None:
        return {}
    rows = ChangeNotice.objects.filter(
        cooperative=member.cooperative, user=member.user, urgent=True, seen_at=None, withdrawn_at=None
    )
    return {"unseen_changes": rows.count(), "message_alarms": cache(lambda: _alarms(member))}


def _alarms(member: Member) -> MessageAlarms:
    if not member.may(Permission.MEMBERS_MANAGE):
        return MessageAlarms()
    stuck = queries.messages_for(member).filter(state__in=("dead", "uncertain"))
    return MessageAlarms(calls=queries.calls_for(member, timezone.now()).count(), stuck=stuck.count())
