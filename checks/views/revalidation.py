"""Pages of a building that did not change are not rendered again (RFC 9110, 13)."""

import hashlib
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.messages import get_messages
from django.http import HttpResponse
from django.utils.cache import get_conditional_response, patch_cache_control
from django.utils.timezone import get_current_timezone_name, localdate

from checks.queries.building_version import read_building_version
from checks.views.readings import get_visible_building
from checks.views.view_log import Kind, log_view
from core.preferences import load_preferences
from core.requests import AuthenticatedRequest
from jobs.models import Building

View = Callable[..., HttpResponse]


def revalidate_page(kind: Kind | None = None) -> Callable[[View], View]:
    """Answer a GET of a building's page with 304 where its reader has it already.

    Parameters
    ----------
    kind : recorded in the log of views, also for a page the reader had already.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def answer(
            request: AuthenticatedRequest, pk: int, *args: Any, **kwargs: Any
        ) -> HttpResponse:
            building = get_visible_building(request, pk)
            if kind is not None:
                log_view(request, building, kind, pk)
            # A page with a message is shown once, and never again.
            if len(get_messages(request)):
                return view(request, pk, *args, **kwargs)
            etag = build_page_etag(request, building)
            response = get_conditional_response(request, etag=etag)
            if response is None:
                response = view(request, pk, *args, **kwargs)
                response["ETag"] = etag
            # The browser asks each time: access may have ended.
            patch_cache_control(response, private=True, no_cache=True)
            return response

        return answer

    return decorate


def build_page_etag(request: AuthenticatedRequest, building: Building) -> str:
    """Build the ETag of a page from the building's version, its reader and the day.

    A form's CSRF token is valid with the cookie it was made for, so that a page kept
    by the browser is good for as long as the cookie is the same.
    """
    person = request.user
    parts = (
        read_building_version(building),
        person.pk,
        person,
        person.role,
        load_preferences(request),
        get_current_timezone_name(),
        localdate(),
        request.META.get("CSRF_COOKIE", ""),
        request.headers.get("HX-Request", ""),
        request.get_full_path(),
    )
    text = "\n".join(map(str, parts))
    return f'"{hashlib.sha256(text.encode()).hexdigest()}"'
