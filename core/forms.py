"""Rendering of all forms, and the forms of accounts and preferences."""

from typing import Any

from django import forms
from django.forms.renderers import DjangoTemplates

from core.models import Person
from core.signing import SignedForm
from core.timezones import list_timezone_names


class FieldRenderer(DjangoTemplates):
    """Renders `{{ form }}` and `{{ field.as_field_group }}` with our templates."""

    form_template_name = "core/forms/form.html"
    field_template_name = "core/forms/field.html"


class PasswordResetRequestForm(forms.Form):
    """The e-mail address to send a password link to."""

    address = forms.EmailField(
        label="E-mail address",
        max_length=254,
        widget=forms.EmailInput({"autocomplete": "email", "autofocus": True}),
    )


class PreferencesForm(forms.Form):
    """Units, theme and time zone; each field is optional."""

    units = forms.ChoiceField(
        required=False, choices=[("", "as the plan"), *Person.Units.choices]
    )
    theme = forms.ChoiceField(required=False, choices=Person.Theme.choices)
    time_zone = forms.ChoiceField(required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = [(name, name.replace("_", " ")) for name in list_timezone_names()]
        self.fields["time_zone"].choices = [  # type: ignore[attr-defined]
            ("", "as this device"),
            *zones,
        ]


class NameForm(forms.Form):
    """The name of the person who is signed in."""

    first_name = forms.CharField(
        max_length=150, widget=forms.TextInput({"autocomplete": "given-name"})
    )
    last_name = forms.CharField(
        required=False,
        max_length=150,
        widget=forms.TextInput({"autocomplete": "family-name"}),
    )


class EmailAddressForm(SignedForm):
    """The e-mail address of the person who is signed in, with a signature."""

    email = forms.EmailField(
        label="E-mail address",
        max_length=254,
        widget=forms.EmailInput({"autocomplete": "email"}),
    )
    field_order = ("email", "password")
