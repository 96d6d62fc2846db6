"""Addresses of a co-op's people, below /c/<coop>/."""

from django.urls import path

from accounts import views

app_name = "accounts"
urlpatterns = [
    path("people/", views.people, name="people"),
    path("people/roles/", views.roles, name="roles"),
    path("people/<uuid:membership>/end/", views.role_end, name="role_end"),
    path("people/invitations/<uuid:invitation>/withdraw/", views.invitation_withdraw, name="invitation_withdraw"),
]
