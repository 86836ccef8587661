"""The root of every address; the one place that names every app."""

from importlib.util import find_spec

from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, URLResolver, include, path

from checks.views import building
from core import views

urlpatterns: list[URLPattern | URLResolver] = [
    path(
        "sign-in/",
        login_not_required(
            auth_views.LoginView.as_view(
                template_name="core/sign_in.html", redirect_authenticated_user=True
            )
        ),
        name="sign-in",
    ),
    path("sign-out/", auth_views.LogoutView.as_view(), name="sign-out"),
    path(
        "password/",
        auth_views.PasswordChangeView.as_view(
            template_name="core/change_password.html", success_url="/password/changed/"
        ),
        name="change-password",
    ),
    path(
        "password/changed/",
        auth_views.PasswordChangeDoneView.as_view(
            template_name="core/password_changed.html"
        ),
        name="password-changed",
    ),
    path("preferences/", views.preferences, name="preferences"),
    path("health/live", views.live, name="health-live"),
    path("health/ready", views.ready, name="health-ready"),
    path("buildings/<int:pk>/", building, name="building"),
    path("", include("jobs.urls")),
    path("", include("checks.urls")),
]

# The interface for programs is the one part that may be left out of a deployment.
if find_spec("api.urls"):
    urlpatterns.append(path("api/v1/", include("api.urls")))

handler400 = "core.views.bad_request"
handler500 = "core.views.server_error"
