"""Health, preferences, errors: the pages that belong to no trade."""

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.template import loader
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST
from kombu.exceptions import OperationalError

from core.celery import app as celery_app
from core.context_processors import THEMES, UNIT_STYLES, get_display_preferences

PREFERENCE_MAX_AGE_S = 365 * 24 * 3600


@login_not_required
@never_cache
@require_GET
def health_live(request: HttpRequest) -> HttpResponse:
    """Answer that the process runs, whatever it depends on."""
    return JsonResponse({"status": "live"})


@login_not_required
@never_cache
@require_GET
def health_ready(request: HttpRequest) -> HttpResponse:
    """Answer whether a request could be served: database, migrations, broker."""
    faults = {"database": _check_database(), "broker": _check_broker()}
    state = {name: fault or "ready" for name, fault in faults.items()}
    healthy = not any(faults.values())
    return JsonResponse(
        {"status": "ready" if healthy else "not ready", **state},
        status=200 if healthy else 503,
    )


def _check_database() -> str:
    try:
        executor = MigrationExecutor(connection)
        targets = executor.loader.graph.leaf_nodes()
        return "migrations missing" if executor.migration_plan(targets) else ""
    except DatabaseError:
        return "not reachable"


def _check_broker() -> str:
    try:
        with celery_app.connection_for_write() as broker:
            broker.ensure_connection(max_retries=1, timeout=2)
    except (OperationalError, OSError):
        return "not reachable"
    return ""


@login_not_required
@require_POST
def save_preferences(request: HttpRequest) -> HttpResponse:
    """Remember units or light in a cookie and go back to the page."""
    back = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(
        back, {request.get_host()}, require_https=request.is_secure()
    ):
        back = "/"
    response = HttpResponseRedirect(back)
    for name, allowed in (("units", UNIT_STYLES), ("theme", THEMES)):
        value = request.POST.get(name)
        if value in allowed:
            response.set_cookie(
                name,
                value,
                max_age=PREFERENCE_MAX_AGE_S,
                samesite="Lax",
                secure=settings.SESSION_COOKIE_SECURE,
            )
    return response


def server_error(request: HttpRequest) -> HttpResponse:
    """Say sorry."""
    return _render_without_session(request, "500.html", 500)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say that a request could not be read."""
    return _render_without_session(request, "400.html", 400)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say that a form had gone stale."""
    return _render_without_session(request, "403_csrf.html", 403)


def _render_without_session(
    request: HttpRequest, template: str, status: int
) -> HttpResponse:
    """Show a page without asking the database or the session for anything."""
    bare = {"navigation": [], "footnotes": [], "preferences_url": ""}
    context = {**get_display_preferences(request), **bare}
    return HttpResponse(loader.render_to_string(template, context), status=status)
