"""The root of every address; the one place that names every app."""

from importlib.util import find_spec

from django.contrib.auth import views as auth_views
from django.urls import URLPattern, URLResolver, include, path

from checks.views import building
from checks.views.audit_log import audit_log
from core import account_views, passkey_views, views

urlpatterns: list[URLPattern | URLResolver] = [
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
    path("account/", account_views.account, name="account"),
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
    path("preferences/", views.save_preferences, name="preferences"),
    path("health/live", views.health_live, name="health-live"),
    path("health/ready", views.health_ready, name="health-ready"),
    path("buildings/<int:pk>/", building, name="building"),
    path("jobs/<int:pk>/trail/", audit_log, name="trail"),
    path("", include("jobs.urls")),
    path("", include("jobs.notifications.urls")),
    path("", include("jobs.accounts.urls")),
    path("", include("checks.urls")),
]

# The interface for programs is the one part that may be left out of a deployment.
if find_spec("api.urls"):
    urlpatterns.append(path("api/v1/", include("api.urls")))
    urlpatterns.append(path("", include("api.token_urls")))

handler400 = "core.views.bad_request"
handler500 = "core.views.server_error"
