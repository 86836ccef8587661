"""Times as the reader's clock has them: the browser says in which zone it is.

The record keeps every time in UTC, and what is signed is printed in UTC; pages show and
take times in the zone of whoever reads them.
"""

from collections.abc import Callable
from functools import lru_cache
from zoneinfo import ZoneInfo, available_timezones

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

TIMEZONE_COOKIE = "zone"


@lru_cache(maxsize=1)
def _timezone_names() -> frozenset[str]:
    return frozenset(available_timezones())


def get_timezone(name: str) -> ZoneInfo | None:
    """Give a time zone by its name in the IANA database; None for any other word."""
    return ZoneInfo(name) if name in _timezone_names() else None


def activate_user_timezone(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Show and take times in the zone the browser named; in the server's otherwise."""

    def middleware(request: HttpRequest) -> HttpResponse:
        zone = get_timezone(request.COOKIES.get(TIMEZONE_COOKIE, ""))
        if zone is None:
            return get_response(request)
        with timezone.override(zone):
            return get_response(request)

    return middleware
