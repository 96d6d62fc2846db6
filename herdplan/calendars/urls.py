"""Addresses of the feeds' page, below /c/<coop>/."""

from django.urls import path

from herdplan.calendars import views

app_name = "calendars"
urlpatterns = [
    path("feeds/", views.feeds, name="feeds"),
    path("feeds/channel/", views.channel, name="channel"),
    path("feeds/own/", views.own, name="own"),
    path("feeds/own/stop/", views.own_stop, name="own_stop"),
    path("feeds/answers/", views.answers, name="answers"),
    path("feeds/<uuid:feed>/revoke/", views.feed_revoke, name="feed_revoke"),
]
