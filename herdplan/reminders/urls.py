"""Addresses of the co-op's messages, below /c/<coop>/."""

from django.urls import path

from herdplan.reminders import views

app_name = "reminders"
urlpatterns = [
    path("messages/", views.outbox, name="outbox"),
    path("messages/<uuid:message>/again/", views.again, name="again"),
]
