"""Forms that are signed with the password or a passkey."""

from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest

from core import passkeys
from core.models import Passkey, Person, SignatureMethod


class WriteOnlyHiddenInput(forms.HiddenInput):
    """A hidden field filled in by a script, and never rendered with its value."""

    def format_value(self, value: Any) -> None:
        """Render no value: an assertion is valid once."""


class AssertionField(forms.CharField):
    """The answer of a browser to a challenge, as JSON."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=20_000, widget=WriteOnlyHiddenInput, **options)


class SignedForm(forms.Form):
    """A form that needs the password or a passkey of its sender as signature."""

    password = forms.CharField(
        label="Your password, as signature",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    assertion = AssertionField(required=False)

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        if self.data.get("assertion"):
            self.fields["password"].required = False

    @property
    def takes_passkey(self) -> bool:
        """Return whether the reader has a passkey for this address."""
        return passkeys.has_passkey_here(self.request)

    @property
    def signed_with(self) -> SignatureMethod:
        """Return how a valid form was signed."""
        given = self.cleaned_data["assertion"]
        return SignatureMethod.PASSKEY if given else SignatureMethod.PASSWORD

    def clean(self) -> dict[str, Any]:
        """Verify the password or the passkey; one of them is required."""
        given = super().clean() or self.cleaned_data
        self.fields["password"].required = True  # for the page that shows it again
        if given.get("assertion"):
            signed = self._authenticates(assertion=given["assertion"])
            msg = "This passkey is not valid here. Try again, or enter your password."
        elif "password" in given:
            signed = self._authenticates(password=given["password"])
            msg = "This is not your password."
        else:
            return given  # neither was sent; the field has its error already
        if not signed:
            self.add_error("password", forms.ValidationError(msg, code="signature"))
        return given

    @property
    def person(self) -> Person:
        """Return the person who signs."""
        person = self.request.user
        assert isinstance(person, Person)  # noqa: S101  # the page requires sign-in
        return person

    def _authenticates(self, **given: str) -> bool:
        """Authenticate the sender; failures count towards the lock."""
        username = self.person.get_username()
        found = authenticate(self.request, username=username, **given)
        return found is not None and found.pk == self.person.pk


class AssertionForm(forms.Form):
    """The answer of a passkey, without any other field."""

    assertion = AssertionField()

    def __init__(self, *args: Any, request: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)


class AddPasskeyForm(SignedForm):
    """The name of a new passkey, with a signature."""

    name = forms.CharField(
        max_length=60,
        help_text="For example the device: office desk, yellow phone.",
    )
    field_order = ("name", "password")

    def clean_name(self) -> str:
        """Refuse a name in use, and too many passkeys."""
        name: str = self.cleaned_data["name"]
        mine = list(Passkey.objects.of(self.person))
        if any(key.name == name for key in mine):
            raise forms.ValidationError("You have a passkey with this name already.")
        if len(mine) >= passkeys.MAX_PASSKEYS:
            msg = f"You have {passkeys.MAX_PASSKEYS} passkeys. Remove one first."
            raise forms.ValidationError(msg)
        return name


class RemovePasskeyForm(SignedForm):
    """The removal of a passkey, signed with the password or another passkey."""

    def __init__(self, *args: Any, key: Passkey, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.key = key

    @property
    def takes_passkey(self) -> bool:
        """Return whether the reader has another passkey for this address."""
        return passkeys.has_passkey_here(self.request, but=self.key)

    def clean_assertion(self) -> str:
        """Refuse the passkey that is to be removed."""
        assertion: str = self.cleaned_data["assertion"]
        if assertion and passkeys.find_passkey(assertion) == self.key:
            msg = "Sign with a passkey other than the one you remove."
            self.add_error("password", forms.ValidationError(msg, code="same"))
            return ""
        return assertion
