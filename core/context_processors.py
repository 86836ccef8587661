"""What every page needs: navigation, units, light."""

from dataclasses import dataclass, replace

from django.apps import apps
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from core.models import Person

UNIT_STYLES = ("imperial", "decimal", "metric")
THEMES = ("auto", "light", "dark")


@dataclass(frozen=True, slots=True)
class NavigationEntry:
    """One entry of the main navigation."""

    label: str
    url: str
    current: bool


def build_navigation(path: str, role: str = "") -> list[NavigationEntry]:
    """Gather what the apps hand up in `AppConfig.navigation`.

    An entry that `AppConfig.navigation_for` names is only for accounts of its roles.
    On a page of one's own account, or of what is looked up, none is current.
    """
    found = _collect_entries(path, "navigation", role)
    if any(
        entry.current for entry in (*build_account_tabs(path), *build_footnotes(path))
    ):
        return [replace(entry, current=False) for entry in found]
    return found


def build_footnotes(path: str) -> list[NavigationEntry]:
    """Gather what the apps hand up to look things up in, for the foot of a page."""
    return _collect_entries(path, "footnotes")


def build_account_tabs(path: str) -> list[NavigationEntry]:
    """Gather the pages of one's account, as the apps hand them up in `account`."""
    return _collect_entries(path, "account")


def _collect_entries(
    path: str, attribute: str, role: str = ""
) -> list[NavigationEntry]:
    """Gather entries; the longest address that begins this page's is current."""
    found: list[tuple[str, str]] = []
    for config in apps.get_app_configs():
        only_for = getattr(config, "navigation_for", {})
        for label, name in getattr(config, attribute, ()):
            if name in only_for and role not in only_for[name]:
                continue
            try:
                found.append((label, reverse(name)))
            except NoReverseMatch:
                # A page that cannot be reached must not take every other page with
                # it; a test checks that each entry has an address.
                continue
    begins = [url for _, url in found if path.startswith(url)]
    current = max(begins, key=len, default=None)
    return [NavigationEntry(label, url, url == current) for label, url in found]


def get_display_preferences(request: HttpRequest) -> dict[str, str]:
    """How this person likes to read, as their browser remembers it."""
    units = request.COOKIES.get("units", "")
    theme = request.COOKIES.get("theme", "")
    return {
        "units": units if units in UNIT_STYLES else UNIT_STYLES[0],
        "theme": theme if theme in THEMES else THEMES[0],
    }


def page_context(request: HttpRequest) -> dict[str, object]:
    """Navigation for people signed in, and how this person likes to read."""
    user = getattr(request, "user", None)
    person = user if isinstance(user, Person) else None
    return {
        **get_display_preferences(request),
        "navigation": build_navigation(request.path, person.role) if person else [],
        "footnotes": build_footnotes(request.path) if person else [],
        "preferences_url": reverse("preferences"),
    }
