"""Forms for e-mail preferences and webhooks."""

from typing import Any

from django import forms

from core.models import Person
from jobs.models import Job
from jobs.notifications.models import Event
from jobs.notifications.webhook_urls import MAX_URL_LENGTH


class EmailPreferencesForm(forms.Form):
    """Which optional e-mails a person wants."""

    daily_summary = forms.BooleanField(
        label="Daily summary (operations managers)", required=False
    )
    decision_reminder = forms.BooleanField(
        label="Findings that need your decision (engineers)", required=False
    )


class WebhookForm(forms.Form):
    """Address, job and events of a new webhook."""

    job = forms.CharField(label="Job number", required=False, max_length=20)
    url = forms.CharField(
        label="Address",
        max_length=MAX_URL_LENGTH,
        widget=forms.TextInput(
            {"inputmode": "url", "placeholder": "https://example.org/padstone"}
        ),
    )
    events = forms.MultipleChoiceField(
        label="Events",
        choices=Event.Kind.choices,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, actor: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.actor = actor
        if actor.is_administrator:
            self.fields["job"].help_text = "Blank: all jobs"
        else:
            self.fields["job"].required = True

    def clean_job(self) -> Job | None:
        """Find the job by its number among those the person may see."""
        number = self.cleaned_data["job"].strip()
        if not number:
            return None
        job = Job.objects.visible_to(self.actor).filter(number=number).first()
        if job is None:
            msg = f"You have no job with the number {number}."
            raise forms.ValidationError(msg)
        return job
