"""Forms for jobs and memberships."""

from typing import Any, ClassVar, cast

from django import forms
from django.db.models import QuerySet

from core.models import Person
from jobs.models import Job, Stage
from jobs.queries import JobFilter
from jobs.services import JOB_ROLES


class JobFilterForm(forms.Form):
    """Filters of the list of jobs, from the query string."""

    text = forms.CharField(
        label="Number, name, customer, site",
        required=False,
        max_length=100,
        widget=forms.TextInput({"type": "search"}),
    )
    stage = forms.ChoiceField(
        choices=[("", "Any stage"), *Stage.Kind.choices], required=False
    )
    state = forms.ChoiceField(
        choices=[("", "Any state"), *Stage.State.choices], required=False
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
        choices=[
            ("", "Active jobs"),
            ("finished", "Completed jobs"),
            ("all", "All jobs"),
        ],
        required=False,
    )
    findings = forms.BooleanField(label="Open findings", required=False)
    waiting = forms.BooleanField(label="Needs my action", required=False)
    mine = forms.BooleanField(label="I am a member", required=False)

    def to_filter(self) -> JobFilter:
        """Return the valid filters; invalid parameters are ignored."""
        self.is_valid()
        chosen = {key: value for key, value in self.cleaned_data.items() if value}
        # 0 days is a filter ("ships today or is overdue"), though it is falsy.
        if self.cleaned_data.get("within") == 0:
            chosen["within"] = 0
        return JobFilter(**chosen)


class JobForm(forms.ModelForm):  # type: ignore[type-arg]  # not generic at run time
    """Number, name, customer, site and ship date of a job."""

    class Meta:
        model = Job
        fields: ClassVar = ["number", "name", "customer", "site", "ship_date"]
        labels: ClassVar = {"number": "Job number", "ship_date": "Ship date"}
        widgets: ClassVar = {
            "ship_date": forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
        }
        error_messages: ClassVar = {
            "number": {
                "unique": "Another job has this number. Use a different one.",
            },
        }


class NewJobForm(JobForm):
    """A new job and its members."""

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
        # The actor becomes a member by creating the job.
        people = Person.objects.filter(is_active=True).exclude(pk=actor.pk)
        for role in JOB_ROLES:
            _set_queryset(self.fields[role.value], people.filter(role=role))

    def to_arguments(self) -> dict[str, Any]:
        """Return the arguments of `create_job`."""
        data = dict(self.cleaned_data)
        chosen = [(role, data.pop(role.value)) for role in JOB_ROLES]
        data["people"] = [
            (person, role.value) for role, people in chosen for person in people
        ]
        return data


def _set_queryset(field: forms.Field, people: QuerySet[Person]) -> None:
    cast("forms.ModelChoiceField[Person]", field).queryset = people


class MembershipForm(forms.Form):
    """A person's role on a job; without a role, the person is removed."""

    person = forms.ModelChoiceField(Person.objects.all(), empty_label="Choose a person")
    role = forms.ChoiceField(
        label="Role",
        required=False,
        choices=[(role.value, role.label) for role in JOB_ROLES],
    )

    def limit_people(self, people: QuerySet[Person]) -> None:
        """Limit the choice to these people."""
        _set_queryset(self.fields["person"], people)

    def to_arguments(self) -> dict[str, Any]:
        """Return the arguments of `set_membership`."""
        data = self.cleaned_data
        return {"person": data["person"], "role": data["role"] or None}
