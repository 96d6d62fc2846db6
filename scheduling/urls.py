"""Addresses of the plan, below /c/<coop>/."""

from django.urls import path

from scheduling import views

app_name = "scheduling"
urlpatterns = [
    path("", views.today, name="today"),
    path("week/<uuid:technician>/", views.technician_week, name="technician_week"),
    path("seasons/", views.seasons, name="seasons"),
    path("seasons/new/", views.season_form, name="season_new"),
    path("seasons/<uuid:season>/", views.season_page, name="season"),
    path("seasons/<uuid:season>/edit/", views.season_form, name="season_edit"),
    path("seasons/<uuid:season>/groups/", views.entries, name="entries"),
    path("seasons/<uuid:season>/groups/new/", views.entry_form, name="entry_new"),
    path("seasons/<uuid:season>/groups/<uuid:entry>/", views.entry_page, name="entry"),
    path("seasons/<uuid:season>/groups/<uuid:entry>/edit/", views.entry_form, name="entry_edit"),
    path("seasons/<uuid:season>/groups/<uuid:entry>/withdraw/", views.entry_withdraw, name="entry_withdraw"),
    path("seasons/<uuid:season>/plan/", views.plan_season, name="plan_season"),
    path("seasons/<uuid:season>/move/", views.move, name="move"),
    path("seasons/<uuid:season>/remedy/", views.remedy, name="remedy"),
    path("seasons/<uuid:season>/publish/", views.publish_plan, name="publish"),
    path("seasons/<uuid:season>/plans/<int:number>/use/", views.use_plan, name="use_plan"),
    path("protocols/", views.protocols, name="protocols"),
    path("protocols/<slug:protocol>/", views.protocol, name="protocol"),
    path("protocols/adjustments/<uuid:adjustment>/withdraw/", views.adjustment_withdraw, name="adjustment_withdraw"),
    path("jobs/<uuid:job>/", views.job_progress, name="job"),
    path("jobs/<uuid:job>/stop/", views.job_stop, name="job_stop"),
    path("steps/<uuid:step>/done/", views.step_done, name="step_done"),
    path("steps/<uuid:step>/undo/", views.step_undo, name="step_undo"),
]
