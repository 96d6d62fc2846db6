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
    path("herds/<uuid:herd>/records.csv", views.records_csv, name="records_csv"),
    path("herds/<uuid:herd>/records.xlsx", views.records_xlsx, name="records_xlsx"),
    path("herds/<uuid:herd>/records/import/", views.records_import, name="records_import"),
    path("herds/<uuid:herd>/chute/", views.chute_start, name="chute_start"),
    path("females/<uuid:female>/", views.female_page, name="female"),
    path("females/<uuid:female>/edit/", views.female_edit, name="female_edit"),
    path("females/<uuid:female>/records/new/", views.record_new, name="record_new"),
    path("records/<uuid:record>/remove/", views.record_remove, name="record_remove"),
    path("records/<uuid:record>/end/", views.hold_end, name="hold_end"),
    path("sheets/<uuid:upload>/", views.records_match, name="records_match"),
    path("chute/<uuid:chute>/", views.chute, name="chute"),
    path("chute/<uuid:chute>/edit/", views.chute_edit, name="chute_edit"),
    path("chute/<uuid:chute>/<uuid:female>/", views.chute_animal, name="chute_animal"),
    path("groups/<uuid:group>/", views.group_edit, name="group_edit"),
    path("groups/<uuid:group>/remove/", views.group_remove, name="group_remove"),
]
