"""Fields that several forms share: times, choices, the signature."""

from datetime import tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest
from django.utils.functional import lazy
from django.utils.timezone import get_current_timezone, get_current_timezone_name

from core.models import Person


def choose(form: forms.Form, name: str, choices: list[tuple[str, str]]) -> None:
    """Give a field of a form the choices that hold for this page."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)  # noqa: S101  # as declared
    field.choices = choices


# Named when the form is shown: in the zone of whoever reads it.
YOUR_TIME = lazy(get_current_timezone_name, str)()
YOUR_TIME_OR_NOW = lazy(
    lambda: f"{get_current_timezone_name()}; now, if left out.", str
)()
ZONE_OR_YOURS = lazy(
    lambda: f"Such as America/Chicago; {get_current_timezone_name()}, if left out.", str
)()


def read_zone(name: str) -> tzinfo:
    """Find a time zone by its name; the reader's own where none is given."""
    try:
        return ZoneInfo(name.strip()) if name.strip() else get_current_timezone()
    except (KeyError, ValueError, OSError):
        msg = f"There is no time zone “{name}”: write one such as America/Chicago."
        raise forms.ValidationError(msg) from None


class SignedForm(forms.Form):
    """A form that is signed: whoever sends it gives their password again."""

    password = forms.CharField(
        label="Your password, as signature",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request

    def clean_password(self) -> str:
        """Check the password of whoever is signed in."""
        password: str = self.cleaned_data["password"]
        person = self.request.user
        assert isinstance(person, Person)  # noqa: S101  # the page asks for sign-in
        found = authenticate(
            self.request, username=person.get_username(), password=password
        )
        if found is None or found.pk != person.pk:
            raise forms.ValidationError("This is not your password.", code="password")
        return password
