"""Context of every page: navigation, and the reader's units and theme."""

from dataclasses import dataclass, replace

from django.apps import apps
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from core.models import Person
from core.preferences import (
    THEMES,
    UNIT_STYLES,
    DisplayPreferences,
    load_preferences,
)


@dataclass(frozen=True, slots=True)
class NavigationEntry:
    """One entry of the main navigation."""

    label: str
    url: str
    current: bool


def build_navigation(path: str, role: str = "") -> list[NavigationEntry]:
    """Collect the navigation entries declared in `AppConfig.navigation`.

    `AppConfig.navigation_for` limits an entry to accounts with certain roles. No entry
    is current on the pages of the account and of the footer.
    """
    entries = _collect_entries(path, "navigation", role)
    if any(
        entry.current
        for entry in (*build_account_tabs(path), *build_footnotes(path, role))
    ):
        return [replace(entry, current=False) for entry in entries]
    return entries


def build_footnotes(path: str, role: str = "") -> list[NavigationEntry]:
    """Collect the footer entries declared in `AppConfig.footnotes`."""
    return _collect_entries(path, "footnotes", role)


def build_account_tabs(path: str) -> list[NavigationEntry]:
    """Collect the pages of the account declared in `AppConfig.account`."""
    return _collect_entries(path, "account")


def _collect_entries(
    path: str, attribute: str, role: str = ""
) -> list[NavigationEntry]:
    """Collect entries; the one with the longest matching address is current."""
    found: list[tuple[str, str]] = []
    for config in apps.get_app_configs():
        only_for = getattr(config, "navigation_for", {})
        for label, name in getattr(config, attribute, ()):
            if name in only_for and role not in only_for[name]:
                continue
            try:
                found.append((label, reverse(name)))
            except NoReverseMatch:
                # One missing page must not break every other page; a test checks that
                # each entry has an address.
                continue
    matching = [url for _, url in found if path.startswith(url)]
    current = max(matching, key=len, default=None)
    return [NavigationEntry(label, url, url == current) for label, url in found]


def build_display_context(preferences: DisplayPreferences) -> dict[str, str]:
    """Build the units and theme of a page from the reader's preferences."""
    return {
        "units": preferences.units or UNIT_STYLES[0],
        "theme": preferences.theme or THEMES[0],
    }


def page_context(request: HttpRequest) -> dict[str, object]:
    """Build the context of a page: navigation for people signed in, units and theme."""
    user = getattr(request, "user", None)
    person = user if isinstance(user, Person) else None
    return {
        **build_display_context(load_preferences(request)),
        "navigation": build_navigation(request.path, person.role) if person else [],
        "footnotes": build_footnotes(request.path, person.role) if person else [],
        "preferences_url": reverse("preferences"),
    }
