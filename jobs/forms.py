"""What people type about jobs, people and documents, and what is wrong with it."""

from typing import Any, ClassVar, cast

from django import forms
from django.db.models import QuerySet

from core.models import Person
from jobs.models import Job, Stage
from jobs.queries import JobFilter
from jobs.services import JOB_ROLES


class JobFilterForm(forms.Form):
    """What the list of jobs is asked for, in its address."""

    text = forms.CharField(
        label="Number, name, customer, site",
        required=False,
        max_length=100,
        widget=forms.TextInput({"type": "search"}),
    )
    stage = forms.ChoiceField(
        choices=[("", "any stage"), *Stage.Kind.choices], required=False
    )
    state = forms.ChoiceField(
        choices=[("", "any state"), *Stage.State.choices], required=False
    )
    within = forms.IntegerField(
        label="Ships within (days)",
        required=False,
        min_value=0,
        max_value=3650,
        widget=forms.NumberInput({"inputmode": "numeric"}),
    )
    status = forms.ChoiceField(
        label="Show",
        choices=[("", "jobs in hand"), ("finished", "completed jobs"), ("all", "all")],
        required=False,
    )
    findings = forms.BooleanField(label="has open findings", required=False)
    waiting = forms.BooleanField(label="waits for me", required=False)
    mine = forms.BooleanField(label="I work on it", required=False)

    def to_filter(self) -> JobFilter:
        """Give what can be understood of the address; the rest is left out."""
        self.is_valid()
        given = {key: value for key, value in self.cleaned_data.items() if value}
        if self.cleaned_data.get("within") == 0:
            given["within"] = 0
        return JobFilter(**given)


class JobForm(forms.ModelForm):
    """What a job is called, where it is and when it ships."""

    class Meta:
        model = Job
        fields: ClassVar = ["number", "name", "customer", "site", "ship_date"]
        labels: ClassVar = {"number": "Job number", "ship_date": "Ship date"}
        widgets: ClassVar = {
            "ship_date": forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
        }
        error_messages: ClassVar = {
            "number": {
                "unique": "Another job has this number: each job has its own.",
            },
        }


class NewJobForm(JobForm):
    """A job and the people on it."""

    operations = forms.ModelMultipleChoiceField(
        Person.objects.none(),
        label="Operations managers",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    field = forms.ModelMultipleChoiceField(
        Person.objects.none(),
        label="Field leads",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    engineer = forms.ModelMultipleChoiceField(
        Person.objects.none(),
        label="Engineers",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, actor: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_active=True).exclude(pk=actor.pk)
        for role in JOB_ROLES:
            _set_queryset(self.fields[role.value], people.filter(role=role))

    def to_arguments(self) -> dict[str, Any]:
        """Give what `open_job` wants to know."""
        data = dict(self.cleaned_data)
        chosen = [(role, data.pop(role.value)) for role in JOB_ROLES]
        data["people"] = [
            (person, role.value) for role, people in chosen for person in people
        ]
        return data


def _set_queryset(field: forms.Field, people: QuerySet[Person]) -> None:
    cast("forms.ModelChoiceField[Person]", field).queryset = people


class MembershipForm(forms.Form):
    """A person's part in a job; no part takes them off it."""

    person = forms.ModelChoiceField(Person.objects.all(), empty_label="choose a person")
    role = forms.ChoiceField(
        label="Part",
        required=False,
        choices=[(role.value, role.label) for role in JOB_ROLES],
    )

    def limit_people(self, people: QuerySet[Person]) -> None:
        """Let these people be chosen, and nobody else."""
        _set_queryset(self.fields["person"], people)

    def to_arguments(self) -> dict[str, Any]:
        """Give what `set_member` wants to know."""
        data = self.cleaned_data
        return {"person": data["person"], "role": data["role"] or None}
