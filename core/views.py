"""Health checks, preferences and error pages."""

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
from core.context_processors import build_display_context
from core.forms import PreferencesForm
from core.models import Person
from core.preferences import (
    peek_preferences,
    save_account_preferences,
    save_visitor_preferences,
)


@login_not_required
@never_cache
@require_GET
def health_live(request: HttpRequest) -> HttpResponse:
    """Answer that the process runs, whatever the services behind it do."""
    return JsonResponse({"status": "live"})


@login_not_required
@never_cache
@require_GET
def health_ready(request: HttpRequest) -> HttpResponse:
    """Answer whether requests can be served: database, migrations, broker."""
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
    """Save units, theme or time zone, and go back to the page.

    They belong to the account of a person who is signed in; a visitor has cookies.
    """
    target = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(
        target, {request.get_host()}, require_https=request.is_secure()
    ):
        target = "/"
    response = HttpResponseRedirect(target)
    form = PreferencesForm(request.POST)
    form.full_clean()
    # A field that is missing or not valid leaves its preference as it is.
    chosen = {
        name: value for name, value in form.cleaned_data.items() if name in request.POST
    }
    if isinstance(request.user, Person):
        save_account_preferences(actor=request.user, **chosen)
    else:
        save_visitor_preferences(
            response, units=chosen.get("units"), theme=chosen.get("theme")
        )
    return response


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer a fault of the server."""
    return _render_without_session(request, "500.html", 500)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that cannot be read."""
    return _render_without_session(request, "400.html", 400)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form whose CSRF token is not valid any more."""
    return _render_without_session(request, "403_csrf.html", 403)


def _render_without_session(
    request: HttpRequest, template: str, status: int
) -> HttpResponse:
    """Render a page without asking the database or the session."""
    context = {
        **build_display_context(peek_preferences(request)),
        "navigation": [],
        "footnotes": [],
        "preferences_url": "",
    }
    return HttpResponse(loader.render_to_string(template, context), status=status)
