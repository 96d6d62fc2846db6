"""Addresses of technicians and barns, below /c/<coop>/."""

from django.urls import path

from herdplan.technicians import views

app_name = "technicians"
urlpatterns = [
    path("technicians/", views.technicians, name="technicians"),
    path("technicians/new/", views.technician_form, name="technician_new"),
    path("technicians/<uuid:technician>/", views.technician_page, name="technician"),
    path("technicians/<uuid:technician>/edit/", views.technician_form, name="technician_edit"),
    path("technicians/<uuid:technician>/off/", views.day_off_add, name="day_off_add"),
    path("technicians/<uuid:technician>/off/<int:day>/remove/", views.day_off_remove, name="day_off_remove"),
    path("barns/new/", views.barn_form, name="barn_new"),
    path("barns/<uuid:barn>/", views.barn_form, name="barn_edit"),
]
