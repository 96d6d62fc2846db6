"""`manage.py demo_plan`: plan and publish the demo's seasons, and say what came out."""

import sys
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from accounts.models import User
from accounts.tenancy import Member, member_in
from herdplan.demo_data import COOPS, PASSWORD
from scheduling.models import PlanJob, PlanVersion, Season
from scheduling.services import claim_job, publish, request_plan, run_job

_ROUNDS = 600


class Command(BaseCommand):
    """Plans what is not planned yet; run again, it only prints the summary."""

    help = "Plan and publish the demo seasons (safe to run again)."

    def handle(self, *args: Any, **options: Any) -> None:
        """Each co-op's season in turn, then the logins."""
        for demo in COOPS:
            user = User.objects.filter(email=demo.people[0].email).first()
            season = Season.objects.filter(cooperative__slug=demo.slug, name=demo.season).first()
            if user is None or season is None:
                continue
            self._season(member_in(user, demo.slug), season)
        self.stdout.write("\nSign in as (password for all of them: " + PASSWORD + ")")
        for demo in COOPS:
            for person in demo.people:
                self.stdout.write(f"  {person.email:<28} {person.name}, {', '.join(person.roles)}, {demo.name}")

    def _season(self, member: Member, season: Season) -> None:
        if season.published_plan is None:
            self.stdout.write(f"Planning {season} of {member.cooperative} ...")
            self.stdout.flush()
            job = request_plan(member=member, season=season, now=timezone.now(), rounds=_ROUNDS)
            self._run(job)
            season.refresh_from_db()
            if season.plan is not None and not season.plan.broken:
                publish(member=member, season=season, plan=season.plan, now=timezone.now())
        if season.plan is not None:
            self._summary(season, season.plan)

    def _run(self, job: PlanJob) -> None:
        claimed = claim_job(now=timezone.now())
        if claimed is None or claimed.pk != job.pk:
            raise SystemExit("Another planning job is under way; try again when it has ended.")
        bar = _Bar(claimed)
        run_job(claimed, now=bar)
        bar()
        sys.stderr.write("\n")

    def _summary(self, season: Season, plan: PlanVersion) -> None:
        parts = plan.document["cost"]["parts"]
        placed, out = len(plan.document["groups"]), len(plan.document["unplaced"])
        moved = sum(1 for group in plan.document["groups"] if _is_moved(plan, group))
        state = "published" if season.published_plan_id == plan.pk else "not published"
        self.stdout.write(
            f"{season} ({season.cooperative}), plan {plan.number}, {state}: {placed} groups placed, {out} left out; "
            f"{parts['technician_days']} technician-days, {parts['km']:.0f} km; {moved} groups not on their wished day, "
            f"the furthest by {parts['worst_move']} days."
        )


def _is_moved(plan: PlanVersion, group: dict[str, Any]) -> bool:
    wish = next(item["ai_wanted"] for item in plan.problem["groups"] if item["id"] == group["id"])
    return bool(wish != group["ai_day"])


class _Bar:
    """The clock for the job, which draws the bar whenever it is asked for the time."""

    def __init__(self, job: PlanJob) -> None:
        self.job = job

    def __call__(self) -> Any:
        self.job.refresh_from_db(fields=["progress", "best_cost"])
        done = self.job.progress // 5
        cost = f", cost {self.job.best_cost:.0f}" if self.job.best_cost else ""
        sys.stderr.write(f"\r[{'#' * done:<20}] {self.job.progress:3d} %{cost}   ")
        sys.stderr.flush()
        return timezone.now()
