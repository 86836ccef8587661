"""Addresses of the people, their accounts, and invitations."""

from django.urls import path

from jobs.people import invitation_views, views

app_name = "people"
urlpatterns = [
    path("people/", views.people, name="list"),
    path("people/invite/", invitation_views.invite, name="invite"),
    path(
        "people/invitations/<uuid:invitation_id>/revoke/",
        invitation_views.revoke,
        name="revoke",
    ),
    path("people/<int:person_id>/", views.person, name="person"),
    path("people/<int:person_id>/role/", views.change_role, name="change_role"),
    path("people/<int:person_id>/close/", views.close_account, name="close"),
    path("people/<int:person_id>/reopen/", views.reopen_account, name="reopen"),
    path("people/<int:person_id>/sign-out/", views.sign_out_person, name="sign_out"),
    path(
        "people/<int:person_id>/new-password/",
        views.new_password,
        name="new_password",
    ),
    path("invitations/<str:token>/", invitation_views.invitation, name="invitation"),
]
