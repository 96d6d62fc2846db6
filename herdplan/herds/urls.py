"""Addresses of ranches, herds, groups and females, below /c/<coop>/."""

from django.urls import path

from herdplan.herds import views

app_name = "herds"
urlpatterns = [
    path("ranches/", views.ranches, name="ranches"),
    path("ranches/new/", views.ranch_form, name="ranch_new"),
    path("ranches/<slug:ranch>/", views.ranch_page, name="ranch"),
    path("ranches/<slug:ranch>/edit/", views.ranch_form, name="ranch_edit"),
    path("ranches/<slug:ranch>/closed/", views.closed_day_add, name="closed_day_add"),
    path("ranches/<slug:ranch>/closed/<int:day>/remove/", views.closed_day_remove, name="closed_day_remove"),
    path("ranches/<slug:ranch>/herds/new/", views.herd_form, name="herd_new"),
    path("ranches/<slug:ranch>/groups/new/", views.group_form, name="group_new"),
    path("ranches/<slug:ranch>/import/", views.import_page, name="import"),
    path("herds/<uuid:herd>/", views.females, name="females"),
    path("herds/<uuid:herd>/edit/", views.herd_edit, name="herd_edit"),
    path("herds/<uuid:herd>/remove/", views.herd_remove, name="herd_remove"),
    path("herds/<uuid:herd>/export.csv", views.export, name="export"),
    path("herds/<uuid:herd>/females/new/", views.female_form, name="female_new"),
    path("females/<uuid:female>/", views.female_edit, name="female_edit"),
    path("groups/<uuid:group>/", views.group_edit, name="group_edit"),
    path("groups/<uuid:group>/remove/", views.group_remove, name="group_remove"),
]
