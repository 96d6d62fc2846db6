"""The demo co-ops, planned and published, for tests that need a whole season."""

from django.utils import timezone

from accounts.models import User
from accounts.tenancy import Member, member_in
from herdplan import demo
from scheduling.models import Season
from scheduling.services import claim_job, publish, request_plan, run_job


def coordinator() -> Member:
    """The coordinator of the first demo co-op."""
    return member_in(User.objects.get(email="coordinator@demo.example"), "high-fork")


def published_demo(rounds: int = 5) -> Season:
    """Load the demo, plan both seasons with few rounds, publish them; returns the first."""
    demo.load()
    for season in Season.objects.order_by("name").select_related("cooperative"):
        coop = season.cooperative
        user = User.objects.get(memberships__cooperative=coop, memberships__role="coordinator")
        member = member_in(user, coop.slug)
        request_plan(member=member, season=season, now=timezone.now(), rounds=rounds)
        job = claim_job(now=timezone.now())
        assert job is not None
        run_job(job, now=timezone.now)
        season.refresh_from_db()
        assert season.plan is not None
        publish(member=member, season=season, plan=season.plan, now=timezone.now())
    return Season.objects.get(cooperative__slug="high-fork")
