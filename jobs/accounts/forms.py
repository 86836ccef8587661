"""What people type about people."""

from typing import Any, ClassVar, cast

from django import forms
from django.contrib.auth.forms import UserCreationForm, UsernameField

from core.models import Person, Role
from jobs.accounts.invitations import (
    USERNAME_TAKEN,
    list_invitable_jobs,
    list_invitable_roles,
)
from jobs.accounts.queries import PeopleFilter
from jobs.models import Job


class PeopleFilterForm(forms.Form):
    """What the list of people is asked for, in its address."""

    text = forms.CharField(
        label="Name or address",
        required=False,
        max_length=100,
        widget=forms.TextInput({"type": "search"}),
    )
    role = forms.ChoiceField(choices=[("", "any role"), *Role.choices], required=False)
    closed = forms.BooleanField(label="closed accounts", required=False)

    def to_filter(self) -> PeopleFilter:
        """Give what can be understood of the address; the rest is left out."""
        self.is_valid()
        given = {key: value for key, value in self.cleaned_data.items() if value}
        return PeopleFilter(**given)


class InvitationForm(forms.Form):
    """Whom to invite, as what, and onto which jobs."""

    address = forms.EmailField(label="E-mail address", max_length=254)
    role = forms.ChoiceField()
    jobs = forms.CharField(
        label="Job numbers",
        required=False,
        max_length=2000,
        help_text="With commas between them.",
    )

    def __init__(self, *args: Any, actor: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.actor = actor
        role = cast("forms.ChoiceField", self.fields["role"])
        role.choices = [
            (each.value, each.label) for each in list_invitable_roles(actor)
        ]
        self.fields["jobs"].required = not actor.is_administrator

    def clean_jobs(self) -> list[Job]:
        """Find the jobs of these numbers among those one may invite onto."""
        typed = [word.strip() for word in self.cleaned_data["jobs"].split(",")]
        numbers = list(dict.fromkeys(word for word in typed if word))
        found = {
            job.number: job
            for job in list_invitable_jobs(self.actor).filter(number__in=numbers)
        }
        if missing := [number for number in numbers if number not in found]:
            numbered = ", ".join(missing)
            msg = f"None of your jobs has this number: {numbered}."
            raise forms.ValidationError(msg, code="unknown")
        return [found[number] for number in numbers]


class RoleForm(forms.Form):
    """Another role for an account."""

    role = forms.ChoiceField(choices=Role.choices)


class AcceptInvitationForm(UserCreationForm):
    """The account that somebody invited makes for themselves."""

    class Meta:
        model = Person
        fields: ClassVar = ["username", "first_name", "last_name"]
        field_classes: ClassVar = {"username": UsernameField}
        error_messages: ClassVar = {"username": {"unique": USERNAME_TAKEN}}
        help_texts: ClassVar = {"username": "Letters, digits and @ . + - _"}

    def __init__(self, *args: Any, address: str, **kwargs: Any) -> None:
        super().__init__(*args, instance=Person(email=address), **kwargs)
        for name in ("first_name", "last_name"):
            self.fields[name].required = True
        self.fields[
            "password1"
        ].help_text = "At least 10 characters, not like your name, no common password."
        self.fields["password2"].help_text = ""

    def to_arguments(self) -> dict[str, str]:
        """Give what `accept` wants to know."""
        data = self.cleaned_data
        names = ("username", "first_name", "last_name")
        return {name: data[name] for name in names} | {"password": data["password1"]}
