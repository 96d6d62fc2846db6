"""A small published plan without the search: rows as publishing would write them, to be moved and cancelled by tests."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from accounts.models import Cooperative, User
from accounts.permissions import Role
from herdplan.herds.models import Ranch
from herdplan.technicians.models import Technician
from scheduling.models import Booking, PlannedStep, SeasonEntry
from scheduling.services.catalogue import protocol_of
from tests.factories.people import (
    make_coop,
    make_entry,
    make_group,
    make_herd,
    make_person,
    make_ranch,
    make_season,
    make_technician,
)

ZONE = ZoneInfo("America/Denver")
# The protocol's day 0, at the ranch.
DAY_0 = datetime(2027, 5, 3, 16, 0, tzinfo=ZONE)


@dataclass
class Published:
    """One ranch with one group under one protocol, a technician for AI, a coordinator."""

    coop: Cooperative
    coordinator: User
    rancher: User
    worker: User
    ranch: Ranch
    technician: Technician
    entry: SeasonEntry

    def step(self, key: str) -> PlannedStep:
        """The lot's step."""
        return PlannedStep.objects.get(entry=self.entry, key=key)

    def _rows(self, key: str) -> list[PlannedStep | Booking]:
        return [self.step(key), *Booking.objects.filter(entry=self.entry, step=key)]

    def move(self, key: str, by: timedelta, now: datetime) -> PlannedStep:
        """Move a step and the booking of it, as publishing does: the next sequence, the time of the change."""
        for row in self._rows(key):
            row.starts, row.ends = row.starts + by, row.ends + by
            row.sequence, row.changed_at = row.sequence + 1, now
            if isinstance(row, Booking):
                row.busy_starts, row.busy_ends = row.busy_starts + by, row.busy_ends + by
            row.save()
        return self.step(key)

    def cut(self, *heads: int, apart: timedelta = timedelta(hours=2)) -> None:
        """Cut the group into lots of these heads, as it would be published: the first keeps its rows and hours, the
        others follow at a distance. The technician drives to the first alone.
        """
        rows: list[PlannedStep | Booking] = [*PlannedStep.objects.filter(entry=self.entry)]
        for row in [*rows, *Booking.objects.filter(entry=self.entry)]:
            row.head, starts, ends = heads[0], row.starts, row.ends
            row.save()
            for lot, head in enumerate(heads[1:], 1):
                row.pk, row.lot, row.head, row._state.adding = uuid4(), lot, head, True
                row.starts, row.ends = starts + lot * apart, ends + lot * apart
                if isinstance(row, Booking):
                    row.busy_starts, row.busy_ends, row.km_before = row.starts, row.ends, 0
                row.save()

    def cancel(self, key: str, now: datetime) -> None:
        """Cancel a step and its booking."""
        for row in self._rows(key):
            row.status, row.sequence, row.changed_at = "cancelled", row.sequence + 1, now
            row.save()


def make_published(
    slug: str = "north", protocol: str = "cow_7d_cosynch_insert", start: datetime = DAY_0, **fields: Any
) -> Published:
    """The protocol's steps at their days and hours, 60 head; AI by a technician who drives an hour."""
    coop = make_coop(slug)
    rancher = make_person(coop, Role.RANCHER, email=f"rancher@{slug}.example")
    worker = make_person(coop, Role.TECHNICIAN, email=f"worker@{slug}.example")
    coordinator = make_person(coop, Role.COORDINATOR, email=f"coordinator@{slug}.example")
    ranch = make_ranch(coop, "Willow Draw")
    ranch.people.add(rancher)
    entry = make_entry(make_season(coop), make_group(make_herd(ranch), name="Willow", head=60), protocol=protocol)
    person = make_technician(coop, name="Ann", user=worker)
    made = Published(coop, coordinator, rancher, worker, ranch, person, entry)
    _write(made, start, fields.get("head", 60))
    return made


def _write(made: Published, start: datetime, head: int) -> None:
    protocol = protocol_of(made.entry.protocol)
    assert protocol is not None
    times: dict[str, datetime] = {}
    for step in protocol.steps:
        begins = start + timedelta(days=step.day)
        if step.after is not None and step.after.step in times:
            begins = times[step.after.step] + timedelta(hours=step.after.target_h)
        times[step.key] = begins.astimezone(UTC)
        row: dict[str, Any] = {
            "entry": made.entry, "lot": 0, "starts": times[step.key], "ends": times[step.key] + timedelta(hours=2), "head": head,
            "changed_at": start - timedelta(days=40),
        }  # fmt: skip
        by = "technician" if step.is_ai else "ranch"
        PlannedStep.objects.create(**row, ranch=made.ranch, key=step.key, by=by)
        if step.is_ai:
            Booking.objects.create(
                **row, technician=made.technician, step=step.key, km_before=64.4,
                busy_starts=row["starts"] - timedelta(hours=1), busy_ends=row["ends"],
            )  # fmt: skip
