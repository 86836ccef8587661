"""Forms for people, invitations and accounts."""

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
    """Filters of the list of people, from the query string."""

    text = forms.CharField(
        label="Name or e-mail",
        required=False,
        max_length=100,
        widget=forms.TextInput({"type": "search"}),
    )
    role = forms.ChoiceField(choices=[("", "Any role"), *Role.choices], required=False)
    closed = forms.BooleanField(label="Closed accounts", required=False)

    def to_filter(self) -> PeopleFilter:
        """Return the valid filters; invalid parameters are ignored."""
        self.is_valid()
        chosen = {key: value for key, value in self.cleaned_data.items() if value}
        return PeopleFilter(**chosen)


class InvitationForm(forms.Form):
    """Address, role and jobs of an invitation."""

    address = forms.EmailField(label="E-mail address", max_length=254)
    role = forms.ChoiceField()
    jobs = forms.CharField(
        label="Job numbers",
        required=False,
        max_length=2000,
        help_text="Separate with commas.",
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
        """Find the jobs by their numbers among those the person may invite to."""
        typed = [word.strip() for word in self.cleaned_data["jobs"].split(",")]
        numbers = list(dict.fromkeys(word for word in typed if word))
        found = {
            job.number: job
            for job in list_invitable_jobs(self.actor).filter(number__in=numbers)
        }
        if missing := [number for number in numbers if number not in found]:
            msg = f"You have no job with this number: {', '.join(missing)}."
            raise forms.ValidationError(msg, code="unknown")
        return [found[number] for number in numbers]


class RoleForm(forms.Form):
    """New role of an account."""

    role = forms.ChoiceField(choices=Role.choices)


class AcceptInvitationForm(UserCreationForm):  # type: ignore[type-arg]  # not generic at run time
    """The account that an invited person creates."""

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
        ].help_text = (
            "At least 10 characters. Not similar to your name, not a common password."
        )
        self.fields["password2"].help_text = ""

    def to_arguments(self) -> dict[str, str]:
        """Return the arguments of `accept_invitation`."""
        data = self.cleaned_data
        names = ("username", "first_name", "last_name")
        return {name: data[name] for name in names} | {"password": data["password1"]}
