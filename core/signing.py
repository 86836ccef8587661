"""What somebody signs: with their password again, or with a passkey of theirs."""

from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest

from core import passkeys
from core.models import Passkey, Person, SignatureMethod


class WriteOnlyHiddenInput(forms.HiddenInput):
    """A hidden field that a script fills in: what came in is not written out again."""

    def format_value(self, value: Any) -> None:
        """Give nothing: an assertion holds once."""


class AssertionField(forms.CharField):
    """What a browser answers a challenge with, as JSON."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=20_000, widget=WriteOnlyHiddenInput, **options)


class SignedForm(forms.Form):
    """A form that is signed: whoever sends it gives their password or a passkey."""

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
        """Whether whoever reads the page has a passkey to sign with here."""
        return passkeys.has_passkey_here(self.request)

    @property
    def signed_with(self) -> SignatureMethod:
        """What a valid form was signed with."""
        given = self.cleaned_data["assertion"]
        return SignatureMethod.PASSKEY if given else SignatureMethod.PASSWORD

    def clean(self) -> dict[str, Any]:
        """Verify one of the two: nothing is signed with neither."""
        given = super().clean() or self.cleaned_data
        self.fields["password"].required = True  # as the page shows it once more
        if given.get("assertion"):
            signed = self._authenticates(assertion=given["assertion"])
            msg = "This passkey does not hold here: try again, or give your password."
        elif "password" in given:
            signed = self._authenticates(password=given["password"])
            msg = "This is not your password."
        else:
            return given  # neither was given, and it is said so already
        if not signed:
            self.add_error("password", forms.ValidationError(msg, code="signature"))
        return given

    @property
    def person(self) -> Person:
        """Who signs."""
        person = self.request.user
        assert isinstance(person, Person)  # noqa: S101  # the page asks for sign-in
        return person

    def _authenticates(self, **given: str) -> bool:
        """Ask the guard against guessing, and whoever verifies it."""
        username = self.person.get_username()
        found = authenticate(self.request, username=username, **given)
        return found is not None and found.pk == self.person.pk


class AssertionForm(forms.Form):
    """What a passkey signed, and nothing else."""

    assertion = AssertionField()

    def __init__(self, *args: Any, request: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)


class AddPasskeyForm(SignedForm):
    """What a new passkey is called, signed."""

    name = forms.CharField(
        max_length=60,
        help_text="Such as the device it is on: office desk, yellow phone.",
    )
    field_order = ("name", "password")

    def clean_name(self) -> str:
        """Refuse a name one has already, and more passkeys than anybody needs."""
        name: str = self.cleaned_data["name"]
        mine = list(Passkey.objects.of(self.person))
        if any(key.name == name for key in mine):
            raise forms.ValidationError("You have a passkey of this name.")
        if len(mine) >= passkeys.MAX_PASSKEYS:
            msg = f"You have {passkeys.MAX_PASSKEYS} passkeys: remove one first."
            raise forms.ValidationError(msg)
        return name


class RemovePasskeyForm(SignedForm):
    """The removal of a passkey, signed with the password or another one."""

    def __init__(self, *args: Any, key: Passkey, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.key = key

    @property
    def takes_passkey(self) -> bool:
        """Whether there is another one to sign with here."""
        return passkeys.has_passkey_here(self.request, but=self.key)

    def clean_assertion(self) -> str:
        """Refuse the one that is to be removed."""
        assertion: str = self.cleaned_data["assertion"]
        if assertion and passkeys.find_passkey(assertion) == self.key:
            msg = "Sign with another passkey than the one you remove."
            self.add_error("password", forms.ValidationError(msg, code="same"))
            return ""
        return assertion
