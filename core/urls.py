"""The root of every address; the one place that names every app."""

from importlib.util import find_spec

from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, URLResolver, include, path

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
]

try:
    from checks.views.plans import building

    urlpatterns.append(path("buildings/<int:pk>/", building, name="building"))
except ImportError:
    pass
for prefix, module in (("", "jobs.urls"), ("", "checks.urls"), ("api/v1/", "api.urls")):
    try:
        if find_spec(module):
            urlpatterns.append(path(prefix, include(module)))
    except ImportError:
        pass

handler500 = "core.views.server_error"
