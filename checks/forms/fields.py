"""Helpers of several forms: times, time zones and choices."""

from datetime import tzinfo
from zoneinfo import ZoneInfo

from django import forms
from django.utils.functional import lazy
from django.utils.timezone import get_current_timezone, get_current_timezone_name


def set_choices(form: forms.Form, name: str, choices: list[tuple[str, str]]) -> None:
    """Set the choices of a field for this page."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)  # noqa: S101  # as declared
    field.choices = choices


# Lazy: the reader's time zone is known only when the form is shown.
TIME_ZONE_HELP = lazy(get_current_timezone_name, str)()
OPTIONAL_TIME_HELP = lazy(
    lambda: f"{get_current_timezone_name()}; empty means now.", str
)()
ZONE_NAME_HELP = lazy(
    lambda: f"Such as America/Chicago; empty means {get_current_timezone_name()}.", str
)()


def parse_time_zone(name: str) -> tzinfo:
    """Return a time zone by its name; the reader's own for an empty name."""
    try:
        return ZoneInfo(name.strip()) if name.strip() else get_current_timezone()
    except (KeyError, ValueError, OSError):
        msg = f"Unknown time zone “{name}”. Use a name such as America/Chicago."
        raise forms.ValidationError(msg) from None
