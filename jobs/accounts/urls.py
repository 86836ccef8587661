"""URLs of people, accounts and invitations."""

from django.urls import path

from jobs.accounts import invitation_views, views

app_name = "accounts"
urlpatterns = [
    path("people/", views.people_list, name="list"),
    path("people/invite/", invitation_views.invite_person, name="invite"),
    path(
        "people/invitations/<uuid:invitation_id>/revoke/",
        invitation_views.withdraw_invitation,
        name="revoke",
    ),
    path("people/<int:person_id>/", views.person_detail, name="person"),
    path("people/<int:person_id>/role/", views.submit_role, name="change_role"),
    path("people/<int:person_id>/close/", views.submit_account_closing, name="close"),
    path(
        "people/<int:person_id>/reopen/", views.submit_account_reopening, name="reopen"
    ),
    path("people/<int:person_id>/sign-out/", views.sign_out_person, name="sign_out"),
    path(
        "people/<int:person_id>/new-password/",
        views.send_password_email,
        name="new_password",
    ),
    path(
        "invitations/<str:token>/", invitation_views.open_invitation, name="invitation"
    ),
]
