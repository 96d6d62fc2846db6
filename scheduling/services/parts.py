"""Parts of a season given to workers, perhaps on other machines: rows of the database, the bell of Celery only rings.

A part is a pickled value, so every payload is sealed with the installation's key and opened only when the seal is right. A part
that nobody takes, or whose worker is lost, costs its share of the search and nothing else: the plan stays what it was.
"""

import logging
import pickle
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from uuid import UUID

from celery import current_app
from django.conf import settings
from django.db import connection, transaction
from django.utils.crypto import constant_time_compare, salted_hmac

from scheduling.kernel.search.parts import Part, PartResult, solve_part
from scheduling.models import PlanJob, PlanPart

_SALT = "scheduling.part"
log = logging.getLogger(__name__)


def seal_of(payload: bytes) -> str:
    """The seal of a payload."""
    return salted_hmac(_SALT, payload, algorithm="sha256").hexdigest()


class WorkerHelpers:
    """So many workers that take parts from the database: Celery's, for whom the bell rings, or `run_parts` loops."""

    def __init__(self, job: PlanJob, count: int, now: Callable[[], datetime]) -> None:
        self.job, self.count, self.now = job, count, now

    def start(self, parts: Sequence[Part]) -> "Rows":
        """Write the parts down and ring for each."""
        rows = []
        for number, part in enumerate(parts):
            payload = pickle.dumps(part)
            rows.append(
                PlanPart(job=self.job, number=number, given=payload, given_seal=seal_of(payload), made_at=self.now())
            )
        PlanPart.objects.bulk_create(rows)
        if settings.REDIS_URL:
            for _ in rows:
                current_app.send_task("scheduling.tasks.ring_parts", queue="parts")
        return Rows([row.pk for row in rows])

    def wait(self, seconds: float) -> None:
        """Let a moment pass; the database is asked four times a second at most."""
        time.sleep(max(seconds, 0.25))


class Rows:
    """Parts that were given away."""

    def __init__(self, ids: Sequence[UUID]) -> None:
        self.ids = list(ids)

    def done(self) -> bool:
        """Whether no part waits or is being planned."""
        return not PlanPart.objects.filter(pk__in=self.ids, state__in=("queued", "running")).exists()

    def results(self) -> list[PartResult | None]:
        """What came back, in the order of the parts; the rows go."""
        rows = {row.pk: row for row in PlanPart.objects.filter(pk__in=self.ids)}
        found = [_opened(rows[pk].found, rows[pk].found_seal) if pk in rows else None for pk in self.ids]
        PlanPart.objects.filter(pk__in=self.ids).delete()
        return [item if isinstance(item, PartResult) else None for item in found]


def run_part_once(*, clock: Callable[[], float] = time.monotonic) -> bool:
    """Take the oldest part that waits and plan it; False where none waits."""
    row = _claimed()
    if row is None:
        return False
    part = _opened(row.given, row.given_seal)
    if not isinstance(part, Part):
        log.error("Part %s does not carry this installation's seal and was not opened.", row.pk)
        PlanPart.objects.filter(pk=row.pk).update(state="failed")
        return True
    try:
        payload = pickle.dumps(solve_part(part, clock))
    except Exception:
        log.exception("Part %s failed.", row.pk)
        PlanPart.objects.filter(pk=row.pk).update(state="failed")
        return True
    PlanPart.objects.filter(pk=row.pk).update(state="done", found=payload, found_seal=seal_of(payload))
    return True


def _claimed() -> PlanPart | None:
    with transaction.atomic():
        rows = PlanPart.objects.filter(state="queued").order_by("made_at", "number")
        if connection.features.has_select_for_update_skip_locked:
            rows = rows.select_for_update(skip_locked=True, of=("self",))
        row = rows.first()
        if row is None or not PlanPart.objects.filter(pk=row.pk, state="queued").update(state="running"):
            return None
        return row


def _opened(payload: object, seal: str) -> object:
    """The value of a payload whose seal is right, else None."""
    if not isinstance(payload, (bytes, memoryview)):
        return None
    data = bytes(payload)
    if not constant_time_compare(seal_of(data), seal):
        return None
    value: object = pickle.loads(data)  # noqa: S301 (sealed by this installation)
    return value
