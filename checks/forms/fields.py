"""Fields that several forms share: times, choices."""

from datetime import tzinfo
from zoneinfo import ZoneInfo

from django import forms
from django.utils.functional import lazy
from django.utils.timezone import get_current_timezone, get_current_timezone_name


def set_choices(form: forms.Form, name: str, choices: list[tuple[str, str]]) -> None:
    """Give a field of a form the choices that hold for this page."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)  # noqa: S101  # as declared
    field.choices = choices


# Named when the form is shown: in the zone of whoever reads it.
TIME_ZONE_HELP = lazy(get_current_timezone_name, str)()
OPTIONAL_TIME_HELP = lazy(
    lambda: f"{get_current_timezone_name()}; now, if left out.", str
)()
ZONE_NAME_HELP = lazy(
    lambda: f"Such as America/Chicago; {get_current_timezone_name()}, if left out.", str
)()


def parse_time_zone(name: str) -> tzinfo:
    """Find a time zone by its name; the reader's own where none is given."""
    try:
        return ZoneInfo(name.strip()) if name.strip() else get_current_timezone()
    except (KeyError, ValueError, OSError):
        msg = f"There is no time zone “{name}”: write one such as America/Chicago."
        raise forms.ValidationError(msg) from None
