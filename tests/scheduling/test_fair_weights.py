"""Fair shares over seasons: what a season's document says of earlier ones, and the form that turns it on."""

from datetime import timedelta

import pytest
from django.test import Client

from accounts.models import User
from herdplan.technicians.models import Technician
from scheduling.models import Season
from scheduling.services.problem import season_document
from tests.factories.demo import published_demo

pytestmark = pytest.mark.django_db


def test_a_season_that_weighs_shares_knows_what_the_one_before_asked(client: Client) -> None:
    before = published_demo()
    assert "rest_days_before" not in season_document(before)["ranches"][0]
    late = timedelta(days=365)
    after = Season.objects.create(
        cooperative=before.cooperative,
        name="The year after",
        first_day=before.first_day + late,
        last_day=before.last_day + late,
        zone=before.zone,
    )
    entry = before.entries.select_related("group").order_by("pk")[0]
    entry.pk, entry.season = None, after
    entry._state.adding = True
    for name in ("ai_from", "ai_to", "ai_wanted"):
        setattr(entry, name, getattr(entry, name) + late)
    entry.save()
    client.force_login(User.objects.get(email__startswith="coordinator"))
    page = f"/c/{after.cooperative.slug}/seasons/{after.pk}/edit/"
    answer = client.get(page)
    values = {name: field.value() for name, field in ((item.name, item) for item in answer.context["form"])}
    answer = client.post(page, {**values, "rest_day": "10", "day_before": "5", "uneven_load": "1000"})
    assert answer.status_code == 302
    after.refresh_from_db()
    assert after.weights == {"rest_day": 10, "day_before": 5, "uneven_load": 1000}
    document = season_document(after)
    assert all(ranch["rest_days_before"] >= 0 for ranch in document["ranches"])
    worked = {person["id"]: person["days_before"] for person in document["technicians"]}
    for person in Technician.objects.filter(cooperative=after.cooperative):
        days = {row.starts.date() for row in person.bookings.exclude(status="cancelled")}
        assert abs(worked[str(person.pk)] - len(days)) <= 1  # days are counted in UTC
    assert sum(worked.values()) > 0
    client.post(page, {**values, "rest_day": "0", "day_before": "0", "uneven_load": "0"})
    after.refresh_from_db()
    assert after.weights == {}
