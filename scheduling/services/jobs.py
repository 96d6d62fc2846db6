"""Planning jobs: rows claimed with a lease. The same loop serves one box and many workers."""

import logging
import re
import time
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.db.models import Q

from accounts.tenancy import Member
from scheduling.kernel.plan import load_plan
from scheduling.kernel.reader import ReadError
from scheduling.kernel.search import Budget, Progress, solve
from scheduling.kernel.search.parts import Helpers
from scheduling.models import PlanJob, PlanTrial, PlanVersion, Season
from scheduling.processes import helpers_for
from scheduling.services.clashes import settle_case
from scheduling.services.parts import WorkerHelpers
from scheduling.services.plans import problem_of, save_plan
from scheduling.services.seasons import require_planner
from scheduling.services.trials import document_at, save_trials, still_open, try_out

LEASE = timedelta(seconds=60)
MAX_ATTEMPTS = 3
DEFAULT_SECONDS = 10.0
_TELL_EVERY_S = 0.7
log = logging.getLogger(__name__)


def request_plan(
    *,
    member: Member,
    season: Season,
    now: datetime,
    seed: int = 1,
    seconds: float | None = None,
    rounds: int | None = None,
    keep: bool = False,
) -> PlanJob:
    """Ask for a plan. A season has one open job: asking again returns it. `keep` changes the plan in work least."""
    require_planner(member, season)
    found = season.jobs.filter(state__in=("queued", "running")).first()
    if found is not None:
        return found
    if seconds is None and rounds is None:
        seconds = DEFAULT_SECONDS
    try:
        with transaction.atomic():
            return PlanJob.objects.create(
                season=season,
                seed=seed,
                seconds=seconds,
                rounds=rounds,
                keep=season.plan if keep else None,
                created_by=member.user,
                created_at=now,
            )
    except IntegrityError:  # somebody else asked at the same moment
        return season.jobs.get(state__in=("queued", "running"))


def stop_job(*, member: Member, job: PlanJob, now: datetime) -> None:
    """Ask the job to stop; it keeps the best plan found so far. A job that still waits ends at once."""
    require_planner(member, job.season)
    waiting = PlanJob.objects.filter(pk=job.pk, state="queued")
    if not waiting.update(state="stopped", stop_asked=True, finished_at=now):
        PlanJob.objects.filter(pk=job.pk, state="running").update(stop_asked=True)


def claim_job(*, now: datetime) -> PlanJob | None:
    """Claim the oldest job that waits, or whose worker is lost; None where there is none.

    A job that was lost too often fails, with a message.
    """
    lost = Q(state="running", lease_until__lt=now)
    PlanJob.objects.filter(lost, attempts__gte=MAX_ATTEMPTS).update(
        state="failed",
        finished_at=now,
        message="Planning was cut off three times. Ask whoever runs the server to look.",
    )
    with transaction.atomic():
        jobs = PlanJob.objects.filter(Q(state="queued") | lost).order_by("created_at")
        # SQLite has no row locks: its transactions begin IMMEDIATE, so that only one claims at a time.
        if connection.features.has_select_for_update_skip_locked:
            jobs = jobs.select_for_update(skip_locked=True, of=("self",))
        job = jobs.first()
        if job is None:
            return None
        job.state, job.attempts = "running", job.attempts + 1
        job.lease_token, job.lease_until = uuid.uuid4(), now + LEASE
        job.started_at, job.progress = now, 0
        job.save()
    return job


def run_job(job: PlanJob, *, now: Callable[[], datetime], clock: Callable[[], float] = time.monotonic) -> PlanJob:
    """Run a claimed job in this process and store the plan. Every write is fenced by the lease's token."""
    season = Season.objects.select_related("cooperative").get(pk=job.season_id)
    trials = list(job.trials.select_related("base"))
    if trials:
        return _run_trials(job, season, trials, now, clock)
    moment = now()
    document = document_at(season, moment)
    try:
        problem = problem_of(still_open(document, season, moment), season.cooperative)
        keep = load_plan(job.keep.document) if job.keep else None
    except ReadError as fault:
        return _finish(job, now(), state="failed", message=_readable(fault, season, document))
    teller = _Teller(job, now, clock)
    plan = solve(
        problem,
        seed=job.seed,
        budget=Budget(job.rounds, job.seconds),
        keep=keep,
        clock=clock,
        progress=teller.tell,
        should_stop=teller.stop_asked,
        helpers=_helpers(job, now),
    )
    with transaction.atomic():
        if not _holds(job):
            log.warning("Planning job %s was taken over; its result is dropped.", job.pk)
            return job
        version = save_plan(
            season=season, problem=document, plan=plan, origin=PlanVersion.Origin.SOLVER, by=job.created_by, now=now()
        )
        state = "stopped" if teller.stopped else "done"
        return _finish(job, now(), state=state, result=version, progress=100, best_cost=version.cost_total)


def _helpers(job: PlanJob, now: Callable[[], datetime]) -> Helpers | None:
    """Who works on parts of the season: workers of the installation where it has them, else processes of this machine."""
    if settings.PART_WORKERS > 0:
        return WorkerHelpers(job, settings.PART_WORKERS, now)
    return helpers_for(job.seconds)


def _run_trials(
    job: PlanJob, season: Season, trials: list[PlanTrial], now: Callable[[], datetime], clock: Callable[[], float]
) -> PlanJob:
    """Plan each changed season in turn; nothing but the trials' own rows, and the clash that they belong to, is written."""
    teller = _Teller(job, now, clock)
    for i, trial in enumerate(trials):
        teller.share = (i, len(trials))
        try:
            try_out(
                trial,
                season,
                seed=job.seed,
                budget=Budget(job.rounds, job.seconds),
                clock=clock,
                progress=teller.tell,
                should_stop=teller.stop_asked,
            )
        except ReadError as fault:
            return _finish(job, now(), state="failed", message=_readable(fault, season, trial.problem))
        if teller.stopped:
            break
    with transaction.atomic():
        if not _holds(job):
            log.warning("Planning job %s was taken over; its trials are dropped.", job.pk)
            return job
        save_trials(trials, now())
        settle_case(job)
        return _finish(job, now(), state="stopped" if teller.stopped else "done", progress=100)


def run_jobs_once(*, now: Callable[[], datetime]) -> int:
    """Run every job that waits; returns how many."""
    done = 0
    while (job := claim_job(now=now())) is not None:
        try:
            run_job(job, now=now)
        except Exception:
            log.exception("Planning job %s failed.", job.pk)
            text = "Planning stopped with a fault of the program. Whoever runs the server finds it in the log."
            _finish(job, now(), state="failed", message=text)
        done += 1
    return done


class _Teller:
    """Writes progress now and then, renews the lease, and learns whether somebody asked to stop."""

    def __init__(self, job: PlanJob, now: Callable[[], datetime], clock: Callable[[], float]) -> None:
        self.job, self.now, self.clock = job, now, clock
        self.last = -1e9
        self.stopped = False
        self.share = (0, 1)

    def tell(self, progress: Progress) -> None:
        if self.clock() - self.last < _TELL_EVERY_S:
            return
        self.last = self.clock()
        mine = PlanJob.objects.filter(pk=self.job.pk, lease_token=self.job.lease_token, state="running")
        part, parts = self.share
        share = (part + progress.share) / parts
        mine.update(progress=min(99, int(share * 100)), best_cost=progress.best_cost, lease_until=self.now() + LEASE)
        self.stopped = not mine.filter(stop_asked=False).exists()

    def stop_asked(self) -> bool:
        return self.stopped


def _holds(job: PlanJob) -> bool:
    """Whether the lease is still this worker's; call it in the transaction that writes the result."""
    mine = PlanJob.objects.select_for_update().filter(pk=job.pk, lease_token=job.lease_token, state="running")
    return mine.first() is not None


def _finish(job: PlanJob, now: datetime, **values: object) -> PlanJob:
    mine = PlanJob.objects.filter(pk=job.pk, lease_token=job.lease_token, state="running")
    if mine.update(finished_at=now, lease_until=None, **values):
        job.refresh_from_db()
    else:
        log.warning("Planning job %s was taken over or its season is gone; nothing is written.", job.pk)
    return job


def _readable(fault: ReadError, season: Season, document: dict[str, Any]) -> str:
    """The fault with the group's, ranch's or technician's name rather than a number of a list."""
    place = re.fullmatch(r"(groups|ranches|technicians|barns)\[(\d+)\]\.?(.*)", fault.field)
    where = fault.field
    if place:
        row = document[place[1]][int(place[2])]
        name = row.get("name") or _group_name(season, row["id"])
        where = f"{place[3] or 'the row'} of {name}"
    return f"The season cannot be planned yet: {where} must be {fault.allowed}."[:300]


def _group_name(season: Season, identity: str) -> str:
    """A group's name with its ranch; a barn's id where it is no group."""
    entry = season.entries.select_related("group__herd__ranch").filter(pk=identity).first()
    return str(entry.group) if entry else identity
