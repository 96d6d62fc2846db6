"""The API's addresses: each app's routes below /api/v1/, the schema and its pages."""

from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import DefaultRouter

from herdplan.calendars.api import ROUTES as CALENDARS
from herdplan.herds.api import ROUTES as HERDS
from herdplan.technicians.api import ROUTES as TECHNICIANS
from scheduling.api import ROUTES as SCHEDULING

router = DefaultRouter()
for routes in (HERDS, TECHNICIANS, SCHEDULING, CALENDARS):
    for prefix, viewset in routes:
        router.register(prefix, viewset, basename=f"api-{prefix}")

urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path("docs/", SpectacularSwaggerSplitView.as_view(url_name="api-schema"), name="api-docs"),
    path("", include(router.urls)),
]
