"""Seasons with plans for tests: a co-op of two ranches and two technicians, planned by the real search."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from accounts.models import Cooperative, User
from accounts.permissions import Role
from accounts.tenancy import Member, member_in
from herdplan.herds.models import Ranch
from herdplan.technicians.models import Technician
from scheduling.models import PlanVersion, Season, SeasonEntry
from scheduling.services import claim_job, request_plan, run_job
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

NOW = datetime(2027, 4, 1, 15, 0, 0, 123456, tzinfo=UTC)


@dataclass
class Scene:
    """A co-op ready to be planned. `willow` and `birch` are entered, at a ranch each."""

    coop: Cooperative
    coordinator: Member
    rancher: Member
    technician: Member
    stranger: User
    season: Season
    home: Ranch
    away: Ranch
    willow: SeasonEntry
    birch: SeasonEntry
    ann: Technician
    bo: Technician


def make_scene(slug: str = "north", **entry: Any) -> Scene:
    """Willow (60 cows) and Birch (50 cows) wish for AI on 10 May; the rancher belongs to Willow's ranch alone."""
    coop = make_coop(slug)
    coordinator, rancher = make_person(coop, Role.COORDINATOR), make_person(coop, Role.RANCHER)
    worker = make_person(coop, Role.TECHNICIAN)
    home, away = make_ranch(coop, "Willow Draw"), make_ranch(coop, "Birch Flat", lat=44.7, lon=-103.5)
    home.people.add(rancher)
    season = make_season(coop)
    willow = make_entry(season, make_group(make_herd(home), name="Willow", head=60), **entry)
    birch = make_entry(season, make_group(make_herd(away), name="Birch", head=50), **entry)
    return Scene(
        coop=coop,
        coordinator=member_in(coordinator, slug),
        rancher=member_in(rancher, slug),
        technician=member_in(worker, slug),
        stranger=make_person(make_coop(f"{slug}-other"), Role.COORDINATOR),
        season=season,
        home=home,
        away=away,
        willow=willow,
        birch=birch,
        ann=make_technician(coop, name="Ann", user=worker),
        bo=make_technician(coop, name="Bo", lat=44.5, lon=-103.4),
    )


def planned(scene: Scene, now: datetime = NOW, **wish: Any) -> PlanVersion:
    """Plan the scene's season through a job, as the site does; returns the version in work."""
    request_plan(member=scene.coordinator, season=scene.season, now=now, **{"rounds": 20, **wish})
    job = claim_job(now=now)
    assert job is not None
    assert job.season_id == scene.season.pk
    done = run_job(job, now=lambda: now)
    assert done.state == "done", done.message
    scene.season.refresh_from_db()
    assert done.result is not None
    return done.result
