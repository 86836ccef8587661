"""Display preferences: units, theme and time zone, of the account or of a visitor.

A visitor who is not signed in has them in cookies. Pages for errors must not ask the
database, so they take what is loaded already.
"""

from dataclasses import dataclass

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from core.models import Person

UNIT_STYLES = tuple(Person.Units.values)
THEMES = tuple(Person.Theme.values)
PREFERENCE_MAX_AGE_S = 365 * 24 * 3600
BROWSER_TIME_ZONE_COOKIE = "zone"


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayPreferences:
    """How a person wants to read the pages.

    Attributes
    ----------
    units : one of `UNIT_STYLES`; empty for the unit of each building's plan.
    theme : one of `THEMES`; empty for that of the device.
    time_zone : name in the IANA database; empty for that of the site.
    """

    units: str = ""
    theme: str = ""
    time_zone: str = ""


def load_preferences(request: HttpRequest) -> DisplayPreferences:
    """Load the preferences of the person or visitor who sent a request."""
    person = getattr(request, "user", None)
    return _get_preferences(request, person if isinstance(person, Person) else None)


def peek_preferences(request: HttpRequest) -> DisplayPreferences:
    """Return the preferences without loading the session or the account."""
    person = vars(request).get("_cached_user")
    return _get_preferences(request, person if isinstance(person, Person) else None)


def _get_preferences(request: HttpRequest, person: Person | None) -> DisplayPreferences:
    cookies = request.COOKIES
    browser_zone = cookies.get(BROWSER_TIME_ZONE_COOKIE, "")
    if person is not None:
        return DisplayPreferences(
            units=person.units,
            theme=person.theme,
            time_zone=person.time_zone or browser_zone,
        )
    units, theme = cookies.get("units", ""), cookies.get("theme", "")
    return DisplayPreferences(
        units=units if units in UNIT_STYLES else "",
        theme=theme if theme in THEMES else "",
        time_zone=browser_zone,
    )


def save_account_preferences(
    *,
    actor: Person,
    units: str | None = None,
    theme: str | None = None,
    time_zone: str | None = None,
) -> None:
    """Save the preferences that are given on the actor's account."""
    changes = {"units": units, "theme": theme, "time_zone": time_zone}
    given = {name: value for name, value in changes.items() if value is not None}
    if given:
        Person.objects.filter(pk=actor.pk).update(**given)


def save_visitor_preferences(response: HttpResponse, **values: str | None) -> None:
    """Save the preferences that are given in cookies of a visitor."""
    for name, value in values.items():
        if value:
            response.set_cookie(
                name,
                value,
                max_age=PREFERENCE_MAX_AGE_S,
                samesite="Lax",
                secure=settings.SESSION_COOKIE_SECURE,
            )
