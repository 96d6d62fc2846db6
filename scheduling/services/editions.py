"""A co-op's catalogue: the program's edition with the co-op's own windows."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.db.models import F, QuerySet

from accounts.models import Cooperative
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.kernel.catalogue import adjusted, load_catalogue
from scheduling.kernel.protocol import Protocol
from scheduling.kernel.reader import ReadError
from scheduling.models import ProtocolAdjustment, Season


class AdjustmentError(ValueError):
    """An adjustment that cannot be made: the field and what is allowed."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(f"{field}: {text}")
        self.field, self.text = field, text


def protocols_of(cooperative: Cooperative) -> Mapping[str, Protocol]:
    """Protocols by id, with the co-op's windows in place of the printed ones. One query."""
    protocols = dict(load_catalogue().protocols)
    for row in ProtocolAdjustment.objects.filter(cooperative=cooperative, withdrawn_at=None):
        if row.protocol in protocols:
            protocols[row.protocol] = _applied(protocols[row.protocol], row)
    return protocols


def _applied(protocol: Protocol, row: ProtocolAdjustment) -> Protocol:
    return adjusted(protocol, step=row.step, min_h=row.min_h, target_h=row.target_h, max_h=row.max_h, reason=row.reason)


def edition() -> str:
    """The edition of the catalogue that comes with the program."""
    return load_catalogue().edition


def adjust(
    *,
    member: Member,
    protocol: str,
    step: str,
    min_h: float,
    target_h: float,
    max_h: float,
    reason: str,
    now: datetime,
) -> ProtocolAdjustment:
    """Put a window of the co-op's own in force, in place of an earlier one; raises AdjustmentError."""
    member.require(Permission.PROTOCOL_ADJUST, Reach.COOP)
    printed = load_catalogue().protocols.get(protocol)
    if printed is None:
        raise AdjustmentError("protocol", "Choose a protocol of the catalogue.")
    row = ProtocolAdjustment(
        cooperative=member.cooperative,
        protocol=protocol,
        step=step,
        min_h=min_h,
        target_h=target_h,
        max_h=max_h,
        reason=reason.strip(),
        by=member.user,
        made_at=now,
    )
    try:
        _applied(printed, row)
    except ReadError as fault:
        raise AdjustmentError(fault.field, f"Give {fault.allowed}.") from None
    with transaction.atomic():
        _in_force(member, protocol, step).update(withdrawn_at=now)
        row.save()
        _tell_feeds(member)
    return row


def withdraw_adjustment(*, member: Member, row: ProtocolAdjustment, now: datetime) -> None:
    """Go back to the printed window; the adjustment stays on record."""
    member.require(Permission.PROTOCOL_ADJUST, Reach.COOP)
    with transaction.atomic():
        _in_force(member, row.protocol, row.step).filter(pk=row.pk).update(withdrawn_at=now)
        _tell_feeds(member)


def _tell_feeds(member: Member) -> None:
    """Events say hours in force: who has to wait at a session."""
    Season.objects.filter(cooperative=member.cooperative).update(calendar_version=F("calendar_version") + 1)


def _in_force(member: Member, protocol: str, step: str) -> QuerySet[ProtocolAdjustment]:
    rows = ProtocolAdjustment.objects.filter(cooperative=member.cooperative, withdrawn_at=None)
    return rows.filter(protocol=protocol, step=step)
