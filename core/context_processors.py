"""What every page needs: navigation, units, light."""

from dataclasses import dataclass

from django.apps import apps
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

UNITS = ("imperial", "decimal", "metric")
THEMES = ("auto", "light", "dark")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the main navigation."""

    label: str
    url: str
    current: bool


def navigation_of(path: str) -> list[Entry]:
    """Gather what the apps hand up in `AppConfig.navigation`.

    The entry with the longest address that begins this page's address is current.
    """
    found: list[tuple[str, str]] = []
    for config in apps.get_app_configs():
        for label, name in getattr(config, "navigation", ()):
            try:
                found.append((label, reverse(name)))
            except NoReverseMatch:
                # A page that cannot be reached must not take every other page with
                # it; a test checks that each entry has an address.
                continue
    begins = [url for _, url in found if path.startswith(url)]
    current = max(begins, key=len, default=None)
    return [Entry(label, url, url == current) for label, url in found]


def readers_choice(request: HttpRequest) -> dict[str, str]:
    """How this person likes to read, as their browser remembers it."""
    units = request.COOKIES.get("units", "")
    theme = request.COOKIES.get("theme", "")
    return {
        "units": units if units in UNITS else UNITS[0],
        "theme": theme if theme in THEMES else THEMES[0],
    }


def page(request: HttpRequest) -> dict[str, object]:
    """Navigation for people signed in, and how this person likes to read."""
    user = getattr(request, "user", None)
    signed_in = user is not None and user.is_authenticated
    return {
        **readers_choice(request),
        "navigation": navigation_of(request.path) if signed_in else [],
        "preferences_url": reverse("preferences"),
    }
