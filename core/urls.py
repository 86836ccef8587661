"""Root of all addresses; each app contributes its own."""

from django.contrib.auth import views as auth_views
from django.urls import URLPattern, URLResolver, include, path

from core import account_views, passkey_views, views

account_urls: list[URLPattern | URLResolver] = [
    path("account/", account_views.account, name="account"),
    path("account/profile/", account_views.profile, name="profile"),
    path(
        "account/email-address/",
        account_views.save_email_address,
        name="save-email-address",
    ),
    path(
        "account/devices/sign-out-others/",
        account_views.sign_out_others,
        name="sign-out-others",
    ),
    path(
        "account/devices/<int:pk>/sign-out/",
        account_views.sign_out_device,
        name="sign-out-device",
    ),
    path("account/passkeys/", passkey_views.list_passkeys, name="passkeys"),
    path("account/passkeys/make/", passkey_views.create_passkey, name="make-passkey"),
    path(
        "account/passkeys/<int:pk>/remove/",
        passkey_views.confirm_passkey_removal,
        name="remove-passkey",
    ),
]
sign_in_urls: list[URLPattern | URLResolver] = [
    path("sign-in/", passkey_views.SignInView.as_view(), name="sign-in"),
    path(
        "sign-in/passkey/",
        passkey_views.PasskeySignInView.as_view(),
        name="passkey-sign-in",
    ),
    path(
        "passkeys/challenge/", passkey_views.create_challenge, name="passkey-challenge"
    ),
    path("sign-out/", account_views.SignOutView.as_view(), name="sign-out"),
    path(
        "password/", account_views.ChangePasswordView.as_view(), name="change-password"
    ),
    path(
        "password/forgotten/",
        account_views.request_password_reset,
        name="forgotten-password",
    ),
    path(
        "password/new/<str:uidb64>/<str:token>/",
        account_views.SetPasswordView.as_view(),
        name="set-password",
    ),
    path(
        "password/changed/",
        auth_views.PasswordChangeDoneView.as_view(
            template_name="core/password_changed.html"
        ),
        name="password-changed",
    ),
]
urlpatterns: list[URLPattern | URLResolver] = [
    *sign_in_urls,
    *account_urls,
    path("preferences/", views.save_preferences, name="preferences"),
    path("health/live", views.health_live, name="health-live"),
    path("health/ready", views.health_ready, name="health-ready"),
    # Apps above `core` are named by text only: `core` imports none of them.
    path("", include("checks.root_urls")),
    path("", include("jobs.urls")),
    path("", include("jobs.notifications.urls")),
    path("", include("jobs.accounts.urls")),
    path("", include("checks.urls")),
    path("api/v1/", include("api.urls")),
    path("", include("api.token_urls")),
]

handler400 = "core.views.bad_request"
handler500 = "core.views.server_error"
