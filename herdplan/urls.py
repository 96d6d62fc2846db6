"""Every address of the site; each app keeps its own list."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path
from django.views.generic import RedirectView

from herdplan import pages
from herdplan.calendars.answer_views import answer
from herdplan.calendars.dav_views import caldav
from herdplan.calendars.feed_views import feed
from herdplan.reminders.views.changes import seen
from herdplan.reminders.views.mine import push_worker

coop: list[URLPattern | URLResolver] = [
    path("", include("scheduling.urls")),
    path("", include("herdplan.herds.urls")),
    path("", include("herdplan.technicians.urls")),
    path("", include("herdplan.calendars.urls")),
    path("", include("herdplan.reminders.urls")),
    path("", include("accounts.urls")),
    path("people/invite/", pages.invite_person, name="invite"),
]

urlpatterns = [
    path("", pages.home, name="home"),
    path("profile/", pages.profile, name="profile"),
    path("invitation/<str:token>/", pages.invitation, name="invitation"),
    path("feeds/<str:token>.ics", feed, name="feed"),
    path("seen/<str:token>/", seen, name="seen"),
    path("push-worker.js", push_worker, name="push_worker"),
    path("answer/<str:signed>/", answer, name="answer"),
    path("caldav/", caldav, name="caldav"),
    path("caldav/<path:path>", caldav, name="caldav_below"),
    path(".well-known/caldav", RedirectView.as_view(url="/caldav/", permanent=True), name="caldav_known"),
    path("healthz", pages.healthz, name="healthz"),
    path("robots.txt", pages.robots, name="robots"),
    path("c/<slug:coop>/", include(coop)),
    path("api/v1/", include("herdplan.api")),
    path("accounts/", include("allauth.urls")),
    path("admin/", admin.site.urls),
]
