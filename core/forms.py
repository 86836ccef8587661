"""How forms are drawn, on every page alike, and what a visitor types."""

from django import forms
from django.forms.renderers import DjangoTemplates


class FieldRenderer(DjangoTemplates):
    """Draws `{{ form }}` and `{{ field.as_field_group }}` in the book's look."""

    form_template_name = "core/forms/form.html"
    field_template_name = "core/forms/field.html"


class PasswordResetRequestForm(forms.Form):
    """Where to send a letter with a link to set a new password."""

    address = forms.EmailField(
        label="E-mail address",
        max_length=254,
        widget=forms.EmailInput({"autocomplete": "email", "autofocus": True}),
    )
