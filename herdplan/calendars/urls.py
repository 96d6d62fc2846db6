"""Addresses of the feeds' page, below /c/<coop>/."""

from django.urls import path

from herdplan.calendars import views

app_name = "calendars"
urlpatterns = [
    path("feeds/", views.feeds, name="feeds"),
    path("feeds/<uuid:feed>/revoke/", views.feed_revoke, name="feed_revoke"),
]
