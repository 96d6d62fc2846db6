"""Addresses of the co-op's messages and a person's reminders, below /c/<coop>/."""

from django.urls import path

from herdplan.reminders.views import changes, messages, mine

app_name = "reminders"
urlpatterns = [
    path("messages/", messages.outbox, name="outbox"),
    path("messages/<uuid:message>/again/", messages.again, name="again"),
    path("calls/", messages.calls, name="calls"),
    path("calls/<uuid:notice>/called/", messages.called, name="called"),
    path("changes/", changes.changes, name="changes"),
    path("changes/<uuid:notice>/seen/", changes.change_seen, name="change_seen"),
    path("reminders/", mine.reminders, name="mine"),
    path("reminders/rules/<slug:code>/", mine.rule, name="rule"),
    path("reminders/channels/", mine.channels, name="channels"),
    path("reminders/channels/test/", mine.trial, name="trial"),
    path("reminders/channels/push/", mine.push_add, name="push_add"),
    path("reminders/channels/push/<uuid:push>/remove/", mine.push_remove, name="push_remove"),
    path("reminders/channels/services/<uuid:service>/remove/", mine.service_remove, name="service_remove"),
]
