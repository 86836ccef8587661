"""Time zone of the reader: set on the account, otherwise reported by the browser.

The record stores every time in UTC, and signed documents print UTC. Pages show and
take times in the reader's zone.
"""

from collections.abc import Callable
from functools import lru_cache
from zoneinfo import ZoneInfo, available_timezones

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from core.preferences import load_preferences


@lru_cache(maxsize=1)
def _timezone_names() -> frozenset[str]:
    return frozenset(available_timezones())


def get_timezone(name: str) -> ZoneInfo | None:
    """Return a time zone by its name in the IANA database; None if there is none."""
    return ZoneInfo(name) if name in _timezone_names() else None


def list_timezone_names() -> list[str]:
    """List the zones that a person can choose: places, and UTC."""
    places = [name for name in _timezone_names() if _is_place(name)]
    return ["UTC", *sorted(places)]


def activate_user_timezone(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Show and take times in the reader's zone; in the site's where it is not known."""

    def middleware(request: HttpRequest) -> HttpResponse:
        # A health check must not depend on the session or the database.
        if request.path.startswith("/health/"):
            return get_response(request)
        zone = get_timezone(load_preferences(request).time_zone)
        if zone is None:
            return get_response(request)
        with timezone.override(zone):
            return get_response(request)

    return middleware


def _is_place(name: str) -> bool:
    """Return whether a zone is a place, and no alias such as `EST` or `Etc/GMT+3`."""
    return "/" in name and not name.startswith(("Etc/", "SystemV/", "US/", "posix/"))
